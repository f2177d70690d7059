using System.Globalization;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Simplifying;

/// <summary>What a simplified surface may be like.</summary>
public sealed record SimplifyRequest
{
    /// <summary>Largest distance of any point of the result from the input and of any point of the input from the result, mm, above zero.</summary>
    public required double DeviationMm { get; init; }

    /// <summary>Stop once no more triangles than this are left; 0: go on as long as the deviation allows.</summary>
    public int LeastTriangles { get; init; }

    /// <summary>Threads at most; 0: as many as there are processors. The result does not depend on it.</summary>
    public int MaxThreads { get; init; }
}

/// <summary>A simplified surface.</summary>
/// <param name="Surface">Closed, every edge with two triangles that run along it in opposite directions, as the input was; the input itself where it was refused.</param>
/// <param name="DeviationMm">No point of either surface lies farther from the other one than this, mm: proven afterwards for all points, not only measured at some (corners, what lies straight above flat parts, convex distances); at most what was asked.</param>
public sealed record SimplifyResult(Mesh Surface, double DeviationMm)
{
    /// <summary>Vertices kept where they were because surfaces that lie close together would have crossed.</summary>
    public int KeptVertices { get; init; }

    /// <summary>Why the surface cannot be simplified, as a sentence; null where it can.</summary>
    public string? Refusal { get; init; }
}

/// <summary>
/// Saves triangles of a closed surface within a stated deviation: edges are drawn together in the order of quadric costs (Garland,
/// Heckbert 1997), only where the surface stays 2-manifold (link condition), no triangle turns over, and corners of either
/// surface stay near the other. Volume, sharp edges and corners are kept as far as the quadrics keep them, that is within the
/// deviation. Afterwards the deviation is proven, both ways, and crossings are looked for; where it is too large, or the result
/// crosses itself and the input did not, the places are kept as they were and the work is done anew with less freedom.
/// </summary>
public static class SurfaceSimplifier
{
    private const int Attempts = 6;

    // Corners are held to this part of the deviation, and to less at every further attempt; the rest is for what lies between them.
    private const double DecidedShare = 0.55;

    /// <summary>Simplifies a surface.</summary>
    /// <param name="mesh">Closed; it may cross itself or touch itself along edges and corners, which stays so.</param>
    /// <param name="request">Deviation and limits.</param>
    /// <param name="cancel">Stops the work.</param>
    /// <exception cref="ArgumentException">The deviation is not above zero.</exception>
    public static SimplifyResult Simplify(Mesh mesh, SimplifyRequest request, CancellationToken cancel = default)
    {
        ArgumentNullException.ThrowIfNull(mesh);
        ArgumentNullException.ThrowIfNull(request);
        if (!(request.DeviationMm > 0) || !double.IsFinite(request.DeviationMm))
            throw new ArgumentException($"A deviation of {request.DeviationMm} mm cannot be kept; it must be above zero.", nameof(request));
        if (mesh.TriangleCount <= request.LeastTriangles || mesh.TriangleCount == 0) return new(mesh, 0);
        var pairing = EdgePairing.Build(mesh);
        if (Refusal(pairing) is { } why) return new(mesh, 0) { Refusal = why };
        // Sheets that touch in a corner get one each; those stay where they are, so that they touch and do not cross.
        var apart = pairing.WithSheetsApart(out var doubled);
        var locked = new bool[apart.VertexCount];
        foreach (var v in doubled) locked[v] = true;
        locked.AsSpan(mesh.VertexCount).Fill(true);
        Lazy<IReadOnlyList<(int A, int B)>> before = new(() => SelfCrossings.Find(apart, request.MaxThreads));
        var original = TriangleTree.Build(apart, request.MaxThreads);
        var decided = DecidedShare * request.DeviationMm;
        var reach = Math.Max(4 * request.DeviationMm, 2 * MeanEdge(mesh));
        Vec3? stuck = null;
        for (var attempt = 0; attempt < Attempts; attempt++, decided *= 0.85)
        {
            var table = new CornerTable(apart.VertexCount, apart.CornersArray, pairing.TwinArray);
            var work = new BoundedCollapse(original, table, locked, decided, attempt > 0 || request.LeastTriangles == 0, request.MaxThreads, cancel);
            var (xyz, corners) = work.Run(request.LeastTriangles);
            var result = new Mesh(mesh.Lattice, xyz, corners);
            var tree = TriangleTree.Build(result, request.MaxThreads);
            var crossings = SelfCrossings.Find(tree, request.MaxThreads);
            if (crossings.Count > 0) crossings = Made(result, crossings, apart, before.Value, request.DeviationMm);
            var there = CoverBound.Of(result, apart, pairing.TwinArray, original, request.DeviationMm, request.MaxThreads);
            var back = CoverBound.Of(apart, result, EdgePairing.Build(result).TwinArray, tree, request.DeviationMm, request.MaxThreads);
            if (crossings.Count == 0 && there.Beyond.Count == 0 && back.Beyond.Count == 0)
                return new(result, Math.Max(there.LargestMm, back.LargestMm)) { KeptVertices = locked.Count(l => l) };
            Vec3[] places = [.. crossings.SelectMany(p => Corners(result, p.A).Concat(Corners(result, p.B))), .. there.Beyond, .. back.Beyond];
            stuck = places[0];
            Lock(locked, apart, places, reach);
        }
        return new(mesh, 0)
        {
            KeptVertices = apart.VertexCount,
            Refusal = string.Create(CultureInfo.InvariantCulture, $"After {Attempts} attempts the surface would still cross itself or lie beyond {request.DeviationMm} mm, at {stuck} mm among others; it stays as it was. Allow a larger deviation."),
        };
    }

