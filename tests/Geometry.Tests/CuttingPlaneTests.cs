using CsCheck;
using Stiltwright.Geometry.Cutting;
using Stiltwright.Geometry.Spatial;
using static Stiltwright.Geometry.Tests.CuttingBodies;
using static Stiltwright.Geometry.Tests.CuttingPrimitivesTests;

namespace Stiltwright.Geometry.Tests;

/// <summary>Halves of plane cuts: closed, and together the whole.</summary>
public class CuttingPlaneTests
{
    private static void Sound(Mesh whole, PlaneCutResult cut)
    {
        Closed(cut.Below);
        Closed(cut.Above);
        Assert.Equal(whole.SignedVolumeMm3(), cut.Below.SignedVolumeMm3() + cut.Above.SignedVolumeMm3(), 0.005);
    }

    [Fact]
    public void A_cube_falls_into_halves_along_any_of_its_planes()
    {
        var box = Primitives.Box(L, new(0, 0, 0), new(10, 10, 10));
        foreach (var n in new Vec3[] { new(1, 0, 0), new(0, 1, 0), new(0, 0, -1), new(1, 1, 0), new(1, -1, 0), new(1, 1, 1), new(-2, 1, 1) })
        {
            var cut = PlaneCut.Cut(box, n, n.Unit().Dot(new(5, 5, 5)));
            Sound(box, cut);
            Assert.Equal(500, cut.Below.SignedVolumeMm3(), 2);
        }
        Assert.Equal(100, PlaneCut.Cut(box, new(0, 0, 1), 4).CapAreaMm2, 4);
        // Regular hexagon through six edge middles: area (3 sqrt 3 / 2) a^2 with a = 10 / sqrt 2.
        Assert.Equal(1.5 * Math.Sqrt(3) * 50, PlaneCut.Cut(box, new(1, 1, 1), 15 / Math.Sqrt(3)).CapAreaMm2, 3);
    }

    [Fact]
    public void Planes_through_faces_and_beside_the_body_leave_it_whole()
    {
        var box = Primitives.Box(L, new(0, 0, 0), new(10, 10, 10));
        foreach (var offset in new[] { 10.0, 11.0 })
        {
            var cut = PlaneCut.Cut(box, new(0, 0, 1), offset);
            Assert.Equal(0, cut.Above.TriangleCount);
            Assert.Equal(box.CornersArray, cut.Below.CornersArray);
        }
        var low = PlaneCut.Cut(box, new(0, 0, 1), 0);
        Assert.Equal(0, low.Below.TriangleCount);
        Closed(low.Above);
        Assert.Equal(1000, low.Above.SignedVolumeMm3(), 6);
    }

    [Fact]
    public void A_ball_is_cut_to_the_cap_of_the_handbook()
    {
        var ball = Primitives.Sphere(L, new(1, 2, 3), 10, 40);
        var n = new Vec3(1, 2, 2).Unit();
        var cut = PlaneCut.Cut(ball, n, n.Dot(new(1, 2, 3)) + 4);
        Sound(ball, cut);
        Assert.Equal([0], Genera(cut.Below));
        const double h = 6;
        Assert.InRange(cut.Above.SignedVolumeMm3(), Math.PI * h * h * (30 - h) / 3 * 0.99, Math.PI * h * h * (30 - h) / 3);
        Assert.InRange(cut.CapAreaMm2, Math.PI * 84 * 0.99, Math.PI * 84);
    }

    [Fact]
    public void A_hollow_ball_is_cut_to_two_bowls()
    {
        var ball = Mesh.Concat(L, [Primitives.Sphere(L, Vec3.Zero, 10, 20), Primitives.Sphere(L, Vec3.Zero, 8, 20).Turned()]);
        var cut = PlaneCut.Cut(ball, new(0, 0, 1), 0);
        Sound(ball, cut);
        Assert.Equal([0], Genera(cut.Below));
        Assert.Equal([0], Genera(cut.Above));
        Assert.InRange(cut.CapAreaMm2, Math.PI * 36 * 0.985, Math.PI * 36);
    }

    [Fact]
    public void Random_planes_through_rings_balls_and_tubes_give_closed_halves_of_the_whole_volume() =>
        Gen.Select(Gen.Double[-1, 1], Gen.Double[-1, 1], Gen.Double[-1, 1], Gen.Double[-9, 9]).Where((x, y, z, _) => x * x + y * y + z * z > 0.01).Sample((x, y, z, d) =>
        {
            foreach (var body in Bodies)
            {
                var cut = PlaneCut.Cut(body, new(x, y, z), d);
                Balanced(cut.Below);
                Balanced(cut.Above);
                Assert.Equal(body.SignedVolumeMm3(), cut.Below.SignedVolumeMm3() + cut.Above.SignedVolumeMm3(), 0.005);
            }
        }, iter: 20, threads: 2);

    [Fact]
    public void Mirrored_arms_cut_on_their_mirror_plane_give_closed_halves()
    {
        foreach (var body in Bodies)
            foreach (var n in new Vec3[] { new(1, 0, 0), new(0, 1, 0), new(0, 0, 1), new(0, -1, 0) })
                foreach (var d in new[] { -L.UnitMm, 0, L.UnitMm })
                {
                    var cut = PlaneCut.Cut(body, n, d);
                    Balanced(cut.Below);
                    Balanced(cut.Above);
                    Assert.Equal(body.SignedVolumeMm3(), cut.Below.SignedVolumeMm3() + cut.Above.SignedVolumeMm3(), 0.005);
                }
    }

