using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Resin;
using Stiltwright.Printing.Strength;
using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Worker;

/// <summary>The checks of the final audit that look at the layers of one piece; thresholds are those of physics 10.</summary>
internal sealed class LayerChecks(WorkOrder order, Piece piece, Workpiece work, LayerStack layers, double[] pulls, PrinterData printer, JobNotes notes)
{
    /// <summary>Smallest island worth a word: anything smaller is a pixel's rounding.</summary>
    private const double LeastIslandMm2 = 0.02;

    /// <summary>
    /// A spot that joins a held part within this many layers (0.3 mm at 0.05 mm) is the flat lower end of something held: the
    /// film may move it a little, but it does not get lost.
    /// </summary>
    private const int SoonHeldLayers = 6;

    /// <summary>Area from which an island drops, mm2.</summary>
    private const double IslandStopMm2 = 0.25;

    /// <summary>A closed void of this size or more is a stop, mm3.</summary>
    private const double SealedStopMm3 = 10;

    /// <summary>Below this a closed void is a slit of the raster, mm3.</summary>
    private const double SealedLeastMm3 = 1;

    /// <summary>Share of the contacts' strength that a cup may take before a person looks.</summary>
    private const double CupShare = 0.20;

    private string? Letter => work.Pieces.Count > 1 ? piece.Letter : null;

    private string Whose => work.Pieces.Count > 1 ? $"Piece {piece.Letter}: " : "";

    public int Islands()
    {
        var found = layers.Islands.Where(i => i.AreaMm2 >= LeastIslandMm2).ToList();
        if (found.Count == 0) return 0;
        int Alone(Island i) => layers.Bodies[i.Body].MergeLayer == int.MaxValue ? layers.Count - i.Layer : layers.Bodies[i.Body].MergeLayer - i.Layer;
        var worst = found.OrderByDescending(i => Alone(i) > SoonHeldLayers && i.AreaMm2 > IslandStopMm2).ThenByDescending(i => Alone(i) > SoonHeldLayers).ThenByDescending(i => i.AreaMm2).First();
        // Where no struts were recognised a person supports the figure anyway, and says so by another finding already.
        var unsupported = piece.Struts.Segments.Count == 0;
        var level = worst.AreaMm2 <= IslandStopMm2 || Alone(worst) <= SoonHeldLayers ? Level.Note : unsupported ? Level.Check : Level.Stop;
        Report(new Finding(FindingIds.Island, level,
            $"{Whose}{found.Count} spot{(found.Count == 1 ? " starts" : "s start")} in mid-air; the gravest has {worst.AreaMm2:0.00} mm2 in layer {worst.Layer + 1}, at {worst.At} mm, and joins the rest after {Alone(worst)} layer{(Alone(worst) == 1 ? "" : "s")}.",
            unsupported ? "Put struts under these spots." : "Put a strut under this spot in the source, or turn the figure a little.")
        { AtMm = worst.At, Layer = worst.Layer + 1 });
        return found.Count;
    }

