namespace Stiltwright.Geometry;

/// <summary>
/// Closes gaps that are too narrow to be meant: border points up to <see cref="Repair.StitchMm"/> apart become one, and
/// where one side of a seam has a corner in the middle of an edge of the other side, that edge gets the corner too.
/// </summary>
internal static class Seams
{
    private const int MostCornersOnAnEdge = 16;

    internal static Mesh Stitch(Mesh mesh, List<RepairNote> notes)
    {
        mesh = MergePoints(mesh, notes);
        return SplitEdges(mesh, notes);
    }

    private static long ToleranceUnits(Mesh mesh) => Math.Max(1, (long)(Repair.StitchMm * mesh.Lattice.UnitsPerMm));

    private static Mesh MergePoints(Mesh mesh, List<RepairNote> notes)
    {
        var edges = EdgePairing.Build(mesh);
        var tolerance = ToleranceUnits(mesh);
        var pairs = Nearest(mesh, edges, tolerance);
        if (pairs.Count == 0) return mesh;
        // A merge is kept only if it gives an open edge its neighbour; then the others are taken back. Each round has fewer, so it ends.
        while (pairs.Count > 0)
        {
            var merged = Merge(mesh, pairs);
            var after = EdgePairing.Build(merged).TwinArray;
            var helped = new HashSet<int>();
            for (var h = 0; h < after.Length; h++)
                if (edges.TwinArray[h] < 0 && after[h] >= 0)
                {
                    helped.Add(mesh.CornersArray[h]);
                    helped.Add(mesh.CornersArray[EdgePairing.Next(h)]);
                }
            var kept = pairs.FindAll(p => helped.Contains(p.From) || helped.Contains(p.To));
            if (kept.Count == pairs.Count)
            {
                notes.Add(new RepairNote("gaps-stitched", pairs.Count, mesh.Vertex(pairs[0].From),
                    $"{pairs.Count} points of open borders lay within {Repair.StitchMm * 1000:0.#} um of their counterpart and were joined with it."));
                return merged;
            }
            pairs = kept;
        }
        return mesh;
    }

    private static Mesh Merge(Mesh mesh, List<(int From, int To)> pairs)
    {
        var corners = mesh.Corners.ToArray();
        var to = new Dictionary<int, int>(pairs.Count);
        foreach (var (a, b) in pairs) to[a] = b;
        for (var i = 0; i < corners.Length; i++)
            if (to.TryGetValue(corners[i], out var v)) corners[i] = v;
        return new Mesh(mesh.Lattice, mesh.XyzArray, corners);
    }

    /// <summary>Border vertices that are each other's nearest within the tolerance, not ends of one edge, and nearer than a quarter of their shortest border edge.</summary>
    private static List<(int From, int To)> Nearest(Mesh mesh, EdgePairing edges, long tolerance)
    {
        int[] xyz = mesh.XyzArray, corners = mesh.CornersArray;
        var shortest = new SortedDictionary<int, long>();
        for (var h = 0; h < corners.Length; h++)
        {
            if (edges.TwinArray[h] >= 0) continue;
            int a = corners[h], b = corners[EdgePairing.Next(h)];
            var d = Distance2(xyz, a, b);
            shortest[a] = Math.Min(shortest.GetValueOrDefault(a, long.MaxValue), d);
            shortest[b] = Math.Min(shortest.GetValueOrDefault(b, long.MaxValue), d);
        }
        var cells = new Dictionary<(long, long, long), List<int>>();
        foreach (var v in shortest.Keys)
        {
            var key = Cell(xyz, v, tolerance);
            if (!cells.TryGetValue(key, out var list)) cells[key] = list = [];
            list.Add(v);
        }
        var nearest = new Dictionary<int, int>();
        foreach (var (v, own) in shortest)
        {
            var (x, y, z) = Cell(xyz, v, tolerance);
            var best = tolerance * tolerance + 1;
            var found = -1;
            for (var i = -1; i <= 1; i++)
                for (var j = -1; j <= 1; j++)
                    for (var k = -1; k <= 1; k++)
                        if (cells.TryGetValue((x + i, y + j, z + k), out var list))
                            foreach (var w in list)
                            {
                                if (w == v) continue;
                                var d = Distance2(xyz, v, w);
                                if (d < best && 16 * d < own && 16 * d < shortest[w]) (best, found) = (d, w);
                            }
            if (found >= 0) nearest[v] = found;
        }
        var pairs = new List<(int, int)>();
        foreach (var v in shortest.Keys)
            if (nearest.TryGetValue(v, out var w) && v > w && nearest.GetValueOrDefault(w, -1) == v) pairs.Add((v, w));
        return pairs;
    }

