using Stiltwright.Sdk;

namespace Stiltwright.Plugins.StrutThin;

/// <summary>Settings of <c>strut-thin</c>.</summary>
public sealed class StrutThinSettings
{
    /// <summary>Which rule of safety decides.</summary>
    [Setting("Which rule decides: relative (no strut used harder than the source's own), absolute (use times safety at most 1) or both.", OneOf = ["both", "relative", "absolute"])]
    public string Rule { get; set; } = "both";

    /// <summary>Safety of the absolute rule.</summary>
    [Setting("Safety of the absolute rule; the only factor there is.", Least = 1, Most = 10)]
    public double Safety { get; set; } = 2.15;

    /// <summary>Thinnest pillar.</summary>
    [Setting("Thinnest foot, pillar or brace that is made (circle of equal area).", "mm", Least = 0.3, Most = 10)]
    public double SmallestPillarMm { get; set; } = 0.8;

    /// <summary>Thinnest tip.</summary>
    [Setting("Thinnest contact that is made (circle of equal area).", "mm", Least = 0.15, Most = 5)]
    public double SmallestTipMm { get; set; } = 0.3;
}

/// <summary>Makes each strut and tip as thin as its load on the hollowed, drilled piece allows.</summary>
public sealed class StrutThinStage : IStage
{
    /// <inheritdoc/>
    public string Name => "strut-thin";

    /// <inheritdoc/>
    public string Version => "1.0";

    /// <inheritdoc/>
    public Type SettingsType => typeof(StrutThinSettings);

    /// <inheritdoc/>
    public Parts Changes => Parts.Struts;

    /// <inheritdoc/>
    public Parts Settles => Parts.Placement | Parts.Pieces | Parts.Figure | Parts.Raft;

    /// <inheritdoc/>
    public StageResult Run(Workpiece workpiece, object settings, IStageContext context, CancellationToken cancel)
    {
        var s = (StrutThinSettings)settings;
        if (workpiece.Pieces.All(p => p.Struts.Segments.Count == 0)) return StageResult.Done(workpiece); // struts-none was reported by inspect
        var source = LoadScenes.OfSource(workpiece, context, cancel);
        var pieces = new List<Piece>();
        foreach (var piece in workpiece.Pieces)
        {
            pieces.Add(piece.Struts.Segments.Count == 0 ? piece : new PieceThinner(workpiece, piece, s, context, cancel).Thin(source));
            context.Progress((double)pieces.Count / workpiece.Pieces.Count);
        }
        return StageResult.Done(workpiece with { Pieces = pieces });
    }
}