    public int Cups()
    {
        // A void counts once, with its largest slice; the platform closes what opens downwards.
        var worst = new Dictionary<int, CupRegion>();
        foreach (var c in layers.Cups)
            if (!c.Vented && (!worst.TryGetValue(c.Void, out var w) || c.AreaMm2 > w.AreaMm2)) worst[c.Void] = c;
        var cups = worst.Values.Where(c => SuctionCup.Unvented(c.AreaMm2, order.Resin.CupPressureKPa) >= 0.5).OrderByDescending(c => c.AreaMm2).ToList();
        if (cups.Count == 0) return 0;
        var pull = SuctionCup.Unvented(cups[0].AreaMm2, order.Resin.CupPressureKPa);
        var held = piece.Struts.Segments.Where(s => s.Contact is { } at && at.Z <= layers.PlaneZ(cups[0].Layer))
            .Sum(s => StrutCapacity.Tip(s.EqualAreaDiameter(s.RadiusTo), order.Resin.GreenStrengthMPa, order.Resin.TipShare));
        var at = new Vec3(cups[0].X, cups[0].Y, layers.PlaneZ(cups[0].Layer));
        Report(new Finding(FindingIds.CupPulls, pull > CupShare * held && (held > 0 || piece.Struts.Segments.Count == 0) ? Level.Check : Level.Note,
            $"{Whose}{cups.Count} hollow{(cups.Count == 1 ? " is" : "s are")} open only towards the film and suck{(cups.Count == 1 ? "s" : "")} while lifting; the strongest encloses {cups[0].AreaMm2:0} mm2 in layer {cups[0].Layer + 1} and may pull with {pull:0.0} N, against {(held > 0 ? $"{held:0.0} N that the contacts below it hold" : "the grip of raft and platform alone")}.",
            "Turn the figure so that the hollow opens sideways, or drill a vent near its raft end.")
        { AtMm = at, Layer = cups[0].Layer + 1 });
        return cups.Count;
    }

    public void Sealed()
    {
        var voids = layers.SealedVoids.Where(v => v.VolumeMm3 >= SealedLeastMm3).OrderByDescending(v => v.VolumeMm3).ToList();
        if (voids.Count == 0) return;
        Report(new Finding(FindingIds.CavitySealed, voids[0].VolumeMm3 >= SealedStopMm3 ? Level.Stop : Level.Check,
            $"{Whose}{voids.Count} void{(voids.Count == 1 ? " has" : "s have")} no way out; the largest holds {voids[0].VolumeMm3:0.0} mm3 at {voids[0].At} mm. Liquid resin would stay inside, swell the wall and may crack it or leak weeks later.",
            "Fill the void in the source, or open it with two holes.")
        { AtMm = voids[0].At, Layer = voids[0].FirstLayer + 1 });
    }

    public void Peaks()
    {
        var peaks = layers.AreaPeaks(1.5, 200).Where(k => k > 0 && layers.PlaneZ(k) > (piece.Raft.TriangleCount > 0 ? piece.Raft.Bounds.Max.Z : 0.5)).ToList();
        if (peaks.Count == 0) return;
        var worst = peaks.MaxBy(k => pulls[k]);
        Report(new Finding(FindingIds.LayerPeak, Level.Note,
            $"{Whose}The cured area jumps {peaks.Count} time{(peaks.Count == 1 ? "" : "s")}; the hardest pulled such layer is {worst + 1} ({layers.AreaMm2[worst]:0} mm2, {pulls[worst]:0.0} N).",
            "Nothing to do if it printed well at the small scale; tilting flat faces lowers such peaks.")
        { Layer = worst + 1 });
    }

    public void PlatformGrip()
    {
        if (layers.Count == 0) return;
        var foot = layers.AreaMm2[Math.Min(2, layers.Count - 1)];
        var grip = foot * printer.PlatformGripMPa;
        var most = pulls.Length == 0 ? 0 : pulls.Max();
        if (grip >= most) return;
        Report(new Finding(FindingIds.PlatformGrip, Level.Check,
            $"{Whose}What stands on the platform has {foot:0} mm2 and grips with about {grip:0} N, less than the {most:0} N that the film pulls with at layer {Array.IndexOf(pulls, most) + 1}.",
            "Give it a larger raft in the source, or lower the lift speed."));
    }

    public void Weight(double massG)
    {
        if (massG / 1000 <= printer.PlatformCarriesKg) return;
        Report(new Finding(FindingIds.PlatformLoad, Level.Check,
            $"{Whose}It weighs {massG / 1000:0.0} kg when printed; the platform of {printer.Name} carries {printer.PlatformCarriesKg:0.0} kg.", "Split it, or print it on a stronger machine."));
    }

    private void Report(Finding finding) => notes.Add(int.MaxValue, finding with { Piece = Letter });
}
