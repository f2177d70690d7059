using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>A closed loop of edges along which a surface was cut.</summary>
/// <param name="Vertices">Vertices in the direction in which the kept surface runs along them.</param>
/// <param name="Bodies">The bodies on the other side.</param>
internal sealed record CutLoop(int[] Vertices, int[] Bodies);

/// <summary>Borders of a kept part of a surface, and the flat skins that close them.</summary>
internal static class CutLoops
{
    /// <summary>A loop with more corners than this is no contact of a strut.</summary>
    public const int MostCorners = 220;

    /// <summary>The loops around the triangles of one part; null where a border does not close.</summary>
    public static List<CutLoop>? Around(Mesh mesh, int[] twin, int[] kept, int[] partOf, int part, int[] body)
    {
        var done = new HashSet<int>();
        var loops = new List<CutLoop>();
        foreach (var t in kept)
            for (var k = 0; k < 3; k++)
            {
                var h = 3 * t + k;
                if (!Border(h) || done.Contains(h)) continue;
                var vertices = new List<int>();
                var bodies = new SortedSet<int>();
                var at = h;
                do
                {
                    if (!done.Add(at)) return null;
                    vertices.Add(mesh.Corners[at]);
                    if (twin[at] >= 0 && body[twin[at] / 3] >= 0) bodies.Add(body[twin[at] / 3]);
                    at = EdgePairing.Next(at);
                    var turns = 0;
                    while (!Border(at))
                    {
                        at = EdgePairing.Next(twin[at]);
                        if (++turns > 10_000) return null;
                    }
                }
                while (at != h);
                loops.Add(new CutLoop([.. vertices], [.. bodies]));
            }
        return loops;

        bool Border(int h) => twin[h] < 0 || partOf[twin[h] / 3] != part;
    }

    /// <summary>
    /// Triangles that close a loop using its own corners only, with the least area (and, among equal ones, the least slender):
    /// dynamic programming over all triangulations (from memory: G. T. Klincsek's polygon triangulation). Corners run against the loop.
    /// </summary>
    public static int[] Close(Mesh mesh, int[] loop)
    {
        var n = loop.Length;
        var p = Array.ConvertAll(loop, mesh.Vertex);
        if (n == 3) return [loop[0], loop[2], loop[1]];
        var cost = new double[n * n];
        var split = new int[n * n];
        for (var span = 2; span < n; span++)
            for (var i = 0; i + span < n; i++)
            {
                var k = i + span;
                var best = double.MaxValue;
                for (var m = i + 1; m < k; m++)
                {
                    var c = cost[i * n + m] + cost[m * n + k] + Weight(p[i], p[m], p[k]);
                    if (c >= best) continue;
                    best = c;
                    split[i * n + k] = m;
                }
                cost[i * n + k] = best;
            }
        var corners = new List<int>();
        var stack = new Stack<(int, int)>();
        stack.Push((0, n - 1));
        while (stack.TryPop(out var e))
        {
            var (i, k) = e;
            if (k - i < 2) continue;
            var m = split[i * n + k];
            corners.AddRange([loop[i], loop[k], loop[m]]);
            stack.Push((i, m));
            stack.Push((m, k));
        }
        return [.. corners];

        static double Weight(Vec3 a, Vec3 b, Vec3 c)
        {
            var area = (b - a).Cross(c - a).Length / 2;
            var longest = Math.Max((b - a).LengthSquared, Math.Max((c - b).LengthSquared, (a - c).LengthSquared));
            // A triangle without area is as good as none, but leaves a fold: dear, not forbidden.
            return area + 1e-4 * longest + (area < 1e-9 * longest ? longest : 0);
        }
    }
}
