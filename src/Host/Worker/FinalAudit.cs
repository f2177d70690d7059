using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;
using Stiltwright.Host.Summaries;
using Stiltwright.Printing.Estimates;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Resin;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Worker;

/// <summary>
/// Looks at the very thing that is about to be written, whatever the recipe did: closed surfaces, sealed voids, cups,
/// islands, peaks, grip and weight. It only adds findings; it changes nothing.
/// </summary>
internal static class FinalAudit
{
    public static AuditResult Run(WorkOrder order, Workpiece w, JobNotes notes, CancellationToken cancel)
    {
        var pieces = new List<PieceAudit>();
        var curves = new List<LayerCurve>();
        int islands = 0, cups = 0, most = 0;
        var area = new PeakFacts(0, 0);
        var pull = new PeakFacts(0, 0);
        foreach (var p in w.Pieces)
        {
            cancel.ThrowIfCancellationRequested();
            var printer = order.Printers.FirstOrDefault(x => x.Name == p.Printer) ?? order.Printers[0];
            var layers = PieceModels.PrintLayers(p, order.Resin.LayerMm, cancel);
            var all = SetWriter.Everything(p);
            var volume = PieceModels.PrintColumns(p, cancel).VolumeMm3();
            var mass = ResinNeed.MassG(volume, order.Resin);
            var pulls = Pulls(layers, order.Resin, printer);
            var places = new LayerChecks(order, p, w, layers, pulls, printer, notes);
            islands += places.Islands();
            cups += places.Cups();
            places.Sealed();
            places.Peaks();
            places.PlatformGrip();
            places.Weight(mass);
            FigureChecks.Tips(w, p, notes);
            var closed = Closedness.IsClosed(all);
            pieces.Add(new PieceAudit(
                all.Bounds.Size, all.TriangleCount, ShellFinder.Find(all).Shells.Count, closed, volume, mass,
                new FinishFacts(p.Letter, mass, p.DrainDown, p.DrainDown is null ? null : p.DrainS, p.Cavities.Count == 0 ? null : p.Cavities.Sum(c => Films.InnerFilmMm3(c.Surface, order.Resin)) * 1e-3 * order.Resin.LiquidDensity)));
            curves.Add(new LayerCurve(p.Letter, layers.LayerMm, layers.AreaMm2, pulls));
            most = Math.Max(most, layers.Count);
            for (var k = 0; k < layers.Count; k++)
            {
                if (layers.AreaMm2[k] > area.Max) area = new PeakFacts(layers.AreaMm2[k], k + 1);
                if (pulls[k] > pull.Max) pull = new PeakFacts(pulls[k], k + 1);
            }
        }
        FigureChecks.Facets(order, w, notes);
        FigureChecks.Toppling(w, order, notes, cancel);
        return new AuditResult(pieces, new LayerFacts(most, order.Resin.LayerMm, area, islands, cups, pull), curves);
    }

    /// <summary>Pull of the film on every layer, N: separation of each region and suction of each cup without a vent (physics 2.4, 2.5).</summary>
    private static double[] Pulls(LayerStack layers, ResinData resin, PrinterData printer)
    {
        var pulls = new double[layers.Count];
        for (var k = 0; k < pulls.Length; k++)
        {
            foreach (var r in layers.RegionsOf(k)) pulls[k] += SeparationLoad.Force(r.AreaMm2, r.PerimeterMm, resin, printer);
            foreach (var c in layers.CupsOf(k))
                if (!c.Vented) pulls[k] += SuctionCup.Unvented(c.AreaMm2, resin.CupPressureKPa);
        }
        return pulls;
    }
}
