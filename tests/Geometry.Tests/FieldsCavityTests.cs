using Stiltwright.Geometry.Fields;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Tests;

/// <summary>
/// Cavities against the volumes of inner parallel bodies (elementary solid geometry, e.g. Bronstein, Semendyayev, Handbook of
/// Mathematics: sphere, box, capsule, torus) and against brute force.
/// </summary>
public class FieldsCavityTests
{
    private static CavityRequest Ask(double wall, double simplify = 0.08) =>
        new() { WallMm = wall, CellMm = 0.5, LeastVolumeMm3 = 1, LeastRadiusMm = 0.3, SimplifyMm = simplify };

    private static CavityResult Hollowed(Mesh m, CavityRequest r)
    {
        var result = CavityBuilder.Build(m, r);
        Assert.Null(result.Refusal);
        foreach (var p in result.Parts)
        {
            Assert.True(SpatialShapes.ClosedAndTwoManifold(p.Surface));
            Assert.True(p.Surface.SignedVolumeMm3() > 0);
            Assert.Equal(p.VolumeMm3, p.Surface.SignedVolumeMm3(), 6);
            Assert.True(p.WallMinMm >= r.WallMm - 0.001, $"wall {p.WallMinMm}");
            Assert.True(p.WallMeanMm >= p.WallMinMm && p.WallP99Mm >= p.WallMinMm);
            // Nothing is deeper than asked by more than 0.2 mm, but for gaps between walls that face each other, which are told.
            Assert.InRange(p.DeeperMm, 0, Math.Max(0.2, result.GapMm));
        }
        return result;
    }

    // The level lies 3 h^2 / (8 t) plus at most the simplification deeper than the wall asked: the volume may lack a layer of that thickness.
    private static void LacksAtMostALayer(double handbook, double area, CavityResult result, double simplify)
    {
        var volume = result.Parts.Sum(p => p.VolumeMm3);
        Assert.True(volume <= handbook * 1.0005, $"{volume} above {handbook}");
        Assert.True(volume >= handbook - area * (0.375 * result.CellMm * result.CellMm / 2 + 0.03 + 0.5 * simplify), $"{volume} far below {handbook}");
    }

    [Theory]
    [InlineData(0)]
    [InlineData(0.08)]
    public void Hollowing_a_sphere_leaves_the_handbook_shell_volume(double simplify)
    {
        var sphere = SpatialShapes.Sphere(new(5, 6, 7), 20, 6);
        var result = Hollowed(sphere, Ask(2, simplify));
        Assert.Single(result.Parts);
        LacksAtMostALayer(4 / 3.0 * Math.PI * 18 * 18 * 18, 4 * Math.PI * 18 * 18, result, simplify);
        Assert.Equal(18, result.Parts[0].InscribedRadiusMm, 0.15);
        // Shell R 20, t 2: 9081.297 mm3 (physics handbook value 4/3 pi (20^3 - 18^3)); never lighter (but for the facets), heavier by a few hundredths of a millimetre.
        var shell = sphere.SignedVolumeMm3() - result.Parts[0].VolumeMm3;
        Assert.InRange(shell, 9081.297 * 0.995, 9081.297 * (simplify == 0 ? 1.03 : 1.05));
    }

    [Fact]
    public void Hollowing_a_box_leaves_the_inner_box()
    {
        var result = Hollowed(SpatialShapes.Box(new(0, 0, 0), new(60, 40, 30)), Ask(2));
        Assert.Single(result.Parts);
        LacksAtMostALayer(56 * 36 * 26, 2 * (56 * 36 + 36 * 26 + 26 * 56), result, 0.08);
    }

    [Fact]
    public void Hollowing_a_capsule_leaves_the_inner_capsule()
    {
        // A sphere drawn apart by 30 mm: cylinder of length 30 with two half balls, R 10.
        var capsule = SpatialShapes.Divided(6, u => u * 10 + new Vec3(0, 0, u.Z > 1e-9 ? 15 : -15));
        var result = Hollowed(capsule, Ask(2));
        Assert.Single(result.Parts);
        LacksAtMostALayer(Math.PI * 64 * 30 + 4 / 3.0 * Math.PI * 512, 2 * Math.PI * 8 * 30 + 4 * Math.PI * 64, result, 0.08);
    }

