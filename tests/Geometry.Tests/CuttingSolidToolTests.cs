using Stiltwright.Geometry.Cutting;
using Stiltwright.Geometry.Spatial;
using static Stiltwright.Geometry.Tests.CuttingBodies;
using static Stiltwright.Geometry.Tests.CuttingPrimitivesTests;

namespace Stiltwright.Geometry.Tests;

/// <summary>Volumes against inclusion and exclusion and handbook formulas; topology against Euler's formula.</summary>
public class CuttingSolidToolTests
{
    private static Mesh Soup(params Mesh[] shells) => Mesh.Concat(L, shells);

    [Fact]
    public void A_drill_through_a_box_takes_out_its_own_section_times_the_thickness()
    {
        var box = Primitives.Box(L, new(0, 0, 0), new(20, 20, 5));
        var r = SolidTool.Subtract(box, Primitives.Cylinder(L, new(10, 10, -3), new(10, 10, 8), 2, 24), 1);
        Closed(r.Result);
        Assert.Equal(20 * 20 * 5 - 12 * 4 * Math.Sin(2 * Math.PI / 24) * 5, r.Result.SignedVolumeMm3(), 3);
        Assert.Equal([1], Genera(r.Result));
    }

    [Fact]
    public void A_pocket_keeps_a_box_a_ball_by_topology()
    {
        var box = Primitives.Box(L, new(0, 0, 0), new(20, 20, 5));
        var r = SolidTool.Subtract(box, Primitives.Box(L, new(5, 5, 3), new(9, 12, 8)), 1);
        Closed(r.Result);
        Assert.Equal(2000 - 4 * 7 * 2, r.Result.SignedVolumeMm3(), 2);
        Assert.Equal([0], Genera(r.Result));
    }

    [Fact]
    public void Drilling_a_hollow_ball_joins_wall_and_cavity_and_a_second_hole_makes_a_ring()
    {
        var ball = Soup(Primitives.Sphere(L, Vec3.Zero, 20, 24), Primitives.Sphere(L, Vec3.Zero, 17, 20).Turned());
        Assert.Equal(2, Genera(ball).Count);
        var one = SolidTool.Subtract(ball, Primitives.Cylinder(L, new(0, 0, 10), new(0.5, 0, 25), 2, 24), 1);
        Closed(one.Result);
        Assert.Equal([0], Genera(one.Result));
        // The plug: wall between two spheres along a 24-gon, within what the ball's facets allow.
        double Wall(double rr) => Math.Sqrt(400 - rr * rr) - Math.Sqrt(289 - rr * rr);
        var drop = ball.SignedVolumeMm3() - one.Result.SignedVolumeMm3();
        var area = 12 * 4 * Math.Sin(2 * Math.PI / 24);
        Assert.InRange(drop, area * Wall(0) * 0.98, area * Wall(2) * 1.02);
        var plug = SolidTool.Common(ball, Primitives.Cylinder(L, new(0, 0, 10), new(0.5, 0, 25), 2, 24), 1);
        Closed(plug.Result);
        Assert.Equal(drop, plug.Result.SignedVolumeMm3(), 4);
        var two = SolidTool.Subtract(one.Result, Primitives.Cylinder(L, new(0, 0, -10), new(0, 0.5, -25), 2, 24), 1);
        Closed(two.Result);
        Assert.Equal([1], Genera(two.Result));
        var both = SolidTool.Subtract(ball, [Primitives.Cylinder(L, new(0, 0, 10), new(0.5, 0, 25), 2, 24), Primitives.Cylinder(L, new(0, 0, -10), new(0, 0.5, -25), 2, 24)], 1);
        Assert.Equal([1], Genera(both.Result));
        Assert.Equal(two.Result.SignedVolumeMm3(), both.Result.SignedVolumeMm3(), 4);
    }

