using CsCheck;
using Stiltwright.Geometry.Simplifying;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Tests;

/// <summary>
/// Simplified surfaces against what is asked: closed, no crossings made, and nowhere farther from the input than stated, measured from
/// outside by exact distances of dense samples both ways. Volumes of plane-faced bodies are exact by elementary geometry.
/// </summary>
public class SimplifyingTests
{
    private static Mesh Simplified(Mesh mesh, double deviation, int least = 0)
    {
        var result = SurfaceSimplifier.Simplify(mesh, new SimplifyRequest { DeviationMm = deviation, LeastTriangles = least });
        Assert.Null(result.Refusal);
        Assert.True(SpatialShapes.ClosedAndTwoManifold(result.Surface));
        Assert.True(result.DeviationMm <= deviation);
        double there = Farthest(result.Surface, mesh), back = Farthest(mesh, result.Surface);
        Assert.True(Math.Max(there, back) <= deviation, $"{there} and {back} mm measured, {deviation} mm asked");
        Assert.True(Math.Max(there, back) <= result.DeviationMm + 1e-9, $"{there} and {back} mm measured, {result.DeviationMm} mm said to be proven");
        return result.Surface;
    }

    // Exact distances of a dense pattern of points on every triangle of one surface from the other.
    private static double Farthest(Mesh from, Mesh to)
    {
        var points = new List<Vec3>();
        for (var t = 0; t < from.TriangleCount; t++)
        {
            var (a, b, c) = from.Triangle(t);
            var n = Math.Max(a.DistanceTo(b), Math.Max(b.DistanceTo(c), c.DistanceTo(a))) < 1.8 ? 6 : 12; // so that the middles of edges and triangles are among them
            for (var i = 0; i <= n; i++)
                for (var j = 0; i + j <= n; j++) points.Add(a + (b - a) * ((double)i / n) + (c - a) * ((double)j / n));
        }
        return TriangleTree.Build(to).Closest([.. points]).Max(n => n.Distance);
    }

    [Fact]
    public void A_finely_divided_box_comes_back_to_its_faces_and_keeps_its_volume()
    {
        var box = Divided(SpatialShapes.Box(new(0, 0, 0), new(20, 30, 10)), 5);
        Assert.Equal(12 * 1024, box.TriangleCount);
        var simple = Simplified(box, 0.001);
        Assert.InRange(simple.TriangleCount, 12, 120);
        Assert.Equal(6000, simple.SignedVolumeMm3(), 2200 * 0.001);
        Assert.Empty(SelfCrossings.Find(simple));
    }

    [Theory]
    [InlineData(0.01)]
    [InlineData(0.1)]
    [InlineData(1)]
    public void A_sphere_keeps_within_the_deviation_and_loses_triangles_as_the_chord_formula_says(double deviation)
    {
        var sphere = SpatialShapes.Sphere(new(3, -2, 8), 20, 6);
        var simple = Simplified(sphere, deviation);
        // A triangle of side s lies s^2 / (6 R) below a sphere at its middle: sides up to sqrt(12 R d) stay within d on both sides (elementary
        // geometry), so about 4 pi R^2 / (sqrt 3 / 4 s^2) are needed; ten times that is allowed, as bounds add up along the way.
        var needed = 4 * Math.PI * 400 / (Math.Sqrt(3) / 4 * 12 * 20 * deviation);
        Assert.InRange(simple.TriangleCount, 4, 10 * needed + 40);
        Assert.Equal(sphere.SignedVolumeMm3(), simple.SignedVolumeMm3(), 4 * Math.PI * 400 * deviation);
        Assert.Empty(SelfCrossings.Find(simple));
    }

    [Fact]
    public void Bodies_with_random_bumps_keep_within_the_deviation_and_cross_nowhere()
    {
        Gen.Select(Gen.Double[-0.35, 0.35].Array[12], Gen.Double[0.005, 0.4]).Sample((waves, deviation) =>
        {
            var body = SpatialShapes.Divided(4, u => u * (10 * (1 + waves[0] * Math.Sin(4 * u.X + 9 * waves[1]) + waves[2] * Math.Sin(7 * u.Y + waves[3]) + waves[4] * Math.Sin(11 * u.Z * waves[5]) * u.X)));
            Assert.Empty(SelfCrossings.Find(body));
            var simple = Simplified(body, deviation);
            Assert.True(simple.TriangleCount < body.TriangleCount || deviation < 0.05, $"nothing saved within {deviation} mm");
            Assert.Empty(SelfCrossings.Find(simple));
        }, iter: 25, threads: 1);
    }