    [Fact]
    public void Hollowing_a_torus_leaves_the_inner_torus()
    {
        var result = Hollowed(SpatialShapes.Torus(30, 8, 160, 80), Ask(2));
        Assert.Single(result.Parts);
        LacksAtMostALayer(2 * Math.PI * Math.PI * 30 * 36, 4 * Math.PI * Math.PI * 30 * 6, result, 0.08);
        // A ring: Euler number 0.
        var m = result.Parts[0].Surface;
        Assert.Equal(0, m.VertexCount - m.TriangleCount / 2);
    }

    [Fact]
    public void The_wall_holds_at_ten_thousand_random_points_of_the_cavity()
    {
        var figure = SpatialShapes.Divided(5, u => u * (18 + 2 * Math.Sin(6 * u.X + 1) * Math.Sin(8 * u.Y) + 1.5 * Math.Cos(9 * u.Z) - 6 * Math.Exp(-40 * (u - new Vec3(0.6, 0, 0.8)).LengthSquared)));
        var result = Hollowed(figure, Ask(2));
        var surface = Assert.Single(result.Parts).Surface;
        var random = new Random(7);
        var areas = new double[surface.TriangleCount];
        double total = 0;
        for (var t = 0; t < areas.Length; t++) areas[t] = total += surface.AreaVector(t).Length;
        var least = double.PositiveInfinity;
        for (var i = 0; i < 10_000; i++)
        {
            var at = Array.BinarySearch(areas, random.NextDouble() * total);
            var (a, b, c) = surface.Triangle(Math.Min(at < 0 ? ~at : at, areas.Length - 1));
            double u = random.NextDouble(), v = random.NextDouble();
            if (u + v > 1) (u, v) = (1 - u, 1 - v);
            least = Math.Min(least, Brute(figure, a + (b - a) * u + (c - a) * v, 2));
        }
        Assert.True(least >= 2 - 1e-4, $"least wall {least}");
    }

    // Looks at every triangle; those whose first corner is too far away to matter are passed over.
    private static double Brute(Mesh m, Vec3 p, double enough)
    {
        var best = double.PositiveInfinity;
        for (var t = 0; t < m.TriangleCount; t++)
        {
            var (a, b, c) = m.Triangle(t);
            if (a.DistanceTo(p) > enough + 4) continue;
            best = Math.Min(best, TriangleDistance.ClosestPoint(p, a, b, c).DistanceTo(p));
        }
        return best;
    }

    [Fact]
    public void Overlapping_spheres_give_the_cavity_of_their_union()
    {
        // Centres 16 apart, R 14: the inner parallel body of the union is at least the union of the two R 12 balls; it is larger only within a
        // wall's thickness of the neck circle. Lens of two equal balls: V = pi (4R + d)(2R - d)^2 / 12 (Bronstein; MathWorld, Sphere-Sphere Intersection).
        var both = SpatialShapes.Join(SpatialShapes.Sphere(new(-8, 0, 0), 14, 6), SpatialShapes.Sphere(new(8, 0, 0), 14, 6));
        var result = Hollowed(both, Ask(2));
        var part = Assert.Single(result.Parts);
        double r = 12, d = 16, union = 2 * 4 / 3.0 * Math.PI * r * r * r - Math.PI * (4 * r + d) * (2 * r - d) * (2 * r - d) / 12;
        Assert.InRange(part.VolumeMm3, union * 0.97, union * 1.01);
        // No wall around the inner facets: the middle of the overlap is hollow.
        Assert.Equal(1, TriangleTree.Build(part.Surface).Winding(Vec3.Zero));
    }

    [Fact]
    public void Junk_inside_and_a_shell_turned_inside_out_change_what_winding_says()
    {
        var sphere = SpatialShapes.Sphere(Vec3.Zero, 15, 5);
        var alone = Hollowed(sphere, Ask(2));
        // A closed shell wholly inside the solid is no border and changes nothing.
        var junk = Hollowed(SpatialShapes.Join(sphere, SpatialShapes.Sphere(new(2, 1, 0), 5, 4), SpatialShapes.Box(new(-6, -1, -1), new(6, 1, 1))), Ask(2));
        Assert.Equal(alone.Parts.Single().VolumeMm3, junk.Parts.Single().VolumeMm3, alone.Parts.Single().VolumeMm3 * 1e-3);
        // Turned inside out it is a void, and the wall is kept around it too.
        var voided = Hollowed(SpatialShapes.Join(sphere, SpatialShapes.Sphere(Vec3.Zero, 5, 4).Turned()), Ask(2));
        var expected = 4 / 3.0 * Math.PI * (13 * 13 * 13 - 7 * 7 * 7);
        Assert.InRange(voided.Parts.Single().VolumeMm3, expected * 0.96, expected);
    }

