using CsCheck;
using Stiltwright.Geometry.Fields;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Tests;

/// <summary>
/// Sharp inner edges and corners of cavities. The inner parallel body of a convex body is what all its face planes moved inwards leave
/// (Schneider, Convex Bodies: inner parallel bodies); its depth at a point is the least distance from those planes.
/// </summary>
public class FieldsCreaseTests
{
    private static readonly CavityRequest Ask = new() { WallMm = 2, CellMm = 0.5, LeastVolumeMm3 = 1, LeastRadiusMm = 0.3 };

    [Theory]
    [InlineData(0, 0, 1, 0)]
    [InlineData(1, 2, 3, 0.7)]
    [InlineData(-2, 1, 0.3, 1.9)]
    public void The_cavity_of_a_box_has_sharp_edges(double x, double y, double z, double turn)
    {
        var box = SpatialShapes.Box(new(-15, -10, -8), new(15, 10, 8)).Placed(Affine.Turn(new Vec3(x, y, z).Unit(), turn), SpatialShapes.Fine);
        var result = CavityBuilder.Build(box, Ask);
        var (least, deepest) = Depths(box, Assert.Single(result.Parts).Surface);
        Assert.True(least >= 2 - 0.001, $"wall {least}");
        Assert.True(deepest <= 2.2, $"deeper by {deepest - 2}");
        Assert.Equal((0, 0), (result.BluntMm, result.GapMm));
        // As the cells leave it, it is blunter than that: without this the test would say nothing.
        var blunt = CavityBuilder.Build(box, Ask with { DeeperMm = double.PositiveInfinity });
        Assert.True(Depths(box, blunt.Parts.Single().Surface).Deepest > 2.25);
        Assert.True(result.Parts[0].VolumeMm3 > blunt.Parts[0].VolumeMm3);
    }

    [Fact]
    public void A_corner_reaches_where_three_planes_meet()
    {
        var box = SpatialShapes.Box(new(-15, -10, -8), new(15, 10, 8)).Placed(Affine.Turn(new Vec3(3, -1, 2).Unit(), 1.1), SpatialShapes.Fine);
        var tree = TriangleTree.Build(CavityBuilder.Build(box, Ask).Parts.Single().Surface);
        for (var i = 0; i < 8; i++)
        {
            var corner = new Vec3((i & 1) == 0 ? -13 : 13, (i & 2) == 0 ? -8 : 8, (i & 4) == 0 ? -6 : 6);
            var at = Affine.Turn(new Vec3(3, -1, 2).Unit(), 1.1).Apply(corner);
            // 0.2 mm below three planes at right angles is sqrt 3 times that from where they meet.
            Assert.True(tree.Closest(at).Distance <= 0.2 * Math.Sqrt(3), $"{tree.Closest(at).Distance} mm from the corner {corner}");
        }
    }

    [Fact]
    public void Any_convex_body_keeps_its_wall_and_sharp_edges()
    {
        // Boxes with up to three corners cut off by planes, turned anyhow.
        var unit = Gen.Double[-1, 1];
        Gen.Select(Gen.Double[9, 16], Gen.Double[9, 16], Gen.Double[9, 16], Gen.Select(unit, unit, unit, unit).Array[1, 3], Gen.Select(unit, unit, unit, unit))
            .Sample((a, b, c, cuts, turn) =>
            {
                var body = SpatialShapes.Box(new(-a, -b, -c), new(a, b, c));
                foreach (var (x, y, z, along) in cuts)
                {
                    var n = new Vec3(x, y, z);
                    if (n.Length < 0.1) continue;
                    body = Cutting.PlaneCut.Cut(body, n.Unit(), 7 + along).Below;
                }
                var axis = new Vec3(turn.Item1, turn.Item2, turn.Item3);
                if (axis.Length > 0.1) body = body.Placed(Affine.Turn(axis.Unit(), 3 * turn.Item4), SpatialShapes.Fine);
                var result = CavityBuilder.Build(body, Ask);
                foreach (var part in result.Parts)
                {
                    Assert.True(SpatialShapes.ClosedAndTwoManifold(part.Surface));
                    Assert.Empty(SelfCrossings.Find(part.Surface));
                    var (least, deepest) = Depths(body, part.Surface);
                    Assert.True(least >= 2 - 0.001, $"wall {least}");
                    // Points between those that are looked at may lie a hair deeper: 0.204 mm was met in a hundred bodies.
                    Assert.True(deepest <= 2.22 || deepest <= 2 + Math.Max(result.GapMm, result.BluntMm) + 0.05, $"deeper by {deepest - 2}");
                    // Only acute edges may be left blunt.
                    Assert.True(result.BluntMm <= 0.25, $"blunt by {result.BluntMm}");
                }
            }, iter: 12, threads: 1);
    }

    [Fact]
    public void Kept_places_and_sharp_edges_go_together()
    {
        var box = SpatialShapes.Box(new(-15, -10, -8), new(15, 10, 8)).Placed(Affine.Turn(new Vec3(1, 2, 3).Unit(), 0.7), SpatialShapes.Fine);
        Vec3 from = new(0, 0, 0), to = new(0, 0, 12);
        var part = CavityBuilder.Build(box, Ask with { KeepSolid = [new Capsule(from, to, 3)], KeepSolidBeyond = [new HalfSpace(new(1, 0, 0), 8)] }).Parts.Single();
        Assert.True(SpatialShapes.ClosedAndTwoManifold(part.Surface));
        Assert.Empty(SelfCrossings.Find(part.Surface));
        Assert.True(TriangleTree.Build(part.Surface).ClearanceOfCapsule(from, to) >= 3 - 0.001);
        Assert.True(part.Surface.Bounds.Max.X <= 8.001);
        Assert.True(Depths(box, part.Surface).Least >= 2 - 0.001);
        Assert.InRange(part.DeeperMm, 0, 0.2);
    }

    [Fact]
    public void The_number_of_threads_does_not_change_a_sharp_edge()
    {
        var body = Cutting.PlaneCut.Cut(SpatialShapes.Box(new(-15, -10, -8), new(15, 10, 8)), new Vec3(1, 2, 3).Unit(), 6).Below.Placed(Affine.Turn(new Vec3(1, 2, 3).Unit(), 0.7), SpatialShapes.Fine);
        var one = CavityBuilder.Build(body, Ask with { MaxThreads = 1 }).Parts.Single().Surface;
        var two = CavityBuilder.Build(body, Ask with { MaxThreads = 2 }).Parts.Single().Surface;
        Assert.Equal(one.XyzArray, two.XyzArray);
        Assert.Equal(one.CornersArray, two.CornersArray);
    }

    // Exact depths below the outer surface at points 0.1 mm apart all over.
    private static (double Least, double Deepest) Depths(Mesh outer, Mesh surface)
    {
        var points = new List<Vec3>();
        for (var t = 0; t < surface.TriangleCount; t++)
        {
            var (a, b, c) = surface.Triangle(t);
            var n = (int)Math.Ceiling(Math.Max(a.DistanceTo(b), Math.Max(b.DistanceTo(c), c.DistanceTo(a))) / 0.1) + 1;
            for (var i = 0; i <= n; i++)
                for (var j = 0; i + j <= n; j++) points.Add(a + (b - a) * ((double)i / n) + (c - a) * ((double)j / n));
        }
        var distances = TriangleTree.Build(outer).Closest(points.ToArray()).Select(d => d.Distance).ToArray();
        return (distances.Min(), distances.Max());
    }
}
