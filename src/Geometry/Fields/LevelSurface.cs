using System.Numerics;

namespace Stiltwright.Geometry.Fields;

/// <summary>
/// The surface on which a <see cref="BrickField"/> takes a level: one or two triangles in each Kuhn tetrahedron that it passes
/// (Doi, Koide 1991; the six-tetrahedron split after Kuhn 1960). As no node lies on the level, it is closed and 2-manifold by
/// construction. Normals point to where the field falls: out of the hollow.
/// </summary>
internal static class LevelSurface
{
    // Tetrahedra of a cell as walks from corner 0 to corner 7; corners are bits x = 1, y = 2, z = 4.
    private static readonly int[][] Tetrahedra = [[0, 1, 3, 7], [0, 1, 5, 7], [0, 2, 3, 7], [0, 2, 6, 7], [0, 4, 5, 7], [0, 4, 6, 7]];

    // For each tetrahedron and each pattern of inner corners: triples of cut edges (from, to), right way round.
    private static readonly (int From, int To)[][][] Cases = MakeCases();

    private sealed class Cuts
    {
        public int Base;
        public readonly byte[] Mask = new byte[512];
        public readonly ushort[] Offset = new ushort[512];
        public int Count;
    }

    /// <summary>Cuts the field.</summary>
    /// <param name="field">The field.</param>
    /// <param name="level">The level; no node has it.</param>
    /// <param name="judge">Allows few triangles where the surface is flat; null: all as cut.</param>
    /// <param name="maxThreads">Threads at most.</param>
    /// <param name="cancel">Stops the work.</param>
    internal static (int[] Xyz, int[] Corners) Extract(BrickField field, double level, LevelJudge? judge, int maxThreads, CancellationToken cancel)
    {
        var options = new ParallelOptions { MaxDegreeOfParallelism = Spatial.TriangleTree.Threads(maxThreads).MaxDegreeOfParallelism, CancellationToken = cancel };
        var bricks = field.Places.Length;
        var cuts = new Cuts[bricks];
        var c = (float)level;
        Parallel.For(0, bricks, options, b => cuts[b] = FindCuts(field, b, c));
        var vertices = 0;
        foreach (var cut in cuts)
        {
            cut.Base = vertices;
            vertices += cut.Count;
        }
        var xyz = new int[3 * vertices];
        var corners = new int[bricks][];
        Parallel.For(0, bricks, options, b =>
        {
            PlaceVertices(field, b, level, cuts[b], xyz);
            corners[b] = Triangles(field, b, c, cuts);
        });
        if (judge is not null) xyz = FlatBricks.Reduce(field, judge, level, xyz, corners, options);
        var all = new int[corners.Sum(t => t.Length)];
        var at = 0;
        foreach (var list in corners)
        {
            list.CopyTo(all, at);
            at += list.Length;
        }
        return judge is null ? (xyz, all) : (Used(xyz, all), all);
    }

    // Only the vertices that triangles use, in the same order; their numbers are changed in place.
    private static int[] Used(int[] xyz, int[] corners)
    {
        var number = new int[xyz.Length / 3];
        foreach (var c in corners) number[c] = 1;
        var count = 0;
        for (var v = 0; v < number.Length; v++)
        {
            if (number[v] == 0) continue;
            number[v] = count;
            xyz.AsSpan(3 * v, 3).CopyTo(xyz.AsSpan(3 * count++, 3));
        }
        for (var i = 0; i < corners.Length; i++) corners[i] = number[corners[i]];
        return xyz.AsSpan(0, 3 * count).ToArray();
    }

    private static int Step(int corner) => (corner & 1) + (corner >> 1 & 1) * 9 + (corner >> 2) * 81;

    private static Cuts FindCuts(BrickField field, int b, float level)
    {
        var local = field.Brick(b);
        var cuts = new Cuts();
        for (var n = 0; n < 512; n++)
        {
            var at = (n >> 6) * 81 + (n >> 3 & 7) * 9 + (n & 7);
            var inside = local[at] >= level;
            var mask = 0;
            for (var d = 1; d < 8; d++)
                if (local[at + Step(d)] >= level != inside) mask |= 1 << d;
            cuts.Mask[n] = (byte)mask;
            cuts.Offset[n] = (ushort)cuts.Count;
            cuts.Count += BitOperations.PopCount((uint)mask);
        }
        return cuts;
    }