    [Fact]
    public void A_drill_through_a_hollow_box_takes_area_times_both_walls()
    {
        var box = Soup(Primitives.Box(L, new(0, 0, 0), new(20, 20, 20)), Primitives.Box(L, new(2, 2, 3), new(18, 18, 16)).Turned());
        var r = SolidTool.Subtract(box, Primitives.Cylinder(L, new(10, 10, -1), new(10, 10, 21), 2, 32), 1);
        Closed(r.Result);
        Assert.Equal(box.SignedVolumeMm3() - 16 * 4 * Math.Sin(2 * Math.PI / 32) * 7, r.Result.SignedVolumeMm3(), 3);
        Assert.Equal([1], Genera(r.Result));
    }

    [Fact]
    public void Two_overlapping_shells_are_each_drilled_and_nothing_winds_in_the_bore()
    {
        var a = Primitives.Sphere(L, new(0, 0, 0), 10, 16);
        var b = Primitives.Sphere(L, new(8, 0, 0), 9, 16);
        var drill = Primitives.Cylinder(L, new(4, 0, -20), new(4.3, 0, 20), 1.5, 24);
        var r = SolidTool.Subtract(Soup(a, b), drill, 7);
        Closed(r.Result);
        Assert.Equal([1, 1], Genera(r.Result));
        Compare(r.Result, Soup(a, b), drill);
    }

    private static void Compare(Mesh result, Mesh soup, Mesh tool, int points = 4000)
    {
        TriangleTree before = TriangleTree.Build(soup), cut = TriangleTree.Build(tool);
        SameWindings(result, p => before.Closest(p).Distance < 2e-4 || cut.Closest(p).Distance < 2e-4 ? null : cut.Winding(p) > 0 ? 0 : before.Winding(p),
            soup.Bounds.Grown(1), points, 5);
        SameWindings(result, p => before.Closest(p).Distance < 2e-4 || cut.Closest(p).Distance < 2e-4 ? null : cut.Winding(p) > 0 ? 0 : before.Winding(p),
            tool.Bounds.Grown(0.5), points, 6);
    }

    [Fact]
    public void Triangles_away_from_the_hole_stay_corner_for_corner()
    {
        var ball = Primitives.Sphere(L, Vec3.Zero, 20, 40);
        var r = SolidTool.Subtract(ball, Primitives.Cylinder(L, new(0, 0, 10), new(0, 0, 25), 1, 24), 1);
        Closed(r.Result);
        Assert.Equal(ball.TriangleCount - r.TrianglesTouched, r.KeptTriangles);
        Assert.True(r.TrianglesTouched < 200);
        var old = Enumerable.Range(0, ball.TriangleCount).Select(ball.Triangle).ToHashSet();
        for (var t = 0; t < r.KeptTriangles; t++) Assert.Contains(r.Result.Triangle(t), old);
    }

    [Fact]
    public void A_cavity_that_touches_no_surface_is_appended_to_each_shell_around_it()
    {
        var a = Primitives.Sphere(L, Vec3.Zero, 20, 12);
        var b = Primitives.Box(L, new(-15, -15, -15), new(40, 15, 15));
        var far = Primitives.Box(L, new(60, 0, 0), new(70, 10, 10));
        var cavity = Primitives.Sphere(L, Vec3.Zero, 10, 10);
        var soup = Soup(a, b, far);
        var r = SolidTool.Subtract(soup, cavity, 1);
        Closed(r.Result);
        Assert.Equal(0, r.TrianglesTouched);
        Assert.Equal(soup.TriangleCount + 2 * cavity.TriangleCount, r.Result.TriangleCount);
        Assert.Equal(soup.SignedVolumeMm3() - 2 * cavity.SignedVolumeMm3(), r.Result.SignedVolumeMm3(), 6);
        // And a drill into it afterwards finds each copy its own shell.
        var drill = Primitives.Cylinder(L, new(0, 0, 5), new(0, 0.3, 30), 1, 24);
        var d = SolidTool.Subtract(r.Result, drill, 2);
        Closed(d.Result);
        Assert.Equal([0, 0, 0], Genera(d.Result));
        Compare(d.Result, r.Result, drill);
    }

