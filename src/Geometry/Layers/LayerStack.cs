using System.Runtime.InteropServices;

namespace Stiltwright.Geometry.Layers;

/// <summary>
/// The layers of a print: layer k is the solid at its plane z = (k + 1/2) LayerMm above the platform, sampled at the
/// columns, as a printer that exposes pixels does. Holds each layer's regions, the bodies they form from layer to layer,
/// what begins in mid-air, what the slices enclose, and what stays sealed. Solid regions hold together over sides and
/// corners of pixels and upwards over shared pixels; void ones over sides only, so no wall wider than the pitch leaks.
/// Areas are pixel counts: for a rim of length P their standard error is about 0.3 pitch sqrt(P pitch). Perimeters are
/// Crofton counts in four directions: right on average over all directions, for one straight edge off by -5.2 % (along
/// x, y or a diagonal) to +2.6 %.
/// </summary>
public sealed class LayerStack
{
    private readonly LayerRuns _runs;
    private readonly int[] _regionByFirst;
    private readonly LayerRegion[] _regions;
    private readonly int[] _regionAt;
    private readonly CupRegion[] _cups;
    private readonly int[] _cupAt;
    private readonly List<BodyForest.Sums>[] _history;

    private LayerStack(LayerRuns runs, double layerMm, int[] regionByFirst, LayerRegion[] regions, int[] regionAt, CupRegion[] cups, int[] cupAt,
        List<BodyForest.Sums>[] history)
    {
        (_runs, LayerMm, _regionByFirst, _regions, _regionAt, _cups, _cupAt, _history) = (runs, layerMm, regionByFirst, regions, regionAt, cups, cupAt, history);
        AreaMm2 = new double[Count];
        for (var k = 0; k < Count; k++)
            foreach (var r in RegionsOf(k)) AreaMm2[k] += r.AreaMm2;
    }

    /// <summary>Number of layers: up to the last one with solid.</summary>
    public int Count => _runs.Layers;

    /// <summary>Layer height, mm.</summary>
    public double LayerMm { get; }

    /// <summary>The grid of the columns that were sampled.</summary>
    public ColumnGrid Grid => _runs.Grid;

    /// <summary>Solid area of each layer, mm2.</summary>
    public double[] AreaMm2 { get; }

    /// <summary>All bodies, by number.</summary>
    public required IReadOnlyList<SolidBody> Bodies { get; init; }

    /// <summary>Regions that begin in mid-air, in order of layer.</summary>
    public required IReadOnlyList<Island> Islands { get; init; }

    /// <summary>All voids that slices enclose, by number.</summary>
    public required IReadOnlyList<VoidBody> Voids { get; init; }

    /// <summary>Voids of the finished part without a way out, in order of their lowest region.</summary>
    public required IReadOnlyList<SealedVoid> SealedVoids { get; init; }

    /// <summary>The regions of a layer.</summary>
    public ReadOnlySpan<LayerRegion> RegionsOf(int layer) => _regions.AsSpan(_regionAt[layer].._regionAt[layer + 1]);

    /// <summary>All regions, layer by layer.</summary>
    public ReadOnlySpan<LayerRegion> Regions => _regions;

    /// <summary>The liquid regions that a layer encloses, cups and vented ones.</summary>
    public ReadOnlySpan<CupRegion> CupsOf(int layer) => _cups.AsSpan(_cupAt[layer].._cupAt[layer + 1]);

    /// <summary>All liquid regions enclosed in their slice, layer by layer.</summary>
    public ReadOnlySpan<CupRegion> Cups => _cups;

    /// <summary>Height of a layer's plane, mm.</summary>
    public double PlaneZ(int layer) => (layer + 0.5) * LayerMm;

    /// <summary>The layer whose slab holds a height, or -1 below the platform (it may lie above the last layer).</summary>
    public int LayerOf(double zMm) => zMm < 0 ? -1 : (int)Math.Floor(zMm / LayerMm);

    /// <summary>The body that a body has become part of by the end of a layer.</summary>
    public int BodyRootAt(int body, int layer)
    {
        while (Bodies[body].MergeLayer <= layer) body = Bodies[body].MergesInto;
        return body;
    }

