using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Growing;
using Stiltwright.Printing.Placing;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Tests;

/// <summary>A figure set nearer to its raft: struts shortened, feet and raft made anew.</summary>
public class FreeHeightTests
{
    private static readonly Lattice Grid = new(16);
    private static readonly GrowthSizes Sizes = new(0.4, 1.0, 2.5, 2, 4, 0.2, 8);
    private static readonly Box3 Room = new(new Vec3(-80, -80, 0), new Vec3(80, 80, 200));
    private static readonly Mesh Plate = Primitives.Box(Grid, new Vec3(0, -10, 40), new Vec3(40, 10, 44));

    private static StrutGraph Struts(Mesh figure, Mesh raft)
    {
        (double X, double Y)[] places = [(4, -6), (36, -6), (36, 6), (4, 6), (20, 0)];
        var spots = places.Select(p => new GrowthSpot(new Vec3(p.X, p.Y, figure.Bounds.Min.Z), new Vec3(0, 0, -1), "test")).ToList();
        var grown = StrutGrowth.Grow(new GrowthScene(TriangleTree.Build(figure), raft, Room), StrutGraph.None, spots, Sizes, Grid, default).Graph;
        return new StrutGraph([.. grown.Segments.Select(s => s with { Added = false })], grown.Shells); // as if the source had them
    }

    private static Mesh Raft(double size) => Primitives.Box(Grid, new Vec3(-size, -size, 0), new Vec3(40 + size, size, 1.5));

    private static Lowered Lower(Mesh raft, double gap, out Mesh figure)
    {
        var struts = Struts(Plate, raft);
        var drop = FreeHeight.Drop(Plate, raft, gap);
        figure = Plate.Placed(Affine.Translation(new Vec3(0, 0, -drop)), Grid);
        return FreeHeight.Apply(figure, struts, raft, drop, Room, default)!;
    }

    [Theory]
    [InlineData(30)]
    [InlineData(9)]
    [InlineData(5)]
    public void The_figure_comes_down_to_the_gap_asked_for_and_every_contact_keeps_a_strut(double gap)
    {
        var lowered = Lower(Raft(20), gap, out var figure);
        Assert.Equal(1.5 + gap, figure.Bounds.Min.Z, 4);
        Assert.Empty(lowered.Blocked);
        var contacts = lowered.Struts.Segments.Where(s => s.Contact is not null).Select(s => s.Contact!.Value).ToList();
        Assert.Equal(5, contacts.Count);
        Assert.All(contacts, c => Assert.Equal(figure.Bounds.Min.Z, c.Z, 3));
        var all = Columns.Build([new ColumnPart(figure, 0), new ColumnPart(lowered.Struts.ToMesh(Grid), 1), new ColumnPart(lowered.Raft, 2)], ColumnGrid.Covering(figure.Bounds.With(lowered.Raft.Bounds), 0.1), default);
        // Feet stand in the raft: nothing begins in mid-air (but the flat plate between its five contacts is held).
        Assert.DoesNotContain(LayerStack.Build(all, 0.05, default).Islands, i => i.At.Z < figure.Bounds.Min.Z - 0.06);
        Assert.All(lowered.Struts.Segments.Where(s => s.FromHeldBy == EndHeldBy.Raft), s => Assert.InRange(s.From.Z, 0.5, 1.5));
        Assert.DoesNotContain(lowered.Struts.Segments, s => s.FromHeldBy == EndHeldBy.Platform);
    }

    [Fact]
    public void A_raft_that_still_lies_under_all_feet_is_kept()
    {
        var raft = Raft(20);
        Assert.Same(raft, Lower(raft, 10, out _).Raft);
    }

    [Fact]
    public void Where_feet_come_to_stand_beside_the_raft_a_new_plate_of_its_thickness_lies_under_all_of_them()
    {
        // Struts that lean: the raft is small and under their old feet only.
        var raft = Primitives.Box(Grid, new Vec3(0, -10, 0), new Vec3(14, 10, 1.5));
        var struts = Struts(Plate, Raft(20));
        var lowered = FreeHeight.Apply(Plate.Placed(Affine.Translation(new Vec3(0, 0, -20)), Grid), struts, raft, 20, Room, default)!;
        Assert.NotSame(raft, lowered.Raft);
        Assert.Equal(1.5, lowered.Raft.Bounds.Max.Z, 4);
        Assert.Equal(0, lowered.Raft.Bounds.Min.Z);
        Assert.True(Geometry.Closedness.IsClosed(lowered.Raft));
        foreach (var s in lowered.Struts.Segments.Where(s => s.FromHeldBy == EndHeldBy.Raft))
            Assert.Equal(EndHeldBy.Raft, new GrowthScene(TriangleTree.Build(Plate), lowered.Raft, Room).Ground(s.From.X, s.From.Y, s.RadiusFrom).By);
    }

    [Fact]
    public void Less_is_taken_the_lower_the_figure_and_without_a_raft_the_struts_stand_on_the_platform()
    {
        var none = Mesh.Empty(Grid);
        var volumes = ((double[])[30, 20, 10]).Select(g => Lower(none, g, out _).Struts.Shells.Sum(s => s.Shape.SignedVolumeMm3())).ToList();
        Assert.Equal(volumes.OrderDescending(), volumes);
        var lowered = Lower(none, 10, out _);
        Assert.Equal(0, lowered.Raft.TriangleCount);
        Assert.Contains(lowered.Struts.Segments, s => s.FromHeldBy == EndHeldBy.Platform);
    }

    [Fact]
    public void The_volume_of_a_new_plate_is_that_of_a_prism_and_a_frustum()
    {
        // Two feet 30 mm apart: a polygon of 32 corners cut in half, and a trapezium between the halves (handbook formulas).
        double bevel = 0.8, high = 2, r = 5, along = 30;
        double Polygon(double radius) => 16 * radius * radius * Math.Sin(2 * Math.PI / 32);
        double low = Polygon(r - bevel), top = Polygon(r);
        var round = bevel / 3 * (low + top + Math.Sqrt(low * top)) + (high - bevel) * top;
        var straight = along * (bevel * (2 * r - bevel) + (high - bevel) * 2 * r);
        var plate = RaftPlate.Under([(0, 0, r), (along, 0, r)], high, bevel, Grid);
        Assert.Equal(round + straight, plate.SignedVolumeMm3(), 1e-4 * (round + straight));
        Assert.True(Geometry.Closedness.IsClosed(plate));
    }
}
