using Stiltwright.Geometry.Rendering;
using Xunit.Abstractions;

namespace Stiltwright.Geometry.Tests;

public class RenderingTests(ITestOutputHelper output)
{
    private static readonly Lattice Grid = new(8);

    /// <summary>Loose triangles with corners on 1/256 mm within 20 mm of the middle; the same for the same seed.</summary>
    private static Mesh Soup(int triangles, int seed, double size)
    {
        var random = new Random(seed);
        var xyz = new int[9 * triangles];
        for (var t = 0; t < triangles; t++)
        {
            int cx = random.Next(-5120, 5120), cy = random.Next(-5120, 5120), cz = random.Next(-5120, 5120), r = (int)(size * 256);
            for (var k = 0; k < 3; k++)
            {
                xyz[9 * t + 3 * k] = cx + random.Next(-r, r);
                xyz[9 * t + 3 * k + 1] = cy + random.Next(-r, r);
                xyz[9 * t + 3 * k + 2] = cz + random.Next(-r, r);
            }
        }
        return new Mesh(Grid, xyz, [.. Enumerable.Range(0, 3 * triangles)]);
    }

    // Distance along a ray by Moeller and Trumbore 1997, "Fast, minimum storage ray/triangle intersection"; the second
    // value tells how far from an edge the hit is, in barycentric terms.
    private static (double Distance, double FromEdge)? Hit(Vec3 origin, Vec3 direction, Vec3 a, Vec3 b, Vec3 c)
    {
        Vec3 e1 = b - a, e2 = c - a, p = direction.Cross(e2);
        var det = e1.Dot(p);
        if (Math.Abs(det) < 1e-12) return null;
        var s = origin - a;
        var u = s.Dot(p) / det;
        var q = s.Cross(e1);
        var v = direction.Dot(q) / det;
        var edge = Math.Min(u, Math.Min(v, 1 - u - v));
        return edge < 0 ? null : (e2.Dot(q) / det, edge);
    }

    [Theory]
    [InlineData(View.Front, 11)]
    [InlineData(View.Below, 12)]
    [InlineData(View.Left, 13)]
    public void The_surface_at_every_sample_is_the_one_that_a_ray_hits_first(View view, int seed)
    {
        var mesh = Soup(220, seed, 6);
        const int w = 60, h = 50;
        // Two samples a millimetre: corners on 1/256 mm land on the fixed-point grid without rounding.
        var (right, up, toward) = Camera.Frame(view);
        var camera = new Camera(right, up, toward, Vec3.Zero, 1);
        var samples = Rasteriser.Render([new RenderPart(mesh, Tone.Clay)], camera, w, h).Samples!;
        int compared = 0, covered = 0;
        for (var y = 0; y < samples.Height; y++)
            for (var x = 0; x < samples.Width; x++)
            {
                var origin = right * ((x + 0.5) / 2 - w / 2.0) + up * (h / 2.0 - (y + 0.5) / 2) + toward * 100;
                var nearest = (Distance: double.PositiveInfinity, Triangle: -1);
                var doubtful = false;
                for (var t = 0; t < mesh.TriangleCount; t++)
                {
                    var (a, b, c) = mesh.Triangle(t);
                    if (Hit(origin, -toward, a, b, c) is not { } hit) continue;
                    doubtful |= hit.FromEdge < 1e-9;
                    if (hit.Distance < nearest.Distance) nearest = (hit.Distance, t);
                }
                if (doubtful) continue;
                compared++;
                var id = samples.Id[y * samples.Width + x];
                if (id >= 0 && nearest.Triangle >= 0)
                {
                    covered++;
                    Assert.Equal(100 - nearest.Distance, samples.Depth[y * samples.Width + x], tolerance: 1e-4);
                }
                if (id != nearest.Triangle)
                    Assert.True(id >= 0 && nearest.Triangle >= 0, $"sample {x}, {y}: {id} drawn, the ray hits {nearest.Triangle}");
            }
        output.WriteLine($"{compared} samples compared, {covered} of them covered");
        Assert.True(compared > 0.99 * samples.Width * samples.Height && covered > 1000);
    }

    [Fact]
    public void Any_number_of_threads_draws_the_same_bytes()
    {
        var parts = new[]
        {
            new RenderPart(Soup(20_000, 5, 1.5), Tone.Clay),
            new RenderPart(SpatialShapes.Sphere(Vec3.Zero, 14, 4), Tone.Water) { Opacity = 0.4 },
            new RenderPart(SpatialShapes.Torus(16, 3, 60, 24), Tone.Ink) { CutGroup = 1 },
        };
        var camera = Camera.Fit(parts.Select(p => p.Mesh), View.ThreeQuarter, 320, 240, 8) with { CutDepth = 3 };
        var one = Rasteriser.Render(parts, camera, 320, 240, mostThreads: 1);
        foreach (var threads in new[] { 2, 5, -1 })
        {
            var many = Rasteriser.Render(parts, camera, 320, 240, mostThreads: threads);
            Assert.True(one.Rgb.AsSpan().SequenceEqual(many.Rgb));
            Assert.True(one.Samples!.Id.SequenceEqual(many.Samples!.Id));
        }
    }