    // Root of the mean squared length of edges, mm.
    private static double MeanEdge(Mesh mesh)
    {
        double sum = 0;
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, _) = mesh.Triangle(t);
            sum += (b - a).LengthSquared;
        }
        return Math.Sqrt(sum / mesh.TriangleCount);
    }

    private static string? Refusal(EdgePairing pairing)
    {
        var mesh = pairing.Mesh;
        for (var h = 0; h < pairing.Twin.Length; h++)
        {
            var open = pairing.Twin[h] < 0;
            if (!open && !pairing.Clashes(h)) continue;
            var at = (mesh.Vertex(mesh.Corners[h]) + mesh.Vertex(mesh.Corners[EdgePairing.Next(h)])) * 0.5;
            return open
                ? string.Create(CultureInfo.InvariantCulture, $"The surface is open at {at} mm; only closed surfaces can be simplified within a bound. Close it there first.")
                : string.Create(CultureInfo.InvariantCulture, $"Two triangles at {at} mm face opposite ways; turn one of them first.");
        }
        return null;
    }

    // Crossings of the result that are not those of the input, moved by at most the deviation.
    private static IReadOnlyList<(int A, int B)> Made(Mesh result, IReadOnlyList<(int A, int B)> crossings, Mesh input, IReadOnlyList<(int A, int B)> before, double deviation)
    {
        if (before.Count == 0) return crossings;
        var tree = TriangleTree.Build(Triangles(input, before));
        return [.. crossings.Where(p => !Near(p.A) || !Near(p.B))];

        bool Near(int t)
        {
            var (a, b, c) = result.Triangle(t);
            var m = (a + b + c) / 3;
            return tree.Closest(m, 2 * deviation + Math.Max(m.DistanceTo(a), Math.Max(m.DistanceTo(b), m.DistanceTo(c)))).Found;
        }
    }

    private static Mesh Triangles(Mesh mesh, IReadOnlyList<(int A, int B)> pairs)
    {
        var list = new SortedSet<int>();
        foreach (var (a, b) in pairs)
        {
            list.Add(a);
            list.Add(b);
        }
        return mesh.Part([.. list]);
    }

    private static IEnumerable<Vec3> Corners(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        return [a, b, c];
    }

    // Keeps the vertices near some places: those within reach, and at least the nearest triangle's.
    private static void Lock(bool[] locked, Mesh mesh, Vec3[] places, double reach)
    {
        var tree = TriangleTree.Build(mesh);
        var near = new List<int>();
        foreach (var p in places)
        {
            near.Clear();
            tree.Overlapping(new Box3(p, p).Grown(reach), near);
            near.Add(tree.Closest(p).Triangle);
            foreach (var t in near)
                for (var k = 0; k < 3; k++) locked[mesh.Corners[3 * t + k]] = true;
        }
    }
}