    [Fact]
    public void An_arm_that_ends_within_the_cavity_is_clipped_by_it()
    {
        var body = Primitives.Sphere(L, Vec3.Zero, 20, 16);
        var arm = Primitives.Capsule(L, new(5, 0.1, 0.2), new(40, 3, 2), 4, 24);
        var cavity = Primitives.Sphere(L, Vec3.Zero, 16, 30);
        var soup = Soup(body, arm);
        var r = SolidTool.Subtract(soup, cavity, 1);
        Closed(r.Result);
        Assert.Equal([0, 0, 0], Genera(r.Result));
        Compare(r.Result, soup, cavity);
    }

    [Fact]
    public void A_shell_that_overlaps_itself_is_drilled_with_as_many_walls_as_it_winds()
    {
        var eight = Eight(20, 4);
        foreach (var (from, to, radius) in new[]
        {
            (new Vec3(0.3, 0.2, -10), new Vec3(0.4, 0.1, 10), 1.0), (new Vec3(0.3, 0.2, -10), new Vec3(0.4, 0.1, 10), 5.0), (new Vec3(-25, 0.5, 0.3), new Vec3(25, 0.1, 0.1), 2.0),
            (new Vec3(3, 0.2, -10), new Vec3(3.4, 0.1, 10), 3.0), (new Vec3(2, -15, 0.3), new Vec3(2.5, 12, 1.3), 2.2), (new Vec3(1, 0.2, 0), new Vec3(1.4, 0.1, 10), 2.0)
        })
        {
            var drill = Primitives.Cylinder(L, from, to, radius, 24);
            var r = SolidTool.Subtract(eight, drill, 3);
            Closed(r.Result);
            Compare(r.Result, eight, drill, 2000);
        }
    }

    [Fact]
    public void A_doubled_shell_is_drilled_twice()
    {
        var box = Primitives.Box(L, new(0, 0, 0), new(20, 20, 5));
        // Both copies on the same vertices: one piece of surface that winds twice.
        var both = new Mesh(L, box.XyzArray, [.. box.CornersArray, .. box.CornersArray]);
        var drill = Primitives.Cylinder(L, new(10, 10, -3), new(10, 10, 8), 2, 24);
        var r = SolidTool.Subtract(both, drill, 1);
        Balanced(r.Result);
        Compare(r.Result, both, drill);
        var apart = SolidTool.Subtract(Soup(box, box), drill, 1);
        Closed(apart.Result);
        Assert.Equal([1, 1], Genera(apart.Result));
    }

    [Fact]
    public void Boxes_and_tools_on_few_planes_always_close_and_keep_the_volume_of_inclusion_and_exclusion()
    {
        const int seed = 20250;
        var random = new Random(seed);
        for (var run = 0; run < 150; run++)
        {
            (Vec3 Min, Vec3 Max) Any()
            {
                Span<int> p = stackalloc int[6];
                for (var k = 0; k < 3; k++)
                {
                    p[k] = random.Next(5);
                    do p[3 + k] = random.Next(5); while (p[3 + k] == p[k]);
                }
                return (new(Math.Min(p[0], p[3]), Math.Min(p[1], p[4]), Math.Min(p[2], p[5])), new(Math.Max(p[0], p[3]), Math.Max(p[1], p[4]), Math.Max(p[2], p[5])));
            }
            var boxes = Enumerable.Range(0, 1 + random.Next(5)).Select(_ => Any()).ToList();
            var tool = Any();
            var soup = Soup(boxes.Select(b => Primitives.Box(L, b.Min, b.Max)).ToArray());
            var r = SolidTool.Subtract(soup, Primitives.Box(L, tool.Min, tool.Max), (ulong)run);
            Closed(r.Result);
            double expected = 0;
            foreach (var b in boxes)
            {
                Vec3 size = b.Max - b.Min, shared = Vec3.Min(b.Max, tool.Max) - Vec3.Max(b.Min, tool.Min);
                expected += size.X * size.Y * size.Z - Math.Max(0, shared.X) * Math.Max(0, shared.Y) * Math.Max(0, shared.Z);
            }
            Assert.True(Math.Abs(expected - r.Result.SignedVolumeMm3()) < 0.05, $"seed {seed} run {run}: {expected} {r.Result.SignedVolumeMm3()}");
            // Columns at the middles of the unit cells: solid counts, cell by cell.
            var tree = TriangleTree.Build(r.Result);
            for (var cell = 0; cell < 64; cell++)
            {
                var p = new Vec3(cell % 4 + 0.5, cell / 4 % 4 + 0.5, cell / 16 + 0.5);
                bool In((Vec3 Min, Vec3 Max) b) => new Box3(b.Min, b.Max).Holds(p);
                Assert.Equal(In(tool) ? 0 : boxes.Count(In), tree.Winding(p));
            }
        }
    }

