using Stiltwright.Geometry.Exact;

namespace Stiltwright.Geometry.Cutting;

/// <summary>
/// Winding numbers at lattice points, exact, for all points in one pass over the triangles (no tree needed). A ray runs straight up; a point on the
/// surface counts as moved down by an infinitely small step, a ray through an edge as moved by one along y and a much smaller one along x.
/// </summary>
internal static class VerticalRays
{
    /// <summary>For each point the winding number of each group (absent: 0). Groups are given by vertex, or all triangles are group 0.</summary>
    public static Dictionary<int, int>[] Count(int[] xyz, int[] corners, int[]? groupOfVertex, IReadOnlyList<(int X, int Y, int Z)> points)
    {
        var result = new Dictionary<int, int>[points.Count];
        for (var i = 0; i < result.Length; i++) result[i] = [];
        if (points.Count == 0) return result;
        var order = Enumerable.Range(0, points.Count).ToArray();
        var xs = points.Select(p => p.X).ToArray();
        Array.Sort(xs, order);
        int lowX = xs[0], highX = xs[^1], lowZ = points.Min(p => p.Z), lowY = points.Min(p => p.Y), highY = points.Max(p => p.Y);
        Ranges.For(corners.Length / 3, (_, from, to) =>
        {
            for (var i = 3 * from; i < 3 * to; i += 3)
            {
                int a = 3 * corners[i], b = 3 * corners[i + 1], c = 3 * corners[i + 2];
                int x0 = Math.Min(xyz[a], Math.Min(xyz[b], xyz[c])), x1 = Math.Max(xyz[a], Math.Max(xyz[b], xyz[c]));
                if (x1 < lowX || x0 > highX) continue;
                int y0 = Math.Min(xyz[a + 1], Math.Min(xyz[b + 1], xyz[c + 1])), y1 = Math.Max(xyz[a + 1], Math.Max(xyz[b + 1], xyz[c + 1]));
                if (y1 < lowY || y0 > highY) continue;
                var z1 = Math.Max(xyz[a + 2], Math.Max(xyz[b + 2], xyz[c + 2]));
                if (z1 < lowZ) continue;
                var first = Array.BinarySearch(xs, x0);
                if (first < 0) first = ~first;
                while (first > 0 && xs[first - 1] == x0) first--;
                for (var j = first; j < xs.Length && xs[j] <= x1; j++)
                {
                    var (x, y, z) = points[order[j]];
                    if (y < y0 || y > y1 || z > z1) continue;
                    var turn = Around(xyz, a, b, x, y) + Around(xyz, b, c, x, y) + Around(xyz, c, a, x, y);
                    if (turn == 0) continue;
                    int[] p = [x, y, z];
                    var side = Predicates.Orient3D(p, 0, xyz, a, b, c);
                    if (side == turn) continue; // the triangle lies below the point
                    var g = groupOfVertex is null ? 0 : groupOfVertex[corners[i]];
                    lock (result)
                    {
                        var tally = result[order[j]];
                        tally[g] = tally.GetValueOrDefault(g) + turn;
                    }
                }
            }
        });
        return result;
    }

    // What the edge from a to b adds to the turn around (x, y) moved by an infinitely small step.
    private static int Around(int[] xyz, int a, int b, int x, int y)
    {
        bool low = xyz[a + 1] <= y, high = xyz[b + 1] <= y;
        if (low == high) return 0;
        var side = Predicates.Orient2D(xyz[a], xyz[a + 1], xyz[b], xyz[b + 1], x, y);
        if (side == 0) side = xyz[b] != xyz[a] ? Math.Sign(xyz[b] - xyz[a]) : -Math.Sign(xyz[b + 1] - xyz[a + 1]);
        return low ? (side > 0 ? 1 : 0) : (side < 0 ? -1 : 0);
    }
}
