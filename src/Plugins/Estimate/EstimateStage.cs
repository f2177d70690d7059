using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;
using Stiltwright.Printing.Estimates;
using Stiltwright.Printing.Resin;
using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Estimate;

/// <summary>Settings of <c>estimate</c>.</summary>
public sealed class EstimateSettings
{
    /// <summary>Gap between pieces that share a platform.</summary>
    [Setting("Gap between pieces that share a platform.", "mm", Least = 1, Most = 50)]
    public double GapMm { get; set; } = 5;
}

/// <summary>Works out grams, millilitres, hours and money, and what the other ways of enlarging would have taken.</summary>
public sealed class EstimateStage : IStage
{
    /// <inheritdoc/>
    public string Name => "estimate";

    /// <inheritdoc/>
    public string Version => "1.0";

    /// <inheritdoc/>
    public Type SettingsType => typeof(EstimateSettings);

    /// <inheritdoc/>
    public Parts Changes => Parts.Estimate;

    /// <inheritdoc/>
    public Parts Settles => Parts.Placement | Parts.Pieces | Parts.Figure | Parts.Struts | Parts.Raft;

    /// <inheritdoc/>
    public StageResult Run(Workpiece workpiece, object settings, IStageContext context, CancellationToken cancel)
    {
        var s = (EstimateSettings)settings;
        var resin = context.Resin;
        var pieces = workpiece.Pieces;
        var volumes = pieces.Select(p => PieceModels.PrintColumns(p, cancel).VolumeMm3()).ToArray();
        context.Progress(0.3);
        var printer = context.Printers.First(p => p.Name == pieces[0].Printer || pieces[0].Printer.Length == 0);
        var runs = Runs(pieces, volumes, s.GapMm, resin, context.Printers, cancel);
        context.Progress(0.6);
        var total = volumes.Sum();
        var ways = Ways(workpiece, total, resin, cancel);
        var ml = runs.Sum(r => r.ResinMl);
        var time = runs.Sum(r => r.PrintS);
        var estimate = new SetEstimate(
            [.. pieces.Select((p, i) => new PieceEstimate(p.Letter, volumes[i], ResinNeed.MassG(volumes[i], resin)))],
            ways, runs, ResinNeed.MassG(total, resin), ml, time, Costing.Cost(ml, time, runs.Count, resin, printer), printer.Currency,
            workpiece.Inspection!.StandingHeightMm * workpiece.Placement!.Scale, pieces.Max(Height));
        foreach (var run in runs)
            if (run.Refills.Count > 0)
                context.Report(new Finding(FindingIds.VatRefill, Level.Note,
                    $"The run {NameOf(run)} on {run.Printer} draws {run.ResinMl:0} ml; the vat must be filled up {run.Refills.Count} time{(run.Refills.Count == 1 ? "" : "s")}, first before layer {run.Refills[0].Layer} ({run.Refills[0].AfterS / 3600:0.0} h after the start, {run.Refills[0].Ml:0} ml).",
                    "Plan to be there, with gloves and eye protection; follow the resin's safety data sheet.")
                { Layer = run.Refills[0].Layer });
        return StageResult.Done(workpiece with { Estimate = estimate });
    }

    private static string NameOf(PrintRun run) => run.Pieces is [""] ? "of the figure" : $"of piece{(run.Pieces.Count == 1 ? "" : "s")} {string.Join(", ", run.Pieces)}";

    private static double Height(Piece p) => new[] { p.Outer, p.Untouched, p.Raft }.Concat(p.Struts.Shells.Select(h => h.Shape)).Where(m => m.TriangleCount > 0).Max(m => m.Bounds.Max.Z);

    private static List<PrintRun> Runs(IReadOnlyList<Piece> pieces, double[] volumes, double gapMm, ResinData resin, IReadOnlyList<PrinterData> printers, CancellationToken cancel)
    {
        var runs = new List<PrintRun>();
        foreach (var group in pieces.Select((p, i) => (Piece: p, Volume: volumes[i])).GroupBy(x => x.Piece.Printer))
        {
            var printer = printers.First(p => p.Name == group.Key || group.Key.Length == 0);
            var byLetter = group.ToDictionary(x => x.Piece.Letter, StringComparer.Ordinal);
            var outlines = group.Select(x =>
            {
                var box = PieceModels.GridOf(x.Piece);
                return new PieceOutline(x.Piece.Letter, box.Nx * box.PitchMm, box.Ny * box.PitchMm, Height(x.Piece));
            });
            foreach (var letters in RunPacking.Pack(outlines, printer.WidthMm - 2 * printer.MarginMm, printer.DepthMm - 2 * printer.MarginMm, gapMm))
            {
                var area = new double[letters.Max(l => PrintTime.Layers(Height(byLetter[l].Piece), resin.LayerMm))];
                double film = 0, volume = 0;
                foreach (var letter in letters)
                {
                    var (piece, v) = byLetter[letter];
                    volume += v;
                    film += piece.Cavities.Sum(c => Films.InnerFilmMm3(c.Surface, resin));
                    var layers = PieceModels.PrintLayers(piece, resin.LayerMm, cancel).AreaMm2;
                    for (var k = 0; k < Math.Min(area.Length, layers.Length); k++) area[k] += layers[k];
                }
                runs.Add(new PrintRun(printer.Name, letters, area.Length, PrintTime.RunS(area.Length, resin, printer), ResinNeed.DrawnMl(volume, film, resin),
                    [.. VatFilling.Refills(area, resin.LayerMm, resin, printer).Select(r => new Refill(r.Layer, r.AfterS, r.Ml))]));
            }
        }
        return runs;
    }

    /// <summary>As-is from the source itself; hollowed takes this set's cavities and holes off it; the third is the set.</summary>
    private static List<Way> Ways(Workpiece w, double setMm3, ResinData resin, CancellationToken cancel)
    {
        var source = w.Drawn;
        var roles = w.Inspection!.RoleOfShell;
        Mesh Of(Func<Role, bool> which) => source.Mesh.Part(Enumerable.Range(0, roles.Count).Where(i => which(roles[i])).SelectMany(i => source.Shells.Shells[i].Triangles).ToArray());
        var grid = ColumnGrid.Covering(source.Mesh.Bounds, ColumnGrid.PitchFor(source.Mesh.Bounds, 1_000_000));
        const byte solid = 0, hollow = 1;
        var columns = Columns.Build([new ColumnPart(Of(r => r != Role.InnerShell), solid), new ColumnPart(Of(r => r == Role.InnerShell), hollow)], grid, cancel);
        var asSource = columns.VolumeMm3();
        var keptHollows = w.Pieces.Any(p => p.OldHollows.TriangleCount > 0);
        var basis = keptHollows ? asSource : columns.VolumeMm3(Columns.MaskOf(solid));
        double taken = 0;
        foreach (var p in w.Pieces.Where(p => p.Cavities.Count > 0))
        {
            var before = p.OldHollows.TriangleCount == 0 ? p.Outer : Mesh.Concat(p.Outer.Lattice, [p.Outer, p.OldHollows]);
            taken += Columns.Build([new ColumnPart(before, 0)], PieceModels.GridOf(p), cancel).VolumeMm3()
                - PieceModels.FigureColumns(p, cancel).VolumeMm3(Columns.MaskOf(PieceModels.FigureGroup));
        }
        var scale = w.Placement!.Scale;
        return [.. WaysCompared.Of(asSource, scale, basis * scale * scale * scale - taken, setMm3, resin.CuredDensity)
            .Select(x => new Way(x.Name, x.VolumeMm3, x.MassG, x.SavedShare))];
    }
}