    [Fact]
    public void A_ball_covers_the_disc_and_a_box_its_faces_shadow()
    {
        // Area of a disc: pi r2. Projected area of a box: the sum over its three faces of area times cosine.
        var ball = SpatialShapes.Sphere(new Vec3(3, -2, 5), 20, 5);
        Assert.Equal(Math.PI * 400, CoveredMm2(ball, View.ThreeQuarter), tolerance: 0.004 * Math.PI * 400);
        var box = SpatialShapes.Box(new Vec3(-10, -5, 0), new Vec3(10, 5, 30));
        var t = Camera.Frame(View.ThreeQuarter).Toward;
        var shadow = Math.Abs(t.X) * 10 * 30 + Math.Abs(t.Y) * 20 * 30 + Math.Abs(t.Z) * 20 * 10;
        Assert.Equal(shadow, CoveredMm2(box, View.ThreeQuarter), tolerance: 0.004 * shadow);
    }

    private static double CoveredMm2(Mesh mesh, View view)
    {
        var camera = Camera.Fit([mesh], view, 400, 400, 10);
        var s = Rasteriser.Render([new RenderPart(mesh, Tone.Clay)], camera, 400, 400).Samples!;
        return s.Id.ToArray().Count(i => i >= 0) / Math.Pow(2 * camera.PixelsPerMm, 2);
    }

    [Fact]
    public void A_cut_through_a_hollow_ball_fills_the_ring_of_its_wall()
    {
        // Ring between circles: pi (R2 - r2). At a height h above the middle the radii are those of the spheres' circles there.
        var ball = Mesh.Concat(SpatialShapes.Fine, [SpatialShapes.Sphere(Vec3.Zero, 20, 5), SpatialShapes.Sphere(Vec3.Zero, 17, 5).Turned()]);
        foreach (var h in new[] { 0.0, 9.5 })
        {
            var ring = Math.PI * (20 * 20 - 17 * 17);
            Assert.Equal(ring, CutMm2([ball], h), tolerance: 0.02 * ring);
        }
        Assert.Equal(Math.PI * (400 - 18.5 * 18.5), CutMm2([ball], 18.5), tolerance: 0.02 * Math.PI * (400 - 18.5 * 18.5));
    }

    [Fact]
    public void Where_solids_overlap_the_cut_counts_them_once()
    {
        // Union of two discs of radius r at distance d: 2 pi r2 - lens, lens = 2 r2 acos(d / 2r) - d / 2 sqrt(4 r2 - d2).
        const double r = 12, d = 10;
        var lens = 2 * r * r * Math.Acos(d / (2 * r)) - d / 2 * Math.Sqrt(4 * r * r - d * d);
        var union = 2 * Math.PI * r * r - lens;
        var a = SpatialShapes.Sphere(new Vec3(-d / 2, 0, 0), r, 5);
        var b = SpatialShapes.Sphere(new Vec3(d / 2, 0, 0), r, 5);
        Assert.Equal(union, CutMm2([a, b], 0.01), tolerance: 0.01 * union);
    }

    private static double CutMm2(Mesh[] meshes, double depth)
    {
        var camera = Camera.Fit(meshes, View.Front, 500, 500, 10) with { CutDepth = depth };
        var s = Rasteriser.Render([.. meshes.Select(m => new RenderPart(m, Tone.Clay))], camera, 500, 500).Samples!;
        return s.Id.Count(-2) / Math.Pow(2 * camera.PixelsPerMm, 2);
    }

    [Fact]
    public void See_through_parts_let_what_lies_behind_shine_through()
    {
        var inner = new RenderPart(SpatialShapes.Sphere(Vec3.Zero, 8, 4), Tone.Ink);
        var camera = Camera.Fit([SpatialShapes.Sphere(Vec3.Zero, 20, 3)], View.Front, 200, 200, 10);
        var middle = 3 * (100 * 200 + 100);
        byte Red(double opacity) => Rasteriser.Render([inner, new RenderPart(SpatialShapes.Sphere(Vec3.Zero, 20, 4), Tone.Clay) { Opacity = opacity }], camera, 200, 200).Rgb[middle];
        byte alone = Rasteriser.Render([inner], camera, 200, 200).Rgb[middle], glazed = Red(0.4), hidden = Red(1);
        Assert.True(alone < glazed && glazed < hidden, $"ink {alone}, through clay {glazed}, clay {hidden}");
    }

    [Fact]
    public void An_empty_scene_is_paper_and_an_absurd_camera_is_refused()
    {
        var nothing = Rasteriser.Render([], new Camera(new Vec3(1, 0, 0), Vec3.Up, new Vec3(0, -1, 0), Vec3.Zero, 1), 8, 8);
        Assert.All(Enumerable.Range(0, 64), i => Assert.Equal(Tone.Paper, new Rgb(nothing.Rgb[3 * i], nothing.Rgb[3 * i + 1], nothing.Rgb[3 * i + 2])));
        Assert.Throws<ArgumentException>(() => Camera.Fit([Mesh.Empty(Grid)], View.Front, 100, 100, 5));
        var near = new Camera(new Vec3(1, 0, 0), Vec3.Up, new Vec3(0, -1, 0), Vec3.Zero, 1e9);
        var thrown = Record.Exception(() => Rasteriser.Render([new RenderPart(SpatialShapes.Sphere(Vec3.Zero, 5, 1), Tone.Clay)], near, 64, 64));
        Assert.Contains("camera", (thrown is AggregateException g ? g.InnerExceptions[0] : thrown)!.Message);
    }
}
