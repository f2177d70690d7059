using Stiltwright.Geometry;
using Stiltwright.Printing.Resin;
using Stiltwright.Printing.Splitting;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Split;

/// <summary>Settings of <c>split</c>.</summary>
public sealed class SplitSettings
{
    /// <summary>Play of a peg in its socket, per side.</summary>
    [Setting("Play between peg and socket on each side (0.10 to 0.15 mm slides without glue, common practice).", "mm", Least = 0.05, Most = 0.5)]
    public double ClearanceMm { get; set; } = 0.15;

    /// <summary>Wall round a socket.</summary>
    [Setting("Wall that stays round a socket.", "mm", Least = 0.8, Most = 10)]
    public double SocketWallMm { get; set; } = 2.0;

    /// <summary>Most pieces.</summary>
    [Setting("Most pieces; beyond it a person must decide.", Least = 2, Most = 200)]
    public int MostPieces { get; set; } = 40;
}

/// <summary>Finds the printer that takes the figure whole (turned on the platform if need be), else cuts it for the last one.</summary>
public sealed class SplitStage : IStage
{
    /// <inheritdoc/>
    public string Name => "split";

    /// <inheritdoc/>
    public string Version => "1.0";

    /// <inheritdoc/>
    public Type SettingsType => typeof(SplitSettings);

    /// <inheritdoc/>
    public Parts Changes => Parts.Placement | Parts.Pieces | Parts.Figure | Parts.Struts | Parts.Raft;

    /// <inheritdoc/>
    public Parts Settles => Parts.Roles;

    /// <inheritdoc/>
    public StageResult Run(Workpiece workpiece, object settings, IStageContext context, CancellationToken cancel)
    {
        var s = (SplitSettings)settings;
        var whole = workpiece.Pieces.Single();
        var fit = new PlatformFit(PieceMeshes.All(whole));
        foreach (var printer in context.Printers)
        {
            if (fit.TurnToFit(printer) is not { } turn) continue;
            context.Measure($"turn on the platform of {printer.Name}", turn * 180 / Math.PI, "degrees");
            var (placement, piece) = PieceTurn.Turn(workpiece.Placement!, whole, turn);
            return StageResult.Done(workpiece with { Placement = placement, Pieces = [piece with { Printer = printer.Name }] });
        }

        var last = context.Printers[^1];
        if (whole.Outer.TriangleCount == 0)
        {
            context.Report(new Finding(FindingIds.OutgrowsPrinter, Level.Stop,
                $"{TooLarge(fit, last)} and none of it is a closed figure that could be cut.", "Enlarge it less, or close the surface in the sculpting program."));
            return StageResult.Done(workpiece with { Pieces = [whole with { Printer = last.Name, Fits = false }] });
        }
        var splitting = new Splitter(s, context, last, cancel);
        var (place, pieces) = splitting.Split(workpiece.Placement!, whole, new PlatformFit([whole.Outer, whole.Untouched]));
        if (pieces.Count == 1 && pieces[0].Fits)
            context.Report(new Finding(FindingIds.SeamReview, Level.Check,
                $"{TooLarge(fit, last)}; the figure itself does, so its struts were moved inside and nothing was cut.", "Look at the struts before printing."));
        else if (pieces.Count == 1)
            context.Report(new Finding(FindingIds.OutgrowsPrinter, Level.Stop, $"{TooLarge(fit, last)}, and it would take more than {s.MostPieces} pieces.", "Enlarge it less, or name a larger printer in the recipe."));
        else
            context.Report(new Finding(FindingIds.SplitNeeded, Level.Check,
                $"{TooLarge(fit, last)}; it was cut into {pieces.Count} pieces.", "Look at the seams before printing; try the joint with one small piece first."));
        return StageResult.Done(workpiece with { Placement = place, Pieces = pieces });
    }

    private static string TooLarge(PlatformFit fit, PrinterData printer)
    {
        var (x, y) = fit.SizeTurned(0);
        return $"The enlarged print measures {x:0} x {y:0} x {fit.HeightMm:0} mm and fits no printer of this recipe ({printer.Name}: {printer.WidthMm:0} x {printer.DepthMm:0} x {printer.HeightMm:0} mm, {printer.MarginMm:0} mm kept free)";
    }
}
