using Stiltwright.Geometry.Layers;
using static Stiltwright.Geometry.Tests.LayersScenes;

namespace Stiltwright.Geometry.Tests;

/// <summary>Cups, vents, sealed voids, islands and joins on shapes whose answers are closed formulas.</summary>
public class LayersCupTests
{
    private const double Pitch = 0.1, Layer = 0.1;

    private static LayerStack Stack(params Mesh[] meshes) => LayerStack.Build(
        Columns.Build([.. meshes.Select(m => new ColumnPart(m, 0))], ColumnGrid.Covering(BoundsOf(meshes), Pitch), default), Layer, default);

    /// <summary>A horizontal bore of a diameter from the axis outwards through the wall at x = 9..10, as a shell that takes away.</summary>
    private static Mesh Bore(double z, double diameter) =>
        Cylinder(0, 0, 5, 13, diameter / 2).Placed(Affine.Turn(new Vec3(0, 1, 0), Math.PI / 2).Then(Affine.Translation(new Vec3(0, 0, z))), Fine).Turned();

    /// <summary>A pot: outer radius 10, inner radius 8, 20 tall, a floor of 2 below.</summary>
    private static Mesh Pot() => Turned(0, 0, 180, (0, 0), (10, 0), (10, 20), (8, 20), (8, 2), (0, 2));

    /// <summary>The pot upside down on the platform: a hollow open only towards the platform.</summary>
    private static Mesh Bell() => Turned(0, 0, 180, (8, 0), (10, 0), (10, 20), (0, 20), (0, 18), (8, 18));

    [Fact]
    public void A_pot_with_its_mouth_to_the_film_is_a_cup_from_its_floor_to_its_rim()
    {
        var s = Stack(Pot());
        Assert.Equal(180, s.Cups.Length);
        foreach (var c in s.Cups)
        {
            Assert.False(c.Vented);
            Assert.Equal(Math.PI * 64, c.AreaMm2, 0.5);
            Assert.Equal(2 * Math.PI * 8, c.PerimeterMm, 0.5);
            Assert.Equal(0, c.X, 0.05);
            Assert.Equal(Math.PI * 64 * (c.Layer - 19) * Layer, c.VolumeMm3, 10.0);
        }
        Assert.Equal(20, s.Cups[0].Layer);
        Assert.Single(s.Voids);
        // In the end the mouth is open: nothing stays sealed.
        Assert.Empty(s.SealedVoids);
    }

    [Fact]
    public void A_bell_on_the_platform_is_a_cup_until_its_roof_closes_it()
    {
        var s = Stack(Bell());
        Assert.Equal(180, s.Cups.Length);
        Assert.All(s.Cups.ToArray(), c => Assert.False(c.Vented));
        Assert.Equal(179, s.Cups[^1].Layer);
        Assert.True(s.Voids[0].OnPlatform);
        Assert.Equal(int.MaxValue, s.Voids[0].OpenLayer);
        // Taken off the platform it is open below.
        Assert.Empty(s.SealedVoids);
    }

    [Fact]
    public void A_three_millimetre_hole_near_the_raft_vents_all_later_layers_of_the_bell()
    {
        var s = Stack(Bell(), Bore(2.5, 3));
        // The hole begins 1 mm up: ten layers pull, then the way is open. Above it the slice is a closed ring again.
        Assert.Equal([(0, 10), (40, 40)], s.Voids.Select(v => (v.FirstLayer, v.OpenLayer)));
        var cups = s.Cups.ToArray();
        Assert.Equal(10, cups.Count(c => !c.Vented));
        Assert.All(cups, c => Assert.Equal(c.Layer > 10, c.Vented));
        Assert.Contains(cups, c => c.Layer == 179);
    }

    [Fact]
    public void A_hole_near_the_last_layers_does_nothing_until_it_is_built()
    {
        var s = Stack(Pot(), Bore(17.5, 3));
        Assert.Equal(160, s.Voids[0].OpenLayer);
        Assert.Equal(140, s.Cups.ToArray().Count(c => !c.Vented));
    }

