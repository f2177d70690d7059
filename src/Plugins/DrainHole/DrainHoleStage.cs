using Stiltwright.Sdk;

namespace Stiltwright.Plugins.DrainHole;

/// <summary>Settings of <c>drain-hole</c>.</summary>
public sealed class DrainHoleSettings
{
    /// <summary>Smallest hole.</summary>
    [Setting("Diameter of the smallest hole (below 3 mm capillarity and trapped bubbles keep resin inside).", "mm", Least = 3, Most = 20)]
    public double SmallestMm { get; set; } = 3.0;

    /// <summary>Largest hole.</summary>
    [Setting("Diameter up to which a hole grows where suction or drain time asks for it.", "mm", Least = 3, Most = 30)]
    public double LargestMm { get; set; } = 6.0;

    /// <summary>Holes a cavity.</summary>
    [Setting("Holes in each cavity: one to drain, the others for air.", Least = 2, Most = 12)]
    public int Holes { get; set; } = 2;
}

/// <summary>Drills the drain and air holes of every cavity and proves by flooding that it empties.</summary>
public sealed class DrainHoleStage : IStage
{
    /// <inheritdoc/>
    public string Name => "drain-hole";

    /// <inheritdoc/>
    public string Version => "1.0";

    /// <inheritdoc/>
    public Type SettingsType => typeof(DrainHoleSettings);

    /// <inheritdoc/>
    public Parts Changes => Parts.Figure;

    /// <inheritdoc/>
    public Parts Settles => Parts.Placement | Parts.Pieces;

    /// <inheritdoc/>
    public StageResult Run(Workpiece workpiece, object settings, IStageContext context, CancellationToken cancel)
    {
        var s = (DrainHoleSettings)settings;
        var pieces = new List<Piece>();
        foreach (var piece in workpiece.Pieces)
        {
            var (drilled, request) = new PieceDriller(piece, workpiece, s, context, cancel).Drill();
            if (request is not null) return StageResult.GoBack(request);
            pieces.Add(drilled);
            context.Progress((double)pieces.Count / workpiece.Pieces.Count);
        }
        return StageResult.Done(workpiece with { Pieces = pieces });
    }
}
