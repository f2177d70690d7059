using CsCheck;
using Stiltwright.Geometry.Refining;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Tests;

/// <summary>
/// Refined surfaces against the round bodies that the coarse ones stand for: volumes and surfaces of ball, torus and cylinder by their
/// closed formulas (elementary geometry), distances from outside by dense samples; and against what must not change.
/// </summary>
public class RefiningTests
{
    private static readonly Lattice L = new(16);

    private static RefineResult Refined(Mesh mesh, double tolerance, double move = 1, int most = int.MaxValue)
    {
        var result = SurfaceRefiner.Refine(mesh, new RefineRequest { ToleranceMm = tolerance, MostMoveMm = move, MostTriangles = most });
        Assert.True(SpatialShapes.ClosedAndTwoManifold(result.Surface));
        Assert.True(result.LargestMoveMm <= move);
        Assert.Equal(mesh.XyzArray, result.Surface.Xyz[..mesh.XyzArray.Length].ToArray()); // no vertex of the source moved
        return result;
    }

    private static double Area(Mesh mesh) => Enumerable.Range(0, mesh.TriangleCount).Sum(t => mesh.AreaVector(t).Length);

    private static double Off(double value, double formula) => Math.Abs(value / formula - 1);

    [Fact]
    public void Boxes_and_other_bodies_of_planes_stay_bit_for_bit()
    {
        foreach (var body in new[] { Primitives.Box(L, Vec3.Zero, new(7, 8, 9)), Primitives.Prism(L, Vec3.Zero, new(3, 4, 20), 5, 6), Primitives.Sphere(L, Vec3.Zero, 9, 1) })
            Assert.Same(body, SurfaceRefiner.Refine(body, new RefineRequest { ToleranceMm = 0.001, MostMoveMm = 1 }).Surface);
    }

    [Fact]
    public void A_coarse_ball_comes_to_the_volume_and_surface_of_the_round_one()
    {
        var coarse = Primitives.Sphere(L, new(1, 2, 3), 20, 4);
        var fine = Refined(coarse, 0.01);
        double volume = 4 * Math.PI / 3 * 8000, area = 4 * Math.PI * 400;
        Assert.InRange(Off(coarse.SignedVolumeMm3(), volume), 0.02, 0.1);
        Assert.True(Off(fine.Surface.SignedVolumeMm3(), volume) < 0.04 * Off(coarse.SignedVolumeMm3(), volume), $"volume off by {Off(fine.Surface.SignedVolumeMm3(), volume):P3}, before {Off(coarse.SignedVolumeMm3(), volume):P3}");
        Assert.True(Off(Area(fine.Surface), area) < 0.08 * Off(Area(coarse), area), $"surface off by {Off(Area(fine.Surface), area):P3}, before {Off(Area(coarse), area):P3}");
        // Every new vertex lies near the round surface, where the old facets lay up to a sagitta below it.
        for (var v = 0; v < fine.Surface.VertexCount; v++) Assert.Equal(20, fine.Surface.Vertex(v).DistanceTo(new(1, 2, 3)), 0.03);
        Assert.Empty(SelfCrossings.Find(fine.Surface));
    }

    [Fact]
    public void A_coarse_torus_comes_to_the_volume_and_surface_of_the_round_one()
    {
        var coarse = Primitives.Torus(L, Vec3.Zero, new(0.2, 0.3, 1), 20, 6, 24, 16);
        var fine = Refined(coarse, 0.01).Surface;
        double volume = 2 * Math.PI * Math.PI * 20 * 36, area = 4 * Math.PI * Math.PI * 20 * 6;
        Assert.True(Off(fine.SignedVolumeMm3(), volume) < 0.1 * Off(coarse.SignedVolumeMm3(), volume), $"volume off by {Off(fine.SignedVolumeMm3(), volume):P3}, before {Off(coarse.SignedVolumeMm3(), volume):P3}");
        Assert.True(Off(Area(fine), area) < 0.1 * Off(Area(coarse), area), $"surface off by {Off(Area(fine), area):P3}, before {Off(Area(coarse), area):P3}");
        Assert.Empty(SelfCrossings.Find(fine));
    }

