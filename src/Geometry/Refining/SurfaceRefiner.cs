namespace Stiltwright.Geometry.Refining;

/// <summary>
/// Smooths a coarse surface by cutting its triangles and laying the new vertices on curved patches (<see cref="CurvedPatches"/>).
/// No vertex of the input moves. Edges that turn by more than the crease angle, open edges, edges with more than two triangles, and all
/// edges of flat parts stay straight, so creases, corners and planes are kept bit for bit. A closed surface stays closed, every edge with
/// as many triangles as before. Afterwards crossings and folds are looked for (exactly); where the refined surface has one and the
/// input had none near it, the triangles there are left flat and the work is done anew; the input itself is the last resort.
/// </summary>
public static class SurfaceRefiner
{
    private const int Attempts = 6;

    // A part of a triangle must not turn further than this (its cosine) from the triangle.
    private const double LeastTurnCosine = 0.5;

    /// <summary>Refines a surface.</summary>
    /// <param name="mesh">Any surface; open edges stay as they are.</param>
    /// <param name="request">Tolerance and limits.</param>
    /// <param name="cancel">Stops the work.</param>
    /// <exception cref="ArgumentException">A length is not above zero, or the triangles to keep are those of another mesh.</exception>
    public static RefineResult Refine(Mesh mesh, RefineRequest request, CancellationToken cancel = default)
    {
        ArgumentNullException.ThrowIfNull(mesh);
        ArgumentNullException.ThrowIfNull(request);
        if (!(request.ToleranceMm > 0) || !(request.MostMoveMm > 0))
            throw new ArgumentException($"A tolerance of {request.ToleranceMm} mm and a movement of {request.MostMoveMm} mm: both must be above zero.", nameof(request));
        if (request.Keep is { } keep && keep.Length != mesh.TriangleCount)
            throw new ArgumentException($"{keep.Length} marks were given for {mesh.TriangleCount} triangles.", nameof(request));
        var pairing = EdgePairing.Build(mesh);
        var apart = pairing.WithSheetsApart();
        var twin = pairing.TwinArray;
        var normals = new Vec3[mesh.TriangleCount];
        Ranges.For(mesh.TriangleCount, (_, from, to) =>
        {
            for (var t = from; t < to; t++) normals[t] = mesh.AreaVector(t).Unit();
        });
        var sharp = Sharp(pairing, normals, request.CreaseDegrees);
        var flat = FlatParts.Find(apart, twin, sharp, normals);
        var smooth = new SmoothNormals(apart, twin, sharp, normals, flat, request.CreaseDegrees);
        var left = new bool[mesh.TriangleCount];
        Crossed? before = null;
        for (var attempt = 0; attempt < Attempts; attempt++)
        {
            cancel.ThrowIfCancellationRequested();
            var straight = (bool[])sharp.Clone();
            for (var h = 0; h < straight.Length; h++)
                if (flat[h / 3] >= 0 || left[h / 3] || (request.Keep is { } k && k[h / 3]))
                {
                    straight[h] = true;
                    if (twin[h] >= 0) straight[twin[h]] = true;
                }
            var patches = new CurvedPatches(apart, twin, straight, smooth, request.MostMoveMm);
            var work = new Subdivision(apart, twin, straight, patches);
            work.Run(request.ToleranceMm, request.MostTriangles, cancel);
            if (!work.Cut) return new(mesh, 0) { LeftFlat = left.Count(l => l), StoppedByCount = work.StoppedByCount };
            var surface = work.Surface();
            var source = work.Source;
            var bad = Folded(surface, source, normals, smooth);
            foreach (var (a, b) in SelfCrossings.Find(surface, request.MaxThreads))
            {
                int s = source[a], t = source[b];
                before ??= new Crossed(apart, request.MaxThreads);
                if (!before.Near(s, t)) bad.UnionWith([s, t]);
            }
            if (bad.Count == 0)
                return new(surface, work.LargestMoveMm) { SourceTriangles = source, LeftFlat = left.Count(l => l), StoppedByCount = work.StoppedByCount };
            Leave(left, apart, bad, attempt);
        }
        return new(mesh, 0) { LeftFlat = mesh.TriangleCount };
    }

