using Stiltwright.Geometry.Layers;
using static Stiltwright.Geometry.Tests.LayersScenes;

namespace Stiltwright.Geometry.Tests;

/// <summary>What stays in hollow shapes that are turned to a direction, against the formulas of spherical caps.</summary>
public class LayersDrainTests
{
    private const double Inner = 12, HoleRadius = 2;

    private static readonly Vec3 Centre = new(0, 0, 15);

    /// <summary>A ball of wall 2 mm with a bore of 4 mm from its centre outwards in a direction.</summary>
    private static Columns Ball(params Vec3[] holes)
    {
        var parts = new List<ColumnPart> { new(Sphere(Centre, Inner + 2), 0), new(Sphere(Centre, Inner).Turned(), 1) };
        foreach (var d in holes)
        {
            // From the z axis to the direction.
            var axis = Vec3.Up.Cross(d);
            var turn = axis.Length > 0 ? Affine.Turn(axis, Math.Acos(d.Unit().Z)) : Affine.Turn(new Vec3(1, 0, 0), d.Z > 0 ? 0 : Math.PI);
            parts.Add(new ColumnPart(Cylinder(0, 0, 5, 20, HoleRadius).Placed(turn.Then(Affine.Translation(Centre)), Fine).Turned(), 2));
        }
        var grid = ColumnGrid.Covering(parts[0].Mesh.Bounds.Grown(8), 0.1);
        return Columns.Build(parts, grid, default);
    }

    private static double Cap(double height) => Math.PI * height * height * (3 * Inner - height) / 3;

    private static readonly double Whole = 4.0 / 3 * Math.PI * Inner * Inner * Inner;

    public static TheoryData<double, double, double> Directions => new() { { 0, 0, -1 }, { 0, 0, 1 }, { 1, 0, 0 }, { 0.3, -0.5, -0.8 }, { -0.7, 0.6, 0.2 } };

    [Theory]
    [MemberData(nameof(Directions))]
    public void A_hollow_ball_with_its_hole_straight_down_keeps_nothing(double x, double y, double z)
    {
        var down = new Vec3(x, y, z);
        var r = DrainFlood.Run(Ball(down), new DrainRequest(down), default);
        Assert.Empty(r.Pools);
    }

    [Theory]
    [MemberData(nameof(Directions))]
    public void With_its_hole_on_top_all_but_the_little_cap_under_the_hole_stays(double x, double y, double z)
    {
        var down = new Vec3(x, y, z);
        var r = DrainFlood.Run(Ball(-down), new DrainRequest(down), default);
        var pool = Assert.Single(r.Pools);
        Assert.False(pool.Sealed);
        // The ball is full, and so is the bore up to its lip: 2 mm of wall, radius 2.
        var full = Whole + Math.PI * HoleRadius * HoleRadius * 2;
        Assert.Equal(full, pool.VolumeMm3, full * 0.015);
        Assert.True(pool.Deepest.DistanceTo(Centre + down.Unit() * Inner) < 1.2, $"{pool.Deepest}");
        Assert.Equal((Centre - down.Unit() * (Inner + 2)).Dot(down.Unit()), pool.SpillAt.Dot(down.Unit()), 0.6);
    }

    [Theory]
    [MemberData(nameof(Directions))]
    public void With_its_hole_at_the_side_a_spherical_cap_stays_below_the_lip(double x, double y, double z)
    {
        var down = new Vec3(x, y, z);
        var r = DrainFlood.Run(Ball(down.AnyPerpendicular()), new DrainRequest(down) { VoxelMm = 0.25 }, default);
        var pool = Assert.Single(r.Pools);
        // Cap of height R - r below the bore's lowest line; what lies in the bore itself is nothing there.
        var cap = Cap(Inner - HoleRadius);
        var area = Math.PI * (Inner * Inner - HoleRadius * HoleRadius);
        Assert.InRange(pool.VolumeMm3, cap - 0.1 * area, cap + 0.3 * area);
        Assert.True(pool.Deepest.DistanceTo(Centre + down.Unit() * Inner) < 1, $"{pool.Deepest}");
    }

    [Fact]
    public void Without_a_hole_or_with_one_too_narrow_or_shut_the_ball_is_sealed()
    {
        var down = new Vec3(0.2, 0.1, -1);
        foreach (var r in new[]
        {
            DrainFlood.Run(Ball(), new DrainRequest(down), default),
            DrainFlood.Run(Ball(down), new DrainRequest(down) { FlowRadiusMm = 2.2 }, default),
            DrainFlood.Run(Ball(new Vec3(0, 0, -1)), new DrainRequest(down) { AlsoSolid = p => p.Z < 1.5 }, default),
        })
        {
            var pool = Assert.Single(r.Pools);
            Assert.True(pool.Sealed);
            Assert.Equal(Whole, pool.VolumeMm3, Whole * 0.03);
        }
    }

    [Fact]
    public void A_second_hole_never_makes_more_stay()
    {
        var down = new Vec3(0.4, 0.3, -1);
        var side = down.AnyPerpendicular();
        double one = DrainFlood.Run(Ball(side), new DrainRequest(down), default).TrappedMm3;
        double two = DrainFlood.Run(Ball(side, (side + down.Unit()).Unit()), new DrainRequest(down), default).TrappedMm3;
        Assert.True(two < one);
        Assert.InRange(two, 0, Cap(Inner));
    }

    [Fact]
    public void One_thread_and_many_find_the_same_pools()
    {
        var columns = Ball(new Vec3(1, 0.2, 0.1));
        var request = new DrainRequest(new Vec3(0.1, 0.2, -1));
        Assert.Equal(DrainFlood.Run(columns, request, default, 1).Pools, DrainFlood.Run(columns, request, default, 4).Pools);
    }

    [Fact]
    public void Pour_points_of_a_cavity_are_its_pits_and_turned_round_its_domes()
    {
        // Two balls joined by a neck of half their radius: one pit when it stands, two when it lies.
        var cavity = Turned(0, 0, 48, [.. Pear()]);
        var low = PourPoints.Find(cavity, new Vec3(0, 0, -1));
        Assert.Single(low);
        Assert.True(low[0].At.DistanceTo(new Vec3(0, 0, 0)) < 1e-3);
        Assert.Equal(double.PositiveInfinity, low[0].ProminenceMm);

        // Laid on its side both balls have a pit; the ridge between them is the neck, 3 mm from the axis.
        var side = PourPoints.Find(cavity, new Vec3(-1, 0, 0), 0.5);
        Assert.Equal(2, side.Count);
        Assert.Equal(-6, side[0].HeightMm, 0.01);
        Assert.Equal(-5, side[1].HeightMm, 0.01);
        Assert.Equal(2, side[1].ProminenceMm, 0.05);
    }

    private static IEnumerable<(double, double)> Pear()
    {
        // Ball of radius 6 about z 6, neck of radius 3, ball of radius 5 about z 16 (profile from the lower pole up).
        for (var k = 0; k <= 40; k++)
        {
            var a = Math.PI * k / 40 * (1 - Math.Asin(3 / 6.0) / Math.PI);
            yield return (k == 0 ? 0 : 6 * Math.Sin(a), 6 - 6 * Math.Cos(a));
        }
        var start = Math.Asin(3 / 5.0);
        for (var k = 0; k <= 40; k++)
        {
            var a = start + (Math.PI - start) * k / 40;
            yield return (k == 40 ? 0 : 5 * Math.Sin(a), 16 - 5 * Math.Cos(a));
        }
    }
}