    [Fact]
    public void Skins_closer_together_than_the_deviation_do_not_cross()
    {
        // A thin shell: two spheres 0.05 mm apart, the inner one turned; each may move by 0.2 mm.
        var shell = SpatialShapes.Join(SpatialShapes.Sphere(new(0, 0, 0), 10.05, 5), SpatialShapes.Sphere(new(0, 0, 0), 10, 5).Turned());
        Assert.Empty(SelfCrossings.Find(shell));
        var simple = Simplified(shell, 0.2);
        Assert.Empty(SelfCrossings.Find(simple));
    }

    [Fact]
    public void It_stops_at_the_number_of_triangles_asked()
    {
        var sphere = SpatialShapes.Sphere(new(0, 0, 0), 20, 6);
        Assert.InRange(Simplified(sphere, 1, 8192).TriangleCount, 8000, 8192);
    }

    [Fact]
    public void Overlapping_shells_may_go_on_overlapping_and_touching_bodies_go_on_touching()
    {
        var two = SpatialShapes.Join(SpatialShapes.Sphere(new(0, 0, 0), 10, 5), SpatialShapes.Sphere(new(12, 1, 2), 8, 5));
        var simple = Simplified(two, 0.05);
        Assert.True(simple.TriangleCount < two.TriangleCount / 2);
        Assert.NotEmpty(SelfCrossings.Find(simple));
        // Two boxes that share one corner by vertex number.
        Mesh low = Divided(SpatialShapes.Box(new(0, 0, 0), new(5, 5, 5)), 3), high = Divided(SpatialShapes.Box(new(5, 5, 5), new(10, 10, 10)), 3);
        var joined = Welded(SpatialShapes.Join(low, high));
        Assert.Equal(low.VertexCount + high.VertexCount - 1, joined.VertexCount);
        var corner = SurfaceSimplifier.Simplify(joined, new SimplifyRequest { DeviationMm = 0.01 });
        Assert.Null(corner.Refusal);
        Assert.InRange(corner.Surface.TriangleCount, 24, 100);
        Assert.Equal(250, corner.Surface.SignedVolumeMm3(), 300 * 0.01);
    }

    [Fact]
    public void One_thread_and_two_give_the_same_bytes()
    {
        var body = SpatialShapes.Divided(6, u => u * (20 + 3 * Math.Sin(5 * u.X) + 2 * Math.Sin(9 * u.Y + 4 * u.Z)));
        Mesh Run(int threads) => SurfaceSimplifier.Simplify(body, new SimplifyRequest { DeviationMm = 0.05, MaxThreads = threads }).Surface;
        Mesh one = Run(1), two = Run(2), five = Run(5);
        Assert.Equal(one.XyzArray, two.XyzArray);
        Assert.Equal(one.CornersArray, two.CornersArray);
        Assert.Equal(one.XyzArray, five.XyzArray);
        Assert.Equal(one.CornersArray, five.CornersArray);
    }

    [Fact]
    public void An_open_surface_is_refused_with_the_place()
    {
        var sphere = SpatialShapes.Sphere(new(0, 0, 0), 20, 3);
        var open = sphere.Part(Enumerable.Range(1, sphere.TriangleCount - 1).ToArray());
        var result = SurfaceSimplifier.Simplify(open, new SimplifyRequest { DeviationMm = 0.1 });
        Assert.Contains("open at (", result.Refusal);
        Assert.Same(open, result.Surface);
        Assert.Throws<ArgumentException>(() => SurfaceSimplifier.Simplify(sphere, new SimplifyRequest { DeviationMm = 0 }));
    }

    private static Mesh Divided(Mesh mesh, int levels)
    {
        for (var l = 0; l < levels; l++)
        {
            var points = new List<Vec3>();
            var corners = new List<int>();
            for (var t = 0; t < mesh.TriangleCount; t++)
            {
                var (a, b, c) = mesh.Triangle(t);
                Vec3 ab = (a + b) * 0.5, bc = (b + c) * 0.5, ca = (c + a) * 0.5;
                foreach (var p in new[] { a, ab, ca, ab, b, bc, ca, bc, c, ab, bc, ca })
                {
                    corners.Add(points.Count);
                    points.Add(p);
                }
            }
            mesh = Welded(SpatialShapes.FromPoints(points, corners));
        }
        return mesh;
    }

    private static Mesh Welded(Mesh mesh)
    {
        var numbers = new Dictionary<(int, int, int), int>();
        var xyz = new List<int>();
        var corners = new int[mesh.CornersArray.Length];
        for (var i = 0; i < corners.Length; i++)
        {
            var p = mesh.Xyz.Slice(3 * mesh.Corners[i], 3);
            if (!numbers.TryGetValue((p[0], p[1], p[2]), out corners[i]))
            {
                numbers[(p[0], p[1], p[2])] = corners[i] = xyz.Count / 3;
                xyz.AddRange(p);
            }
        }
        return new Mesh(mesh.Lattice, xyz.ToArray(), corners);
    }
}