    [Fact]
    public void A_coarse_cylinder_grows_round_between_its_rims_and_keeps_rims_and_ends()
    {
        var rings = Enumerable.Range(0, 11).Select(i => (10.0, i / 10.0)).ToArray();
        var coarse = Primitives.Revolved(L, Vec3.Zero, new(0, 0, 40), rings, 24);
        var fine = Refined(coarse, 0.005).Surface;
        double volume = Math.PI * 100 * 40, area = 2 * Math.PI * 10 * 40;
        Assert.True(Off(fine.SignedVolumeMm3(), volume) < 0.2 * Off(coarse.SignedVolumeMm3(), volume), $"volume off by {Off(fine.SignedVolumeMm3(), volume):P3}, before {Off(coarse.SignedVolumeMm3(), volume):P3}");
        double Side(Mesh m) => Enumerable.Range(0, m.TriangleCount).Where(t => Math.Abs(m.AreaVector(t).Unit().Z) < 0.5).Sum(t => m.AreaVector(t).Length);
        Assert.True(Off(Side(fine), area) < 0.3 * Off(Side(coarse), area), $"side off by {Off(Side(fine), area):P3}, before {Off(Side(coarse), area):P3}");
        var ends = 0;
        for (var v = 0; v < fine.VertexCount; v++)
        {
            var p = fine.Vertex(v);
            Assert.InRange(p.Z, 0, 40);
            // Beside the rims, which stay polygons, the side passes from their chords to the circle.
            Assert.InRange(Math.Sqrt(p.X * p.X + p.Y * p.Y), p.Z is >= 4 and <= 36 ? 9.998 : 10 * Math.Cos(Math.PI / 24) - 1e-4, 10.002);
            if (p.Z is 0 or 40) ends++;
        }
        Assert.Equal(48, ends);
    }

    [Fact]
    public void The_lines_of_a_cone_stay_straight_and_its_point_stays()
    {
        var coarse = Primitives.Cone(L, Vec3.Zero, new(0, 0, 20), 8, 16);
        var fine = Refined(coarse, 0.01).Surface;
        for (var v = 0; v < fine.VertexCount; v++)
        {
            var p = fine.Vertex(v);
            // Between the polygon of the base and its circle, seen from the point.
            var radius = 8 * (1 - p.Z / 20);
            Assert.InRange(Math.Sqrt(p.X * p.X + p.Y * p.Y), radius * Math.Cos(Math.PI / 16) - 1e-3, radius + 1e-3);
        }
    }

    [Fact]
    public void The_flat_ends_of_a_body_with_rounded_rims_stay_bit_for_bit_and_the_rims_grow_round()
    {
        // A disc of radius 20 with a rim rounded by 3 mm in twelve steps of 15 degrees: flat ends tangent to the round.
        var profile = Enumerable.Range(0, 13).Select(i => (RadiusMm: 17 + 3 * Math.Sin(Math.PI * i / 12), Along: (3 - 3 * Math.Cos(Math.PI * i / 12)) / 6)).ToArray();
        var coarse = Primitives.Revolved(L, Vec3.Zero, new(0, 0, 6), profile, 48);
        var fine = Refined(coarse, 0.01);
        Assert.True(fine.Surface.TriangleCount > 2 * coarse.TriangleCount);
        // Pappus: half disc of radius 3 turned round, its centroid 4 r / (3 pi) outside radius 17; and the cylinder inside.
        var volume = Math.PI * 17 * 17 * 6 + 2 * Math.PI * (17 + 4 * 3 / (3 * Math.PI)) * (Math.PI * 9 / 2);
        Assert.True(Off(fine.Surface.SignedVolumeMm3(), volume) < 0.25 * Off(coarse.SignedVolumeMm3(), volume), $"volume off by {Off(fine.Surface.SignedVolumeMm3(), volume):P3}, before {Off(coarse.SignedVolumeMm3(), volume):P3}");
        double FlatArea(Mesh m) => Enumerable.Range(0, m.TriangleCount).Where(t => Flat(m, t)).Sum(t => m.AreaVector(t).Length);
        static bool Flat(Mesh m, int t) => Enumerable.Range(0, 3).All(k => m.Vertex(m.Corners[3 * t + k]).Z == m.Vertex(m.Corners[3 * t]).Z);
        Assert.Equal(FlatArea(coarse), FlatArea(fine.Surface), 1e-9);
        Assert.Equal(Enumerable.Range(0, coarse.TriangleCount).Count(t => Flat(coarse, t)), Enumerable.Range(0, fine.Surface.TriangleCount).Count(t => Flat(fine.Surface, t)));
    }

    [Fact]
    public void A_surface_just_above_a_facet_is_not_run_into()
    {
        var ball = Primitives.Sphere(L, Vec3.Zero, 20, 3);
        // A small plate over the middle of the facet nearest to x; the round ball would reach through it.
        var t = Enumerable.Range(0, ball.TriangleCount).MaxBy(i => ball.AreaVector(i).Unit().X);
        var (a, b, c) = ball.Triangle(t);
        Vec3 n = ball.AreaVector(t).Unit(), m = (a + b + c) / 3;
        var plate = Primitives.Frustum(L, m + n * 0.05, m + n * 0.6, 1, 1, 6);
        var both = Mesh.Concat(L, [ball, plate]);
        Assert.Empty(SelfCrossings.Find(both));
        Assert.Contains(SelfCrossings.Find(Mesh.Concat(L, [Refined(ball, 0.02).Surface, plate])), _ => true);
        var result = Refined(both, 0.02);
        Assert.Empty(SelfCrossings.Find(result.Surface));
        Assert.InRange(result.LeftFlat, 1, 40);
        Assert.True(result.Surface.TriangleCount > 4 * both.TriangleCount);
    }