    [Fact]
    public void A_ball_with_a_sealed_core_keeps_the_core_s_volume_and_a_bore_opens_it()
    {
        var ball = Sphere(new Vec3(0, 0, 10), 9);
        var core = Sphere(new Vec3(0, 0, 10), 6);
        var s = Stack(ball, core.Turned());
        var v = Assert.Single(s.SealedVoids);
        Assert.Equal(4.0 / 3 * Math.PI * 216, v.VolumeMm3, 3.0);
        Assert.True(v.At.DistanceTo(new Vec3(0, 0, 10)) < 6);
        Assert.Equal((40, 159), (v.FirstLayer, v.LastLayer));
        Assert.Equal(120, s.Cups.ToArray().Count(c => !c.Vented));

        var bored = Stack(ball, core.Turned(), Bore(10, 2));
        Assert.Empty(bored.SealedVoids);
        Assert.All(bored.Cups.ToArray(), c => Assert.Equal(c.Layer >= 90, c.Vented));
    }

    [Fact]
    public void Two_legs_join_under_the_lintel_of_an_arch()
    {
        // The right leg is one millimetre shorter and starts in mid-air.
        var s = Stack(Box(0, 0, 0, 2, 4, 10), Box(8, 0, 1, 10, 4, 10), Box(0, 0, 10, 10, 4, 12));
        Assert.Equal(2, s.Bodies.Count);
        Assert.Equal(new SolidBody(1, 10, 99, 100, 0, s.Bodies[1].VolumeMm3), s.Bodies[1]);
        Assert.Equal(72, s.Bodies[1].VolumeMm3, 6);
        Assert.Equal(int.MaxValue, s.Bodies[0].MergeLayer);
        Assert.Equal(232, s.Bodies[0].VolumeMm3, 6);
        var i = Assert.Single(s.Islands);
        Assert.Equal((10, 8.0, 1), (i.Layer, Math.Round(i.AreaMm2, 9), i.Body));
        Assert.Equal(1, s.BodyAt(i.At));
        Assert.Equal(1, s.BodyAt(new Vec3(9, 2, 9)));
        Assert.Equal(0, s.BodyAt(new Vec3(9, 2, 11)));
        Assert.Equal(-1, s.BodyAt(new Vec3(5, 2, 5)));
        Assert.Equal((1, 0), (s.BodyRootAt(1, 99), s.BodyRootAt(1, 100)));

        Assert.Equal(48, s.BodySolid(1, 69).VolumeMm3, 6);
        Assert.True(s.BodySolid(1, 69).Centroid.DistanceTo(new Vec3(9, 2, 4)) < 1e-6);
        // Both legs and 1 mm of lintel: (80 z5 + 72 z5.5 + 40 z10.5) / 192.
        var joined = s.BodySolid(1, 109);
        Assert.Equal(192, joined.VolumeMm3, 6);
        Assert.True(joined.Centroid.DistanceTo(new Vec3((80 * 1 + 72 * 9 + 40 * 5) / 192.0, 2, (80 * 5 + 72 * 5.5 + 40 * 10.5) / 192)) < 1e-6);
        Assert.Equal(0, s.BodySolid(1, 9).VolumeMm3);
        Assert.Equal(joined, s.BodySolid(0, 109));

        Assert.Equal([100], s.AreaPeaks(1.5, 10));
        // The lintel rests on its legs only.
        Assert.Equal(16, s.RegionsOf(100)[0].RestingMm2, 6);
    }

    [Fact]
    public void What_lies_below_the_platform_is_not_printed_and_an_empty_stack_is_empty()
    {
        var s = Stack(Box(0, 0, -3, 2, 2, 1));
        Assert.Equal(10, s.Count);
        Assert.Empty(s.Islands);
        Assert.Equal(0, Stack(Box(0, 0, -3, 2, 2, -1)).Count);
        Assert.Throws<ArgumentException>(() => LayerStack.Build(
            Columns.Build([], new ColumnGrid(0, 0, 1, 3, 3), default), 0, default));
    }
}
