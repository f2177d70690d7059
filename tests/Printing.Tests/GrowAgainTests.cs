using CsCheck;
using MathNet.Numerics.LinearAlgebra;
using Stiltwright.Geometry;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Growing;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Tests;

/// <summary>Struts that are grown once more, where a foot lies on a raft, and the sums behind loads.</summary>
public class GrowAgainTests
{
    private static readonly Lattice Grid = new(16);
    private static readonly GrowthSizes Sizes = new(0.4, 1.0, 2.5, 2, 4, 0.2, 8);
    private static readonly Box3 Room = new(new Vec3(-60, -60, 0), new Vec3(60, 60, 200));

    private static GrowthScene Plate(Mesh? raft = null) => new(
        TriangleTree.Build(Primitives.Box(Grid, new Vec3(-40, -40, 40), new Vec3(40, 40, 44))), raft ?? Mesh.Empty(Grid), Room);

    private static GrowthSpot Under(double x, double y) => new(new Vec3(x, y, 40), new Vec3(0, 0, -1), "test");

    [Fact]
    public void A_strut_that_is_still_wanted_keeps_its_way_and_one_whose_way_was_taken_gets_another()
    {
        GrowthSpot a = Under(0, 0), b = Under(20, 0);
        var first = StrutGrowth.Grow(Plate(), StrutGraph.None, [a, b], Sizes, Grid, default);
        Assert.Equal(2, first.Grown.Count);
        var again = StrutGrowth.Grow(Plate(), StrutGraph.None, [a, b], Sizes, Grid, default, first);
        Assert.Equal(first.Graph.Segments.Select(s => (s.From, s.To)), again.Graph.Segments.Select(s => (s.From, s.To)));
        // A strut of the source whose tip now ends where a's pillar stood.
        var tip = new StrutSegment { Id = 0, Chain = 0, Shell = 0, Role = Role.Tip, From = new Vec3(0.5, -4, 20), To = new Vec3(0.5, 4, 24), RadiusFrom = 0.8, RadiusTo = 0.4, Sides = 8, AreaShare = 1, InertiaShare = 1, Confidence = 1 };
        var graph = new StrutGraph([tip], []);
        var moved = StrutGrowth.Grow(Plate(), graph, [a, b], Sizes, Grid, default, first);
        Assert.Equal(2, moved.Grown.Count);
        foreach (var s in moved.Grown[0].Segments.Select(i => moved.Graph.Segments[i]).Where(s => s.Role == Role.Pillar))
            Assert.True(Segments.Distance(s.From, s.To, tip.From, tip.To) >= s.RadiusFrom + tip.RadiusFrom + GrowthScene.FromTipsMm - 1e-9, "a pillar runs through a tip");
        Assert.Equal(first.Grown[1].FootAt, moved.Grown[1].FootAt);
    }

    [Fact]
    public void A_foot_stands_on_the_raft_only_where_all_of_it_lies_on_the_flat_upper_side()
    {
        // A plate of 60 x 40 mm with a chamfered rim: the flat side measures 56 x 36.
        var raft = Chamfered(30, 20, 2, 1.5);
        var scene = Plate(raft);
        Gen.Select(Gen.Double[-34, 34], Gen.Double[-24, 24], Gen.Double[0.5, 4]).Sample((x, y, r) =>
        {
            var (z, by) = scene.Ground(x, y, r);
            var inside = Math.Min(28 - Math.Abs(x), 18 - Math.Abs(y));
            if (inside >= r) Assert.Equal((0.9, EndHeldBy.Raft), (Math.Round(z, 3), by)); // all of the disc, sunk in by 0.6 mm
            if (inside < 0.9 * r - 0.06) Assert.Equal((0, EndHeldBy.Platform), (z, by)); // eight points of its rim are asked
        }, iter: 3000);
    }

    [Fact]
    public void A_foot_stands_across_two_overlapping_plates_as_on_one()
    {
        var raft = Mesh.Concat(Grid, [Primitives.Box(Grid, new Vec3(-30, -10, 0), new Vec3(2, 10, 1.5)), Primitives.Box(Grid, new Vec3(-2, -10, 0), new Vec3(30, 10, 1.5))]);
        Assert.Equal(EndHeldBy.Raft, Plate(raft).Ground(0, 0, 3).By);
        Assert.Equal(EndHeldBy.Platform, Plate(raft).Ground(0, 9, 3).By);
    }

    [Fact]
    public void Solving_many_rows_at_once_is_solving_each() =>
        Gen.Select(Gen.Int[1, 37], Gen.Int[1, 23], Gen.Int[0, 1000]).Sample((n, rows, seed) =>
        {
            var random = new Random(seed);
            var m = Matrix<double>.Build.Dense(n, n, (_, _) => random.NextDouble() - 0.5);
            var a = m * m.Transpose() + Matrix<double>.Build.DenseIdentity(n);
            var b = Matrix<double>.Build.Dense(rows, n, (_, _) => random.NextDouble() - 0.5);
            var l = a.ToRowMajorArray();
            Assert.Equal(-1, DenseKernels.Cholesky(l, n));
            var x = b.ToRowMajorArray();
            DenseKernels.ForwardAll(l, n, x, rows);
            // What is taken from a square of ones are the products of the rows so far.
            var ones = Enumerable.Repeat(1.0, rows * rows).ToArray();
            DenseKernels.TakeProducts(x, rows, n, ones);
            var z = Matrix<double>.Build.Dense(rows, n, (i, j) => x[i * n + j]);
            for (var i = 0; i < rows; i++)
                for (var j = 0; j <= i; j++) Assert.Equal(1 - z.Row(i).DotProduct(z.Row(j)), ones[i * rows + j], 1e-9);
            DenseKernels.BackwardAll(l, n, x, rows);
            var wanted = a.Solve(b.Transpose()).Transpose().ToRowMajorArray(); // MathNet.Numerics
            for (var i = 0; i < x.Length; i++) Assert.Equal(wanted[i], x[i], 1e-9);
        }, iter: 60);

    private static Mesh Chamfered(double x, double y, double rim, double height)
    {
        Vec3[] low = [new(-x, -y, 0), new(x, -y, 0), new(x, y, 0), new(-x, y, 0)];
        Vec3[] top = [.. low.Select(p => new Vec3(p.X - rim * Math.Sign(p.X), p.Y - rim * Math.Sign(p.Y), height))];
        var corners = new List<int> { 0, 2, 1, 0, 3, 2, 4, 5, 6, 4, 6, 7 };
        for (var i = 0; i < 4; i++)
        {
            var j = (i + 1) % 4;
            corners.AddRange([i, j, 4 + j, i, 4 + j, 4 + i]);
        }
        int Units(double mm) => (int)Math.Round(mm / Grid.UnitMm);
        return new Mesh(Grid, [.. low.Concat(top).SelectMany(p => new[] { Units(p.X), Units(p.Y), Units(p.Z) })], [.. corners]);
    }
}