    [Fact]
    public void A_wide_cavity_as_tool_cuts_large_faces_along_long_curves()
    {
        var box = Primitives.Box(L, new(-10, -10, -10), new(10, 10, 10));
        var ball = Primitives.Sphere(L, new(0, 0, 0), 12.5, 60);
        var r = SolidTool.Subtract(box, ball, 1);
        Closed(r.Result);
        Compare(r.Result, box, ball);
        // The ball cuts all six faces in circles of radius 7.5 that stay clear of the edges: eight corners are left, joined by the edges.
        Assert.Equal([5], Genera(r.Result));
        Compare(SolidTool.Subtract(ball, box, 1).Result, ball, box);
    }

    [Fact]
    public void Triangles_without_area_in_the_zone_are_turned_away()
    {
        var u = L.UnitsPerMm;
        // A box whose top edge has a corner more on one side only, so that a flat triangle closes the seam.
        var box = Primitives.Box(L, new(0, 0, 0), new(20, 20, 5));
        int[] xyz = [.. box.Xyz, 10 * u, 0, 5 * u];
        var corners = new List<int>();
        for (var t = 0; t < box.TriangleCount; t++)
        {
            int a = box.Corners[3 * t], b = box.Corners[3 * t + 1], c = box.Corners[3 * t + 2];
            int[] ring = [a, b, c];
            var k = Enumerable.Range(0, 3).Where(i => ring[i] == 4 && ring[(i + 1) % 3] == 5).DefaultIfEmpty(-1).First();
            if (k >= 0) corners.AddRange([4, 8, ring[(k + 2) % 3], 8, 5, ring[(k + 2) % 3], 4, 5, 8]);
            else corners.AddRange(ring);
        }
        var odd = new Mesh(L, xyz, corners.ToArray());
        Closed(odd);
        var drill = Primitives.Cylinder(L, new(10.2, 0.1, -3), new(10.2, 0.1, 8), 2, 24);
        var r = SolidTool.Subtract(odd, drill, 1);
        Closed(r.Result);
        Compare(r.Result, odd, drill);
    }

    [Fact]
    public void An_open_shell_or_tool_is_refused_with_the_place()
    {
        var box = Primitives.Box(L, new(0, 0, 0), new(20, 20, 5));
        var open = box.Part(Enumerable.Range(1, 11).ToArray());
        var drill = Primitives.Cylinder(L, new(5, 5, -3), new(5, 5, 8), 2, 24);
        var e = Assert.Throws<CuttingException>(() => SolidTool.Subtract(open, drill, 1));
        Assert.Contains("closed", e.Message);
        Assert.True(box.Bounds.Grown(4).Holds(e.At));
        var openTool = drill.Part(Enumerable.Range(1, drill.TriangleCount - 1).ToArray());
        Assert.Contains("tool is not closed", Assert.Throws<CuttingException>(() => SolidTool.Subtract(box, openTool, 1)).Message);
    }

    [Fact]
    public void The_same_seed_gives_the_same_mesh()
    {
        var box = Primitives.Box(L, new(0, 0, 0), new(20, 20, 5));
        var tool = Primitives.Box(L, new(5, 0, 0), new(9, 12, 5));
        SubtractResult a = SolidTool.Subtract(box, tool, 9), b = SolidTool.Subtract(box, tool, 9);
        Assert.True(a.Jitters > 0);
        Assert.Equal(a.Result.XyzArray, b.Result.XyzArray);
        Assert.Equal(a.Result.CornersArray, b.Result.CornersArray);
        Closed(a.Result);
    }
}
