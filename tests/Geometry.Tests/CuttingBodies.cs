using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Tests;

/// <summary>Bodies and measures for the cutting tests, reckoned apart from the code under test.</summary>
internal static class CuttingBodies
{
    public static readonly Lattice L = new(16);

    /// <summary>Connected surfaces by shared edges, and the genus of each (Euler: V - E + F = 2 - 2g).</summary>
    public static List<int> Genera(Mesh m)
    {
        var owner = new Dictionary<(int, int), int>();
        var link = Enumerable.Range(0, m.TriangleCount).ToArray();
        int Root(int t) { while (link[t] != t) t = link[t] = link[link[t]]; return t; }
        for (var t = 0; t < m.TriangleCount; t++)
            for (var k = 0; k < 3; k++)
            {
                int a = m.Corners[3 * t + k], b = m.Corners[3 * t + (k + 1) % 3];
                if (owner.TryGetValue((b, a), out var o)) link[Root(t)] = Root(o);
                owner[(a, b)] = t;
            }
        return Enumerable.Range(0, m.TriangleCount).GroupBy(Root).Select(g =>
        {
            var v = g.SelectMany(t => new[] { m.Corners[3 * t], m.Corners[3 * t + 1], m.Corners[3 * t + 2] }).Distinct().Count();
            var f = g.Count();
            return (2 - (v - 3 * f / 2 + f)) / 2;
        }).ToList();
    }

    /// <summary>A tube along a lying eight (a Lissajous curve): one shell that overlaps itself at the crossing, where it winds twice.</summary>
    public static Mesh Eight(double size, double tube, int along = 160, int around = 20)
    {
        var xyz = new int[3 * along * around];
        var corners = new List<int>();
        for (var i = 0; i < along; i++)
        {
            var t = 2 * Math.PI * i / along;
            var centre = new Vec3(size * Math.Sin(t), size * Math.Sin(2 * t) / 2, 0);
            var ahead = new Vec3(Math.Cos(t), Math.Cos(2 * t), 0).Unit();
            var side = ahead.Cross(Vec3.Up);
            for (var j = 0; j < around; j++)
            {
                var (s, c) = Math.SinCos(2 * Math.PI * j / around + 0.1);
                var p = centre + side * (tube * c) + Vec3.Up * (tube * s);
                var at = 3 * (i * around + j);
                (xyz[at], xyz[at + 1], xyz[at + 2]) = (L.Round(p.X), L.Round(p.Y), L.Round(p.Z));
                int i2 = (i + 1) % along * around, j2 = (j + 1) % around;
                corners.AddRange([i * around + j, i2 + j, i2 + j2, i * around + j, i2 + j2, i * around + j2]);
            }
        }
        var m = new Mesh(L, xyz, corners.ToArray());
        return m.SignedVolumeMm3() < 0 ? m.Turned() : m;
    }

    /// <summary>Every edge as often one way as the other (edges may have more than two triangles).</summary>
    public static void Balanced(Mesh m)
    {
        var edges = new Dictionary<(int, int), int>();
        for (var t = 0; t < m.TriangleCount; t++)
            for (var k = 0; k < 3; k++)
            {
                int a = m.Corners[3 * t + k], b = m.Corners[3 * t + (k + 1) % 3];
                edges[(Math.Min(a, b), Math.Max(a, b))] = edges.GetValueOrDefault((Math.Min(a, b), Math.Max(a, b))) + Math.Sign(b - a);
            }
        Assert.All(edges, e => Assert.Equal(0, e.Value));
    }

    /// <summary>Winding numbers at random points that keep 50 nm from all surfaces named: what was asked against what came out.</summary>
    public static void SameWindings(Mesh result, Func<Vec3, int?> expected, Box3 within, int points, int seed)
    {
        var tree = TriangleTree.Build(result);
        var random = new Random(seed);
        for (var i = 0; i < points; i++)
        {
            var p = within.Min + new Vec3(random.NextDouble() * within.Size.X, random.NextDouble() * within.Size.Y, random.NextDouble() * within.Size.Z);
            if (expected(p) is { } w) Assert.True(w == tree.Winding(p), $"at {p} the result winds {tree.Winding(p)} times, not {w}");
        }
    }

    public static int Wound(TriangleTree tree, Vec3 p) => tree.Winding(p);
}