    [Fact]
    public void Triangles_to_be_kept_and_the_most_triangles_are_kept_to()
    {
        var ball = Primitives.Sphere(L, Vec3.Zero, 20, 5);
        var keep = Enumerable.Range(0, ball.TriangleCount).Select(t => ball.Vertex(ball.Corners[3 * t]).Z > 0).ToArray();
        var half = SurfaceRefiner.Refine(ball, new RefineRequest { ToleranceMm = 0.01, MostMoveMm = 1, Keep = keep });
        for (var t = 0; t < ball.TriangleCount; t++)
            if (keep[t]) Assert.Equal(1, half.SourceTriangles.Count(s => s == t));
        Assert.False(half.StoppedByCount);
        var most = Refined(ball, 0.001, most: 3000);
        Assert.True(most.StoppedByCount);
        Assert.InRange(most.Surface.TriangleCount, 1500, 3000);
    }

    [Fact]
    public void Random_coarse_bodies_stay_closed_uncrossed_and_within_what_is_stated()
    {
        Gen.Select(Gen.Double[-0.35, 0.35].Array[12], Gen.Double[0.01, 0.2]).Sample((waves, tolerance) =>
        {
            var body = SpatialShapes.Divided(3, u => u * (10 * (1 + waves[0] * Math.Sin(4 * u.X + 9 * waves[1]) + waves[2] * Math.Sin(7 * u.Y + waves[3]) + waves[4] * Math.Sin(11 * u.Z * waves[5]) * u.X)));
            var fine = Refined(body, tolerance, 0.5);
            Assert.Equal(SelfCrossings.Find(body).Count == 0, SelfCrossings.Find(fine.Surface).Count == 0);
            double there = Farthest(fine.Surface, body), back = Farthest(body, fine.Surface), stated = fine.LargestMoveMm + 2 * body.Lattice.UnitMm;
            Assert.True(Math.Max(there, back) <= stated, $"{there} and {back} mm measured, {stated} mm stated");
        }, iter: 25, threads: 1);
    }

    private static double Farthest(Mesh from, Mesh to)
    {
        var points = new List<Vec3>();
        for (var t = 0; t < from.TriangleCount; t++)
        {
            var (a, b, c) = from.Triangle(t);
            for (var i = 0; i <= 4; i++)
                for (var j = 0; i + j <= 4; j++) points.Add(a + (b - a) * (i / 4.0) + (c - a) * (j / 4.0));
        }
        return TriangleTree.Build(to).Closest([.. points]).Max(n => n.Distance);
    }

    [Fact]
    public void The_facet_measure_is_the_sagitta_of_the_chord_and_falls_as_refining_goes_on()
    {
        // Handbook: 32 sides round a radius of 10 lie 10 (1 - cos(pi/32)) = 0.048153 mm below the circle and turn by 11.25 degrees.
        var cylinder = Primitives.Cylinder(L, Vec3.Zero, new(0, 0, 5), 10, 32);
        var rule = new FacetRule(2, 30, 0.5, 0.01);
        var measure = FacetMeasure.Of(cylinder, rule);
        Assert.Equal(0.048153, measure.DeviationMm, 2e-5);
        Assert.Equal(11.25, measure.TurnDegrees, 0.001);
        Assert.Equal(10, Math.Sqrt(measure.At.X * measure.At.X + measure.At.Y * measure.At.Y), 0.001);
        // The side without the ends.
        Assert.Equal(32 * 1.960343 * 5 / (32 * 1.960343 * 5 + 2 * 16 * 100 * Math.Sin(Math.PI / 16)), measure.Share, 1e-4);
        Assert.Equal(0, FacetMeasure.Of(Primitives.Box(L, Vec3.Zero, new(5, 5, 5)), rule).Share);
        var ball = Primitives.Sphere(L, Vec3.Zero, 20, 6);
        double before = FacetMeasure.Of(ball, rule).DeviationMm, after = FacetMeasure.Of(Refined(ball, 0.01).Surface, rule with { LeastTurnDegrees = 0.1, LeastDeviationMm = 0.0001 }).DeviationMm;
        Assert.InRange(before, 0.03, 0.3);
        Assert.InRange(after, 0.0001, 0.02);
    }

    [Fact]
    public void Refining_is_the_same_for_any_number_of_threads()
    {
        var body = SpatialShapes.Divided(3, u => u * (10 + Math.Sin(5 * u.X) + Math.Cos(7 * u.Y)));
        Mesh one = SurfaceRefiner.Refine(body, new() { ToleranceMm = 0.02, MostMoveMm = 1, MaxThreads = 1 }).Surface, two = SurfaceRefiner.Refine(body, new() { ToleranceMm = 0.02, MostMoveMm = 1 }).Surface;
        Assert.Equal(one.XyzArray, two.XyzArray);
        Assert.Equal(one.CornersArray, two.CornersArray);
    }
}