    /// <summary>The body (root at that layer) at a place, or -1 where the layer that holds it is not solid there.</summary>
    public int BodyAt(Vec3 p)
    {
        int c = Grid.ColumnAt(p.X, p.Y), k = LayerOf(p.Z);
        if (c < 0 || k < 0) return -1;
        var run = _runs.RunAt(c, k);
        return run < 0 ? -1 : BodyRootAt(_regions[_regionAt[_runs.First[run]] + _regionByFirst[_runs.PlaceOf(run)]].Body, k);
    }

    /// <summary>
    /// What has been printed, when a layer is done, of the body that a body belongs to then: volume and centre, with all
    /// that has joined it. Nothing (volume 0) before its first layer.
    /// </summary>
    public BodyAmount BodySolid(int body, int layer)
    {
        var root = BodyRootAt(body, layer);
        var n = layer - Bodies[root].FirstLayer;
        if (n < 0) return default;
        var s = _history[root][Math.Min(n, _history[root].Count - 1)];
        double pixels = s.Pixels;
        return new BodyAmount(
            pixels * Grid.CellMm2 * LayerMm,
            new Vec3(Grid.X0 + (s.X / pixels + 0.5) * Grid.PitchMm, Grid.Y0 + (s.Y / pixels + 0.5) * Grid.PitchMm, (s.Layers / pixels + 0.5) * LayerMm));
    }

    /// <summary>
    /// Layers whose area jumps: more than <paramref name="ratio"/> times the layer below and more than
    /// <paramref name="leastRiseMm2"/> above it. The first layer is none.
    /// </summary>
    public IReadOnlyList<int> AreaPeaks(double ratio, double leastRiseMm2)
    {
        var peaks = new List<int>();
        for (var k = 1; k < Count; k++)
            if (AreaMm2[k] > ratio * AreaMm2[k - 1] && AreaMm2[k] - AreaMm2[k - 1] > leastRiseMm2) peaks.Add(k);
        return peaks;
    }