    [Fact]
    public void Sheets_that_mirror_each_other_may_meet_the_plane_in_the_same_lines()
    {
        // Wedges around one corner, each with its mirror image across x = 0, all on few lattice planes: sections run along each other and cross.
        var seen = 0;
        Gen.Select(Gen.Int[-3, 3].Array[9].Array[1, 4], Gen.Int[0, 3].Select(i => Grids[i]), Gen.Int[-1, 1], Gen.Int[-2, 2]).Sample((wedges, grid, at, slope) =>
        {
            var xyz = new List<int> { 0, 0, 0 };
            var corners = new List<int>();
            foreach (var w in wedges)
                for (var mirror = 1; mirror >= -1; mirror -= 2)
                {
                    var v = xyz.Count / 3;
                    for (var k = 0; k < 9; k += 3) xyz.AddRange([mirror * w[k] * grid, w[k + 1] * grid, w[k + 2] * grid]);
                    var turned = mirror * Math.Sign(w[0] * (w[4] * w[8] - w[5] * w[7]) - w[1] * (w[3] * w[8] - w[5] * w[6]) + w[2] * (w[3] * w[7] - w[4] * w[6])) < 0;
                    int a = v, b = turned ? v + 2 : v + 1, c = turned ? v + 1 : v + 2;
                    corners.AddRange([a, b, c, 0, b, a, 0, c, b, 0, a, c]);
                }
            var body = new Mesh(L, [.. xyz], [.. corners]);
            foreach (var n in new Vec3[] { new(1, 0, 0), new(slope, 1, 0), new(0, slope, 1) })
            {
                var cut = PlaneCut.Cut(body, n, at * grid * L.UnitMm);
                Balanced(cut.Below);
                Balanced(cut.Above);
                // New corners are rounded by half a unit an axis: on these small faces that is the whole of the error.
                Assert.Equal(body.SignedVolumeMm3(), cut.Below.SignedVolumeMm3() + cut.Above.SignedVolumeMm3(), 500.0 * grid * grid * Math.Pow(L.UnitMm, 3));
                Interlocked.Add(ref seen, cut.TrianglesCut);
            }
        }, iter: 1500, threads: 2);
        Assert.True(seen > 5_000);
    }

    private static readonly int[] Grids = [1, 2, 1000, 65536];

    private static readonly Mesh[] Bodies =
    [
        Primitives.Torus(L, Vec3.Zero, new(1, 2, 3), 8, 2),
        Mesh.Concat(L, [Primitives.Sphere(L, Vec3.Zero, 9, 10), Primitives.Sphere(L, new(1, 0, 0), 6, 10).Turned(), Primitives.Capsule(L, new(3, 0, 0), new(14, 2, 1), 2)]),
        Eight(10, 2.5)
    ];

    [Fact]
    public void A_section_that_crosses_itself_still_closes_and_winds_as_before()
    {
        var eight = Eight(20, 4);
        foreach (var (n, d) in new[] { (new Vec3(0, 0, 1), 0.5), (new Vec3(0.1, 0.05, 1), 0.1), (new Vec3(1, 0, 0), 0.3), (new Vec3(1, 1, 0.3), 1.0) })
        {
            var cut = PlaneCut.Cut(eight, n, d);
            // The two arms mirror each other, so a plane across both may meet them in the very same line: then an edge has four triangles.
            Balanced(cut.Below);
            Balanced(cut.Above);
            Assert.Equal(eight.SignedVolumeMm3(), cut.Below.SignedVolumeMm3() + cut.Above.SignedVolumeMm3(), 0.005);
            var tree = TriangleTree.Build(eight);
            foreach (var (half, side) in new[] { (cut.Below, -1), (cut.Above, 1) })
                SameWindings(half, p => Math.Abs(n.Unit().Dot(p) - d) < 1e-4 || tree.Closest(p).Distance < 1e-4 ? null : Math.Sign(n.Unit().Dot(p) - d) == side ? tree.Winding(p) : 0, eight.Bounds.Grown(1), 3000, 3);
        }
    }

    [Fact]
    public void Shells_on_one_side_pass_through_triangle_for_triangle()
    {
        Mesh low = Primitives.Sphere(L, new(0, 0, 0), 5, 6), high = Primitives.Sphere(L, new(0, 0, 20), 5, 6), both = Mesh.Concat(L, [low, high]);
        var cut = PlaneCut.Cut(both, new(0, 0, 1), 10);
        Assert.Equal(low.XyzArray, cut.Below.XyzArray);
        Assert.Equal(low.CornersArray, cut.Below.CornersArray);
        Assert.Equal(high.XyzArray, cut.Above.XyzArray);
        Assert.Equal(low.TriangleCount, cut.BelowKept);
    }

    [Fact]
    public void Caps_on_an_axis_are_exactly_flat_and_both_halves_meet_there()
    {
        var ball = Primitives.Sphere(L, new(0.01, 0.02, 0.03), 10, 20);
        var cut = PlaneCut.Cut(ball, new(0, 0, 1), 2);
        Sound(ball, cut);
        HashSet<Vec3> Rim(Mesh m) => Enumerable.Range(0, m.VertexCount).Select(m.Vertex).Where(p => p.Z == 2).ToHashSet();
        Assert.True(Rim(cut.Below).Count > 30);
        Assert.Equal(2, cut.Below.Bounds.Max.Z);
        Assert.Equal(2, cut.Above.Bounds.Min.Z);
        Assert.True(Rim(cut.Below).SetEquals(Rim(cut.Above)));
    }

    [Fact]
    public void An_open_shell_is_refused_with_the_place()
    {
        var box = Primitives.Box(L, new(0, 0, 0), new(10, 10, 10));
        var open = box.Part(Enumerable.Range(0, 11).ToArray());
        var e = Assert.Throws<CuttingException>(() => PlaneCut.Cut(open, new(0, 0, 1), 5));
        Assert.Equal(5, e.At.Z, 3);
    }
}
