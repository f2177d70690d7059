using Stiltwright.Geometry.Layers;
using static Stiltwright.Geometry.Tests.LayersScenes;

namespace Stiltwright.Geometry.Tests;

public class LayersStackTests
{
    private static LayerStack Stack(double pitch, double layer, params Mesh[] meshes) => LayerStack.Build(
        Columns.Build([.. meshes.Select(m => new ColumnPart(m, 0))], ColumnGrid.Covering(BoundsOf(meshes), pitch), default), layer, default);

    [Fact]
    public void Layers_of_a_box_are_its_section()
    {
        var s = Stack(0.125, 0.05, Box(1, 2, 0, 5, 8, 10));
        Assert.Equal(200, s.Count);
        foreach (var a in s.AreaMm2) Assert.Equal(24, a, 9);
        var r = s.RegionsOf(77)[0];
        Assert.Equal((77, 0), (r.Layer, r.Body));
        Assert.Equal((3, 5, 1, 5, 2, 8), (r.X, r.Y, r.MinX, r.MaxX, r.MinY, r.MaxY));
        Assert.Equal(24, r.RestingMm2, 9);
        // Edges along the axes are where the four-direction count is lowest: -5.2 %.
        Assert.Equal(20 * 0.948, r.PerimeterMm, 0.2);
        Assert.Single(s.Bodies);
        Assert.Empty(s.Islands);
        Assert.Equal(240, s.Bodies[0].VolumeMm3, 6);
    }

    [Fact]
    public void The_rim_of_a_round_section_is_its_circumference()
    {
        var s = Stack(0.05, 0.1, Cylinder(0.017, 0.011, 0, 1, 8, 400));
        Assert.Equal(2 * Math.PI * 8, s.RegionsOf(3)[0].PerimeterMm, 0.25);
    }
}
