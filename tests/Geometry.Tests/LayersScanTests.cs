using Stiltwright.Geometry.Layers;
using static Stiltwright.Geometry.Tests.CuttingBodies;

namespace Stiltwright.Geometry.Tests;

/// <summary>The fast scan beside volumes from the handbook and beside the layers made from columns.</summary>
public class LayersScanTests
{
    private static readonly Mesh Scene = Mesh.Concat(L,
    [
        Primitives.Sphere(L, new(0, 0, 12), 8, 24), Primitives.Sphere(L, new(5, 1, 14), 7, 24), Primitives.Sphere(L, new(0, 0, 12), 5, 20).Turned(),
        Primitives.Capsule(L, new(11, 3, 2), new(16, 4, 22), 1.3), Primitives.Torus(L, new(-4, 15, 9), new(1, 2, 3), 5, 1.5), Primitives.Box(L, new(-9.013, -9.017, 0), new(18.003, 20.011, 1.507)),
    ]);

    [Fact]
    public void A_ball_and_a_ring_have_the_volumes_of_the_handbook()
    {
        Assert.Equal(1, LayerScan.Of(Primitives.Sphere(L, new(1, 2, 3), 9, 80), 0.05, 0.05).VolumeMm3 / (4 * Math.PI / 3 * 729), 0.002);
        // 2 pi^2 R r^2 (Pappus).
        Assert.Equal(1, LayerScan.Of(Primitives.Torus(L, Vec3.Zero, new(0.3, 1, 2), 9, 2), 0.05, 0.05).VolumeMm3 / (2 * Math.PI * Math.PI * 9 * 4), 0.02);
    }

    [Fact]
    public void Boxes_on_the_pixels_are_counted_exactly_and_overlaps_once()
    {
        var scan = LayerScan.Of(Mesh.Concat(L, [Primitives.Box(L, Vec3.Zero, new(4, 3, 2)), Primitives.Box(L, new(2, 1, 1), new(6, 2, 5)), Primitives.Box(L, new(5, 0, 3), new(6, 1, 4))]), 0.25, 0.25);
        Assert.Equal((24, 12, 20), (scan.Nx, scan.Ny, scan.Count));
        Assert.Equal(24 + 16 - 2 + 1, scan.VolumeMm3, 9);
        Assert.Equal(12, scan.AreaMm2(0), 9);
        Assert.Equal(12 + 2, scan.AreaMm2(5), 9);
        Assert.Empty(scan.Islands); // the last box touches the one beside it from its first layer
        Assert.All(scan.Regions, n => Assert.Equal(1, n));
    }

    [Fact]
    public void Layers_from_columns_have_the_same_areas_regions_and_islands()
    {
        const double pixel = 0.125, layer = 0.1;
        var scan = LayerScan.Of(Scene, layer, pixel);
        var b = Scene.Bounds;
        var grid = new ColumnGrid(b.Min.X, b.Min.Y, pixel, scan.Nx, scan.Ny);
        var stack = LayerStack.Build(Columns.Build([new ColumnPart(Scene, 0)], grid, CancellationToken.None), layer, CancellationToken.None);
        Assert.Equal(stack.Count, scan.Count);
        for (var k = 0; k < scan.Count; k++)
        {
            // Columns round heights and the scan rounds places: a pixel whose centre lies on the rim may fall either way.
            Assert.Equal(stack.AreaMm2[k] / (pixel * pixel), scan.Pixels[k], 3.0);
            Assert.Equal(stack.RegionsOf(k).Length, scan.Regions[k]);
        }
        Assert.Equal(stack.Islands.Select(i => i.Layer), scan.Islands.Select(i => i.Layer));
        Assert.NotEmpty(scan.Islands);
    }

    [Fact]
    public void The_order_of_the_triangles_does_not_matter()
    {
        var backwards = Scene.Part([.. Enumerable.Range(0, Scene.TriangleCount).Reverse()]);
        LayerScan a = LayerScan.Of(Scene, 0.1, 0.1), b = LayerScan.Of(backwards, 0.1, 0.1);
        Assert.Equal(a.Pixels, b.Pixels);
        Assert.Equal(a.Regions, b.Regions);
        Assert.Equal(a.Islands, b.Islands);
    }
}