    /// <summary>Builds the layers of the union of some groups.</summary>
    /// <param name="columns">The columns, heights in mm above the platform. What lies below it is left out.</param>
    /// <param name="layerMm">Layer height, mm.</param>
    /// <param name="cancel">Stops the work.</param>
    /// <param name="groups">One bit a group; all by default.</param>
    /// <param name="workers">Threads to use, 0 for all cores; the result is the same for any number.</param>
    public static LayerStack Build(Columns columns, double layerMm, CancellationToken cancel, ulong groups = Columns.AllGroups, int workers = 0)
    {
        if (!(layerMm > 0) || !double.IsFinite(layerMm)) throw new ArgumentException($"A layer must be thicker than 0, not {layerMm} mm.", nameof(layerMm));
        var runs = LayerRuns.Of(columns.Runs(groups), layerMm);
        var regionByFirst = new int[runs.Column.Length];

        var blocks = Math.Clamp(runs.Layers / 16, 1, 16);
        var records = new LayerSweep.Record[blocks];
        var sweeps = new System.Collections.Concurrent.ConcurrentBag<LayerSweep>();
        Ranges.OneByOne(blocks, new ParallelOptions { MaxDegreeOfParallelism = Columns.Threads(workers), CancellationToken = cancel }, b =>
        {
            if (!sweeps.TryTake(out var sweep)) sweep = new LayerSweep(runs);
            records[b] = sweep.Walk((int)((long)runs.Layers * b / blocks), (int)((long)runs.Layers * (b + 1) / blocks), regionByFirst, cancel);
            sweeps.Add(sweep);
        });

        var grid = runs.Grid;
        var bodies = new BodyForest();
        var voids = new VoidForest();
        var regionAt = new int[runs.Layers + 1];
        var cupAt = new int[runs.Layers + 1];
        var regions = new LayerRegion[records.Sum(r => r.Solids.Count)];
        var cups = new CupRegion[records.Sum(r => r.Voids.Count)];
        var k = 0;
        foreach (var record in records)
        {
            int s = 0, v = 0, sl = 0, vl = 0;
            foreach (var n in record.Counts)
            {
                var solids = CollectionsMarshal.AsSpan(record.Solids).Slice(s, n.Solids);
                var hollow = CollectionsMarshal.AsSpan(record.Voids).Slice(v, n.Voids);
                var body = bodies.Add(k, solids, CollectionsMarshal.AsSpan(record.SolidLinks).Slice(sl, n.SolidLinks), regionAt[k]);
                for (var i = 0; i < n.Solids; i++) regions[regionAt[k] + i] = RegionOf(grid, k, body[i], solids[i]);
                var found = voids.Add(k, hollow, CollectionsMarshal.AsSpan(record.VoidLinks).Slice(vl, n.VoidLinks));
                for (var i = 0; i < n.Voids; i++) cups[cupAt[k] + i] = CupOf(grid, k, layerMm, found[i], hollow[i]);
                (s, v, sl, vl) = (s + n.Solids, v + n.Voids, sl + n.SolidLinks, vl + n.VoidLinks);
                regionAt[k + 1] = regionAt[k] + n.Solids;
                cupAt[k + 1] = cupAt[k] + n.Voids;
                k++;
            }
        }

        var places = new Vec3[bodies.Count];
        var at = 0;
        var block = 0;
        for (var b = 0; b < bodies.Count; b++)
        {
            // First regions rise with the bodies, and so do the records that hold them.
            while (bodies.FirstRegion[b] - at >= records[block].Solids.Count) at += records[block++].Solids.Count;
            places[b] = PlaceOf(grid, layerMm, records[block].Solids[bodies.FirstRegion[b] - at], bodies.FirstLayer[b]);
        }
        return new LayerStack(runs, layerMm, regionByFirst, regions, regionAt, cups, cupAt, [.. bodies.History])
        {
            Bodies = [.. Enumerable.Range(0, bodies.Count).Select(b => new SolidBody(
                b, bodies.FirstLayer[b], bodies.FirstLayer[b] + bodies.History[b].Count - 1, bodies.MergeLayer[b], bodies.MergesInto[b],
                bodies.History[b][^1].Pixels * grid.CellMm2 * layerMm))],
            Islands = [.. Enumerable.Range(0, bodies.Count).Where(b => bodies.FirstLayer[b] > 0).Select(b => new Island(
                bodies.FirstLayer[b], regions[bodies.FirstRegion[b]].AreaMm2, places[b], b))],
            Voids = [.. Enumerable.Range(0, voids.FirstLayer.Count).Select(v => new VoidBody(
                v, voids.FirstLayer[v], voids.OpenLayer[v], voids.MergeLayer[v], voids.MergesInto[v], voids.OnPlatform[v]))],
            SealedVoids = [.. voids.Sealed().Select(x => new SealedVoid(
                x.Pixels * grid.CellMm2 * layerMm, PlaceOf(grid, layerMm, x.Largest, x.LargestLayer), x.Low, x.High))],
        };
    }

    private static Vec3 PlaceOf(ColumnGrid grid, double layerMm, in RegionSums s, int layer) =>
        new(grid.X(s.InsideX), grid.Y(s.InsideY), (layer + 0.5) * layerMm);

    private static LayerRegion RegionOf(ColumnGrid g, int layer, int body, in RegionSums s) => new(
        layer, body, s.Pixels * g.CellMm2, s.Rim * g.PitchMm,
        g.X0 + ((double)s.SumX / s.Pixels + 0.5) * g.PitchMm, g.Y0 + ((double)s.SumY / s.Pixels + 0.5) * g.PitchMm,
        g.X0 + s.MinX * g.PitchMm, g.X0 + s.MaxX * g.PitchMm, g.Y0 + s.MinY * g.PitchMm, g.Y0 + s.MaxY * g.PitchMm,
        s.Resting * g.CellMm2);

    private static CupRegion CupOf(ColumnGrid g, int layer, double layerMm, (int Void, bool Vented, long Pixels) f, in RegionSums s) => new(
        layer, f.Void, s.Pixels * g.CellMm2,
        g.X0 + ((double)s.SumX / s.Pixels + 0.5) * g.PitchMm, g.Y0 + ((double)s.SumY / s.Pixels + 0.5) * g.PitchMm,
        s.Rim * g.PitchMm, PlaceOf(g, layerMm, s, layer), f.Vented, f.Pixels * g.CellMm2 * layerMm);
}
