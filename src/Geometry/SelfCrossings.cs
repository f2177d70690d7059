using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry;

/// <summary>Where a surface meets itself other than along the edges and corners that triangles share; decided exactly.</summary>
public static class SelfCrossings
{
    /// <summary>
    /// Pairs of triangles that share a point which is no common corner (by vertex number), smaller number first, sorted. A mere touch
    /// counts; so do neighbours folded onto each other. Triangles that name a corner twice are left out: they have no place of their own.
    /// </summary>
    /// <param name="mesh">Any mesh.</param>
    /// <param name="maxThreads">Threads at most; 0: as many as there are processors. The result does not depend on it.</param>
    public static IReadOnlyList<(int A, int B)> Find(Mesh mesh, int maxThreads = 0)
    {
        ArgumentNullException.ThrowIfNull(mesh);
        return mesh.TriangleCount == 0 ? [] : Find(TriangleTree.Build(mesh, maxThreads), maxThreads);
    }

    /// <summary>The same for a mesh that has a tree already.</summary>
    public static IReadOnlyList<(int A, int B)> Find(TriangleTree tree, int maxThreads = 0)
    {
        ArgumentNullException.ThrowIfNull(tree);
        var mesh = tree.Mesh;
        int[] corners = mesh.CornersArray, xyz = mesh.XyzArray;
        const int block = 2048;
        var n = mesh.TriangleCount;
        var found = new List<(int, int)>?[(n + block - 1) / block];
        Parallel.For(0, found.Length, TriangleTree.Threads(maxThreads), at =>
        {
            var near = new List<int>();
            for (var t = at * block; t < Math.Min(n, (at + 1) * block); t++)
            {
                if (RepeatsCorner(corners, t)) continue;
                var (a, b, c) = mesh.Triangle(t);
                near.Clear();
                tree.Overlapping(Box3.Empty.With(a).With(b).With(c), near);
                var own = corners.AsSpan(3 * t, 3);
                foreach (var other in near)
                    if (other > t && !RepeatsCorner(corners, other) && TriangleMeet.Meets(xyz, own, corners.AsSpan(3 * other, 3))) (found[at] ??= []).Add((t, other));
            }
        });
        var pairs = new List<(int A, int B)>();
        foreach (var list in found)
            if (list is not null) pairs.AddRange(list);
        pairs.Sort();
        return pairs;
    }

    private static bool RepeatsCorner(int[] corners, int t) => corners[3 * t] == corners[3 * t + 1] || corners[3 * t + 1] == corners[3 * t + 2] || corners[3 * t + 2] == corners[3 * t];
}