    private static void PlaceVertices(BrickField field, int b, double level, Cuts cuts, int[] xyz)
    {
        if (cuts.Count == 0) return;
        var local = field.Brick(b);
        var grid = field.Grid;
        var (bx, by, bz) = field.Places[b];
        var v = 3 * cuts.Base;
        for (var n = 0; n < 512; n++)
        {
            if (cuts.Mask[n] == 0) continue;
            int i = n & 7, j = n >> 3 & 7, k = n >> 6, at = k * 81 + j * 9 + i;
            for (var d = 1; d < 8; d++)
            {
                if ((cuts.Mask[n] >> d & 1) == 0) continue;
                double f = local[at], g = local[at + Step(d)], s = (level - f) / (g - f) * grid.Step;
                xyz[v++] = grid.X0 + (bx * 8 + i) * grid.Step + ((d & 1) != 0 ? (int)Math.Round(s) : 0);
                xyz[v++] = grid.Y0 + (by * 8 + j) * grid.Step + ((d & 2) != 0 ? (int)Math.Round(s) : 0);
                xyz[v++] = grid.Z0 + (bz * 8 + k) * grid.Step + ((d & 4) != 0 ? (int)Math.Round(s) : 0);
            }
        }
    }

    private static int[] Triangles(BrickField field, int b, float level, Cuts[] cuts)
    {
        var local = field.Brick(b);
        var grid = field.Grid;
        var (bx, by, bz) = field.Places[b];
        // The eight bricks that a cell may touch.
        var around = new Cuts?[8];
        for (var d = 0; d < 8; d++)
        {
            int x = bx + (d & 1), y = by + (d >> 1 & 1), z = bz + (d >> 2);
            if (x >= grid.Bx || y >= grid.By || z >= grid.Bz) continue;
            var at = field.Index[(z * grid.By + y) * grid.Bx + x];
            if (at >= 0) around[d] = cuts[at];
        }
        var list = new List<int>();
        for (var n = 0; n < 512; n++)
        {
            int i = n & 7, j = n >> 3 & 7, k = n >> 6, at = k * 81 + j * 9 + i;
            var signs = 0;
            for (var d = 0; d < 8; d++)
                if (local[at + Step(d)] >= level) signs |= 1 << d;
            if (signs is 0 or 255) continue;
            for (var t = 0; t < 6; t++)
            {
                var walk = Tetrahedra[t];
                var pattern = (signs >> walk[0] & 1) | (signs >> walk[1] & 1) << 1 | (signs >> walk[2] & 1) << 2 | (signs >> walk[3] & 1) << 3;
                foreach (var (from, to) in Cases[t][pattern])
                {
                    int x = i + (from & 1), y = j + (from >> 1 & 1), z = k + (from >> 2);
                    var brick = around[x >> 3 | y >> 3 << 1 | z >> 3 << 2] ?? throw new InvalidOperationException("The level passes a brick without values.");
                    var node = (z & 7) << 6 | (y & 7) << 3 | x & 7;
                    list.Add(brick.Base + brick.Offset[node] + BitOperations.PopCount((uint)brick.Mask[node] & ((1u << (to - from)) - 1)));
                }
            }
        }
        return list.ToArray();
    }

    private static (int, int)[][][] MakeCases()
    {
        var cases = new (int, int)[6][][];
        for (var t = 0; t < 6; t++)
        {
            cases[t] = new (int, int)[16][];
            var walk = Tetrahedra[t];
            for (var pattern = 0; pattern < 16; pattern++)
            {
                var inner = walk.Where((_, i) => (pattern >> i & 1) != 0).ToArray();
                var outer = walk.Where((_, i) => (pattern >> i & 1) == 0).ToArray();
                var list = new List<(int, int)>();
                if (inner.Length == 1) Triangle((inner[0], outer[0]), (inner[0], outer[1]), (inner[0], outer[2]));
                else if (inner.Length == 3) Triangle((inner[0], outer[0]), (inner[1], outer[0]), (inner[2], outer[0]));
                else if (inner.Length == 2)
                {
                    Triangle((inner[0], outer[0]), (inner[0], outer[1]), (inner[1], outer[1]));
                    Triangle((inner[0], outer[0]), (inner[1], outer[1]), (inner[1], outer[0]));
                }
                cases[t][pattern] = list.ToArray();

                void Triangle((int, int) p, (int, int) q, (int, int) r)
                {
                    Vec3 a = Middle(p), b = Middle(q), c = Middle(r);
                    var outwards = Mean(outer) - Mean(inner);
                    if ((b - a).Cross(c - a).Dot(outwards) < 0) (q, r) = (r, q);
                    foreach (var (x, y) in new[] { p, q, r }) list.Add((Math.Min(x, y), Math.Max(x, y)));
                }
            }
        }
        return cases;

        static Vec3 Corner(int c) => new(c & 1, c >> 1 & 1, c >> 2);
        static Vec3 Middle((int A, int B) e) => (Corner(e.A) + Corner(e.B)) * 0.5;
        static Vec3 Mean(int[] c) => c.Aggregate(Vec3.Zero, (s, x) => s + Corner(x)) / c.Length;
    }
}
