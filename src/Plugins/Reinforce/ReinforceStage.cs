using Stiltwright.Printing.Growing;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Reinforce;

/// <summary>Settings of <c>reinforce</c>.</summary>
public sealed class ReinforceSettings
{
    /// <summary>Most struts added to one piece.</summary>
    [Setting("Most struts that are added to one piece; where more parts than that begin in mid-air none is added and a person decides.", Least = 0, Most = 2000)]
    public int MostStruts { get; set; } = 100;

    /// <summary>Whether flats get more contacts.</summary>
    [Setting("Whether flat undersides get more contacts where enlarging moved them so far apart that the first layers cannot bridge the gap.")]
    public bool Overhangs { get; set; } = true;

    /// <summary>Whether overloaded struts get helpers.</summary>
    [Setting("Whether struts that are used too hard even at the size of plain enlarging get others beside them to share their load.")]
    public bool Helpers { get; set; } = true;

    /// <summary>How thick an overloaded strut may become.</summary>
    [Setting("How many times as thick as plain enlarging makes it a strut may become that is used too hard even so, where helpers do not do; 1 makes none thicker.", Least = 1, Most = 2)]
    public double MostThicker { get; set; } = 1.35;

    /// <summary>Which rule of safety tells that a strut is used too hard.</summary>
    [Setting("Which rule tells that a strut is used too hard: relative, absolute or both; set it as in strut-thin.", OneOf = ["both", "relative", "absolute"])]
    public string Rule { get; set; } = "both";

    /// <summary>Safety of the absolute rule.</summary>
    [Setting("Safety of the absolute rule; set it as in strut-thin.", Least = 1, Most = 10)]
    public double Safety { get; set; } = 2.15;
}

/// <summary>Adds a strut under every part of the figure that begins in mid-air and that no contact holds, under flats whose contacts came to stand too far apart, and beside struts that are used too hard; what is used too hard even then is made a little thicker.</summary>
public sealed class ReinforceStage : IStage
{
    /// <inheritdoc/>
    public string Name => "reinforce";

    /// <inheritdoc/>
    public string Version => "1.2";

    /// <inheritdoc/>
    public Type SettingsType => typeof(ReinforceSettings);

    /// <inheritdoc/>
    public Parts Changes => Parts.Struts;

    /// <inheritdoc/>
    public Parts Settles => Parts.Placement | Parts.Pieces | Parts.Figure | Parts.Raft;

    /// <inheritdoc/>
    public StageResult Run(Workpiece workpiece, object settings, IStageContext context, CancellationToken cancel)
    {
        // New struts are like the figure's own; a source without any is supported by a person (struts-none).
        if (GrowthSizes.Like(workpiece.Pieces.SelectMany(p => p.StrutsAsEnlarged.Segments)) is not { } sizes) return StageResult.Done(workpiece);
        var pieces = new List<Piece>();
        foreach (var piece in workpiece.Pieces)
        {
            pieces.Add(new PieceReinforcer(workpiece, piece, sizes, (ReinforceSettings)settings, context, cancel).Reinforced());
            context.Progress((double)pieces.Count / workpiece.Pieces.Count);
        }
        return StageResult.Done(workpiece with { Pieces = pieces });
    }
}