    [Fact]
    public void A_figure_thinner_than_two_walls_stays_solid()
    {
        var result = Hollowed(SpatialShapes.Box(new(0, 0, 0), new(40, 40, 3.9)), Ask(2));
        Assert.Empty(result.Parts);
    }

    [Fact]
    public void Small_hollows_stay_solid_and_are_counted()
    {
        // A dumbbell: balls R 12 and R 4 joined by a rod too thin to be hollow.
        var dumbbell = SpatialShapes.Join(SpatialShapes.Sphere(Vec3.Zero, 12, 5), SpatialShapes.Sphere(new(25, 0, 0), 4, 5), SpatialShapes.Box(new(0, -1, -1), new(25, 1, 1)));
        var all = Hollowed(dumbbell, Ask(2));
        Assert.Equal(2, all.Parts.Count);
        var some = Hollowed(dumbbell, Ask(2) with { LeastVolumeMm3 = 100 });
        Assert.Single(some.Parts);
        Assert.Equal(1, some.Dropped);
        Assert.InRange(some.DroppedMm3, 4 / 3.0 * Math.PI * 8 * 0.8, 4 / 3.0 * Math.PI * 8);
        var wide = Hollowed(dumbbell, Ask(2) with { LeastRadiusMm = 3 });
        Assert.Single(wide.Parts);
    }

    [Fact]
    public void Kept_places_stay_solid()
    {
        var sphere = SpatialShapes.Sphere(Vec3.Zero, 20, 5);
        var request = Ask(2) with
        {
            KeepSolid = [new Capsule(new(0, 0, -20), new(0, 0, -10), 4), new Capsule(new(15, 0, 0), new(15, 0, 0), 1.5), new Capsule(new(0, 5, 5), new(0, 5, 5), 2.5)],
            KeepSolidBeyond = [new HalfSpace(new(0, 0, 1), 12)],
        };
        var part = Assert.Single(Hollowed(sphere, request).Parts);
        var tree = TriangleTree.Build(part.Surface);
        Assert.True(tree.ClearanceOfCapsule(new(0, 0, -20), new(0, 0, -10)) >= 4 - 1e-4);
        Assert.True(tree.Closest(new Vec3(15, 0, 0)).Distance >= 1.5 - 1e-4);
        Assert.True(tree.Closest(new Vec3(0, 5, 5)).Distance >= 2.5 - 1e-4);
        Assert.Equal(0, tree.Winding(new(0, 5, 5)));
        Assert.Equal(0, tree.Winding(new(0, 0, -10)));
        Assert.True(part.Surface.Bounds.Max.Z <= 12 + 1e-4);
        Assert.True(part.Surface.Bounds.Max.Z >= 11.9);
    }

    [Fact]
    public void The_number_of_threads_does_not_change_a_byte()
    {
        var figure = SpatialShapes.Divided(5, u => u * (25 + 2 * Math.Sin(6 * u.X) + Math.Cos(9 * u.Z)));
        var one = Hollowed(figure, Ask(2) with { MaxThreads = 1 });
        var two = Hollowed(figure, Ask(2) with { MaxThreads = 2 });
        Assert.Equal(one.Parts.Select(p => p.Surface.XyzArray), two.Parts.Select(p => p.Surface.XyzArray));
        Assert.Equal(one.Parts.Select(p => p.Surface.CornersArray), two.Parts.Select(p => p.Surface.CornersArray));
    }

    [Fact]
    public void An_open_figure_is_refused_with_the_place()
    {
        var sphere = SpatialShapes.Sphere(Vec3.Zero, 10, 3);
        var open = sphere.Part(Enumerable.Range(0, sphere.TriangleCount - 1).ToArray());
        var result = CavityBuilder.Build(open, Ask(2));
        Assert.Empty(result.Parts);
        Assert.Contains("3 edges have no partner", result.Refusal, StringComparison.Ordinal);
        Assert.Throws<ArgumentException>(() => CavityBuilder.Build(sphere, Ask(2) with { CellMm = 0.9 }));
    }
}