    // Edges that are no part of a smooth surface: turning further, open, facing opposite ways, or with more than two triangles.
    private static bool[] Sharp(EdgePairing pairing, Vec3[] normals, double creaseDegrees)
    {
        var twin = pairing.TwinArray;
        var sharp = new bool[twin.Length];
        var least = Math.Cos(creaseDegrees * Math.PI / 180);
        Ranges.For(twin.Length, (_, from, to) =>
        {
            for (var h = from; h < to; h++)
                sharp[h] = twin[h] < 0 || pairing.Clashes(h) || !(normals[h / 3].Dot(normals[twin[h] / 3]) >= least);
        });
        if (pairing.CrowdedEdges == 0) return sharp;
        var corners = pairing.Mesh.CornersArray;
        var users = new Dictionary<(int, int), int>();
        for (var h = 0; h < twin.Length; h++) users[Edge(h)] = users.GetValueOrDefault(Edge(h)) + 1;
        for (var h = 0; h < twin.Length; h++) sharp[h] |= users[Edge(h)] > 2;
        return sharp;

        (int, int) Edge(int h)
        {
            int a = corners[h], b = corners[EdgePairing.Next(h)];
            return a < b ? (a, b) : (b, a);
        }
    }

    // Triangles of the input with a part that turned far, both from the triangle (a needle's direction says little) and from the smooth surface.
    private static SortedSet<int> Folded(Mesh surface, int[] source, Vec3[] normals, SmoothNormals smooth)
    {
        var folded = Ranges.Where(surface.TriangleCount, t =>
        {
            var n = surface.AreaVector(t);
            var own = normals[source[t]];
            var least = LeastTurnCosine * n.Length;
            return own.LengthSquared > 0 && !(n.Dot(own) > least) && !(n.Dot(smooth.Mean(source[t])) > least);
        });
        return [.. folded.Select(t => source[t])];
    }

    // Leaves triangles flat, and ever more of those around them at each further attempt.
    private static void Leave(bool[] left, Mesh mesh, SortedSet<int> bad, int attempt)
    {
        foreach (var t in bad) left[t] = true;
        for (var ring = 0; ring < attempt; ring++)
        {
            var touched = new bool[mesh.VertexCount];
            foreach (var t in bad)
                for (var k = 0; k < 3; k++) touched[mesh.Corners[3 * t + k]] = true;
            for (var t = 0; t < left.Length; t++)
            {
                if (!touched[mesh.Corners[3 * t]] && !touched[mesh.Corners[3 * t + 1]] && !touched[mesh.Corners[3 * t + 2]]) continue;
                left[t] = true;
                bad.Add(t);
            }
        }
    }

    // Crossings of the input: a crossing moves a little when both surfaces curve, but no further than to the next triangles.
    private sealed class Crossed
    {
        private readonly HashSet<(int, int)> _pairs = [];
        private readonly VertexTriangles _around;
        private readonly int[] _corners;
        private readonly bool[] _crossed;

        internal Crossed(Mesh mesh, int maxThreads)
        {
            _corners = mesh.CornersArray;
            _around = new VertexTriangles(mesh);
            _crossed = new bool[mesh.TriangleCount];
            foreach (var (a, b) in SelfCrossings.Find(mesh, maxThreads))
            {
                _pairs.Add((a, b));
                _crossed[a] = _crossed[b] = true;
            }
        }

        internal bool Near(int s, int t)
        {
            if (_pairs.Count == 0) return false;
            foreach (var a in Ring(s))
            {
                if (!_crossed[a]) continue;
                foreach (var b in Ring(t))
                    if (_crossed[b] && _pairs.Contains((Math.Min(a, b), Math.Max(a, b)))) return true;
            }
            return false;
        }

        private List<int> Ring(int t)
        {
            var ring = new List<int>();
            for (var k = 0; k < 3; k++)
                foreach (var other in _around.Of(_corners[3 * t + k])) ring.Add(other);
            return ring;
        }
    }
}
