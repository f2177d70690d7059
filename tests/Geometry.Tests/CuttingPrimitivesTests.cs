namespace Stiltwright.Geometry.Tests;

/// <summary>Volumes against the formulas of any handbook of mensuration (polygon-exact where the body is a polygon's).</summary>
public class CuttingPrimitivesTests
{
    private static readonly Lattice L = new(16);

    internal static void Closed(Mesh m)
    {
        var edges = new Dictionary<(int, int), int>();
        for (var t = 0; t < m.TriangleCount; t++)
            for (var k = 0; k < 3; k++)
            {
                int a = m.Corners[3 * t + k], b = m.Corners[3 * t + (k + 1) % 3];
                Assert.NotEqual(a, b);
                edges[(a, b)] = edges.GetValueOrDefault((a, b)) + 1;
            }
        foreach (var ((a, b), n) in edges)
        {
            Assert.Equal(1, n);
            Assert.True(edges.ContainsKey((b, a)), $"edge {m.Vertex(a)} {m.Vertex(b)} is open");
        }
    }

    [Fact]
    public void A_box_has_the_volume_of_its_edges()
    {
        var m = Primitives.Box(L, new(-1, -2, -3), new(4, 5, 6));
        Closed(m);
        Assert.Equal(5.0 * 7 * 9, m.SignedVolumeMm3(), 9);
    }

    [Theory]
    [InlineData(3), InlineData(8), InlineData(24), InlineData(33)]
    public void A_prism_has_polygon_area_times_height(int n)
    {
        var m = Primitives.Prism(L, new(1, 2, 3), new(9, -4, 5), 2.5, n);
        Closed(m);
        var height = new Vec3(8, -6, 2).Length;
        Assert.Equal(n / 2.0 * 2.5 * 2.5 * Math.Sin(2 * Math.PI / n) * height, m.SignedVolumeMm3(), 2);
    }

    [Fact]
    public void A_cone_has_a_third_of_its_prism_and_a_frustum_the_prismoid_volume()
    {
        double area = 16 * Math.Sin(2 * Math.PI / 32);
        var cone = Primitives.Cone(L, new(0, 0, 0), new(3, 0, 9), 2, 32);
        Closed(cone);
        Assert.Equal(area * 4 * Math.Sqrt(90) / 3, cone.SignedVolumeMm3(), 2);
        var frustum = Primitives.Frustum(L, new(0, 0, 0), new(0, 0, 9), 2, 1, 32);
        Closed(frustum);
        Assert.Equal(area * 9 / 3 * (4 + 2 + 1), frustum.SignedVolumeMm3(), 2);
    }

    [Fact]
    public void Round_bodies_reach_the_handbook_volumes_from_below()
    {
        var ball = Primitives.Sphere(L, new(1, 1, 1), 10, 24);
        Closed(ball);
        Assert.Equal(20 * 24 * 24, ball.TriangleCount);
        Between(ball, 4.0 / 3 * Math.PI * 1000, 0.004);
        var capsule = Primitives.Capsule(L, new(0, 0, 0), new(4, 4, 4), 3, 64);
        Closed(capsule);
        Between(capsule, 4.0 / 3 * Math.PI * 27 + Math.PI * 9 * Math.Sqrt(48), 0.006);
        var ring = Primitives.Torus(L, new(0, 0, 0), new(1, 2, 2), 10, 3, 96, 48);
        Closed(ring);
        Between(ring, 2 * Math.PI * Math.PI * 10 * 9, 0.006);
        var equal = Primitives.Cylinder(L, new(0, 0, 0), new(0, 0, 7), Primitives.EqualAreaRadius(2, 24), 24);
        Assert.Equal(Math.PI * 4 * 7, equal.SignedVolumeMm3(), 2);
    }

    private static void Between(Mesh m, double round, double share) => Assert.InRange(m.SignedVolumeMm3(), round * (1 - share), round);

    [Fact]
    public void A_body_too_small_for_the_lattice_is_refused() =>
        Assert.Throws<ArgumentException>(() => Primitives.Sphere(L, Vec3.Zero, 1e-5, 8));
}