    private static (long, long, long) Cell(int[] xyz, int v, long size) =>
        (Floor(xyz[3 * v], size), Floor(xyz[3 * v + 1], size), Floor(xyz[3 * v + 2], size));

    private static long Floor(long a, long b) => a >= 0 ? a / b : -((-a + b - 1) / b);

    private static long Distance2(int[] xyz, int a, int b)
    {
        long x = (long)xyz[3 * a] - xyz[3 * b], y = (long)xyz[3 * a + 1] - xyz[3 * b + 1], z = (long)xyz[3 * a + 2] - xyz[3 * b + 2];
        return x * x + y * y + z * z;
    }

    /// <summary>An open edge whose other side is a chain of shorter open edges along it is divided at the chain's corners.</summary>
    private static Mesh SplitEdges(Mesh mesh, List<RepairNote> notes)
    {
        var corners = mesh.CornersArray;
        var done = 0;
        Vec3? at = null;
        var added = new List<int>();
        int[]? changed = null;
        // One edge of a triangle a round, so that a triangle that is open on two sides is divided twice.
        for (var round = 0; round < 4; round++)
        {
            var edges = EdgePairing.Build(mesh);
            var outgoing = OpenByStart(mesh, edges);
            if (outgoing.Count == 0) break;
            var used = new HashSet<int>();
            added.Clear();
            changed = null;
            for (var h = 0; h < corners.Length; h++)
            {
                if (edges.TwinArray[h] >= 0 || used.Contains(h / 3)) continue;
                int a = corners[h], b = corners[EdgePairing.Next(h)], c = corners[EdgePairing.Next(EdgePairing.Next(h))];
                var chain = ChainAlong(mesh, outgoing, b, a, h / 3, used);
                if (chain is null) continue;
                used.Add(h / 3);
                changed ??= (int[])corners.Clone();
                // The chain runs from b to a; the fan of c over a, x.., b replaces the triangle.
                var before = a;
                for (var i = chain.Count - 1; i >= 0; i--)
                {
                    if (i == chain.Count - 1) (changed[3 * (h / 3)], changed[3 * (h / 3) + 1], changed[3 * (h / 3) + 2]) = (before, chain[i], c);
                    else added.AddRange([before, chain[i], c]);
                    before = chain[i];
                }
                added.AddRange([before, b, c]);
                done++;
                at ??= mesh.Vertex(chain[0]);
            }
            if (changed is null) break;
            mesh = new Mesh(mesh.Lattice, mesh.XyzArray, [.. changed, .. added]);
            corners = mesh.CornersArray;
        }
        if (done > 0)
            notes.Add(new RepairNote("edges-divided", done, at,
                $"{done} open edges ran along several shorter ones, within {Repair.StitchMm * 1000:0.#} um; they were divided so that the two sides meet."));
        return mesh;
    }

    private static Dictionary<int, int> OpenByStart(Mesh mesh, EdgePairing edges)
    {
        var map = new Dictionary<int, int>();
        for (var h = 0; h < edges.TwinArray.Length; h++)
            if (edges.TwinArray[h] < 0)
                if (!map.TryAdd(mesh.CornersArray[h], h)) map[mesh.CornersArray[h]] = -1; // a corner where borders meet is not simple
        return map;
    }

    /// <summary>The corners between two ends of open edges that run along the straight line; null if there is no such chain.</summary>
    private static List<int>? ChainAlong(Mesh mesh, Dictionary<int, int> outgoing, int from, int to, int own, HashSet<int> used)
    {
        Vec3 p = mesh.Vertex(from), q = mesh.Vertex(to);
        var length = p.DistanceTo(q);
        if (length == 0) return null;
        var u = (q - p) / length;
        var chain = new List<int>();
        double reached = 0;
        var v = from;
        while (chain.Count <= MostCornersOnAnEdge)
        {
            if (!outgoing.TryGetValue(v, out var h) || h < 0 || h / 3 == own || used.Contains(h / 3)) return null;
            v = mesh.CornersArray[EdgePairing.Next(h)];
            if (v == to) return chain.Count > 0 ? chain : null;
            var d = mesh.Vertex(v) - p;
            var along = d.Dot(u);
            if (along <= reached || along >= length || (d - u * along).Length > Repair.StitchMm) return null;
            reached = along;
            chain.Add(v);
        }
        return null;
    }
}
