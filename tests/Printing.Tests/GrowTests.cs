using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Growing;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Tests;

/// <summary>New struts in scenes whose answer is plain: a mushroom, a table with a shelf, a pit, an arch with a drop.</summary>
public class GrowTests
{
    private static readonly Lattice Grid = new(16);
    private static readonly GrowthSizes Sizes = new(0.4, 1.0, 2.5, 2, 4, 0.2, 8);
    private static readonly Box3 Room = new(new Vec3(-60, -60, 0), new Vec3(60, 60, 200));

    private static GrowthScene Scene(Mesh figure, Mesh? raft = null) => new(TriangleTree.Build(figure), raft ?? Mesh.Empty(Grid), Room);

    private static GrowthSpot Under(double x, double y, double z) => new(new Vec3(x, y, z), new Vec3(0, 0, -1), "test");

    private static GrowthResult Grow(GrowthScene scene, params GrowthSpot[] spots) => StrutGrowth.Grow(scene, StrutGraph.None, spots, Sizes, Grid, default);

    private static Mesh Mushroom() => Mesh.Concat(Grid, [
        Primitives.Cylinder(Grid, new Vec3(0, 0, 0), new Vec3(0, 0, 41), 4),
        Primitives.Cylinder(Grid, new Vec3(0, 0, 40), new Vec3(0, 0, 44), 20)]);

    [Fact]
    public void Under_a_mushrooms_cap_a_strut_stands_upright_right_below_its_contact()
    {
        var scene = Scene(Mushroom());
        var result = Grow(scene, Under(12, 3, 40));
        var strut = Assert.Single(result.Grown);
        Assert.Equal(EndHeldBy.Platform, strut.HeldBy);
        Assert.Equal(new Vec3(12, 3, 0), strut.FootAt);
        Assert.Equal([Role.Foot, Role.Pillar, Role.Tip], strut.Segments.Select(i => result.Graph.Segments[i].Role));
        Assert.All(strut.Segments, i => Assert.True(result.Graph.Segments[i].Added));
        KeepsItsPromises(scene, result);
        HoldsTogether(Mushroom(), result);
    }

    [Fact]
    public void A_shelf_below_the_contact_is_passed_by_with_one_lean_of_at_most_45_degrees()
    {
        // A table top, its leg far off, and a shelf half way down that reaches 6 mm beyond the contact.
        var table = Mesh.Concat(Grid, [
            Primitives.Box(Grid, new Vec3(-30, -10, 60), new Vec3(20, 10, 64)), Primitives.Box(Grid, new Vec3(-30, -10, 0), new Vec3(-25, 10, 61)),
            Primitives.Box(Grid, new Vec3(-26, -10, 25), new Vec3(6, 10, 28))]);
        var scene = Scene(table);
        var result = Grow(scene, Under(0, 0, 60));
        var strut = Assert.Single(result.Grown);
        Assert.Equal([Role.Foot, Role.Pillar, Role.Pillar, Role.Tip], strut.Segments.Select(i => result.Graph.Segments[i].Role));
        Assert.True(strut.FootAt.X >= 6 + 1 + 0.5 || Math.Abs(strut.FootAt.Y) >= 10 + 1 + 0.5, $"foot at {strut.FootAt}"); // shaft and clearance
        foreach (var s in strut.Segments.Select(i => result.Graph.Segments[i]))
            Assert.True((s.To - s.From).Unit().Z >= Math.Cos(Math.PI / 4) - 1e-6, $"{s.Role} leans more than 45 degrees");
        KeepsItsPromises(scene, result);
        HoldsTogether(table, result);
    }

    [Fact]
    public void In_a_pit_that_no_way_leaves_a_strut_stands_on_the_pits_floor()
    {
        // A box with a hollow of 20 x 20 x 30 mm, and a knob that hangs from the hollow's ceiling.
        var pit = Mesh.Concat(Grid, [
            Primitives.Box(Grid, new Vec3(-12, -12, 0), new Vec3(12, 12, 34)), Primitives.Box(Grid, new Vec3(-10, -10, 2), new Vec3(10, 10, 32)).Turned(),
            Primitives.Cylinder(Grid, new Vec3(0, 0, 28), new Vec3(0, 0, 33), 2)]);
        var scene = Scene(pit);
        var result = Grow(scene, Under(0, 0, 28));
        var strut = Assert.Single(result.Grown);
        Assert.Equal(EndHeldBy.Figure, strut.HeldBy);
        var foot = result.Graph.Segments[strut.Segments[0]];
        Assert.InRange(foot.From.Z, 2 - 0.4 * 2 - 1e-9, 2); // into the floor of 2 mm by 40 % of it at most
        Assert.Equal(2, foot.Contact!.Value.Z, 4);
        HoldsTogether(pit, result);
    }

    [Fact]
    public void A_slot_too_narrow_for_a_tip_gets_no_strut_and_says_so()
    {
        // Two walls 0.6 mm apart under one roof.
        var slot = Mesh.Concat(Grid, [
            Primitives.Box(Grid, new Vec3(-30, -30, 0), new Vec3(-0.3, 30, 31)), Primitives.Box(Grid, new Vec3(0.3, -30, 0), new Vec3(30, 30, 31)), Primitives.Box(Grid, new Vec3(-30, -30, 30), new Vec3(30, 30, 34))]);
        var result = Grow(Scene(slot), Under(0, 0, 30));
        Assert.Empty(result.Grown);
        Assert.Empty(result.Graph.Segments);
        Assert.Contains("no room for a tip", Assert.Single(result.Blocked).Why, StringComparison.Ordinal);
    }

    [Fact]
    public void Above_a_slope_too_steep_to_stand_on_the_pin_leans_to_meet_it_squarely_and_is_the_stouter_the_longer_it_is()
    {
        // A roof that falls at 63 degrees below a knob; the room leaves no way to the platform.
        int Units(double mm) => (int)Math.Round(mm / Grid.UnitMm);
        Vec3[] p = [new(-15, -30, 0), new(15, -30, 0), new(15, 30, 0), new(-15, 30, 0), new(-15, -30, 60), new(-15, 30, 60), new(15, -30, 1), new(15, 30, 1)];
        int[] corners = [0, 2, 1, 0, 3, 2, 4, 6, 7, 4, 7, 5, 0, 4, 5, 0, 5, 3, 1, 2, 7, 1, 7, 6, 0, 1, 6, 0, 6, 4, 3, 5, 7, 3, 7, 2];
        var roof = new Mesh(Grid, [.. p.SelectMany(v => new[] { Units(v.X), Units(v.Y), Units(v.Z) })], corners);
        var slope = (p[6] - p[4]).Unit(); // down along it
        var normal = new Vec3(-slope.Z, 0, slope.X);
        var under = new Vec3(-5, 0, 60 - 10 * 59 / 30.0) + normal * 4; // 4 mm off the slope
        var scene = new GrowthScene(TriangleTree.Build(Mesh.Concat(Grid, [roof, Primitives.Box(Grid, under + new Vec3(-1, -1, 0), under + new Vec3(1, 1, 2))])), Mesh.Empty(Grid), new Box3(new Vec3(-15, -30, 0), new Vec3(15, 30, 200)));
        var result = Grow(scene, new GrowthSpot(under, new Vec3(0, 0, -1), "test"));
        var pin = result.Graph.Segments[Assert.Single(Assert.Single(result.Grown).Segments)];
        Assert.Equal((EndHeldBy.Figure, EndHeldBy.Figure), (pin.FromHeldBy, pin.ToHeldBy));
        Assert.True((pin.To - pin.From).Unit().Dot(normal) >= 0.64, "it grazes along the slope");
        Assert.True(pin.RadiusTo >= (pin.Length - 1.5) / 15, $"{pin.Length:0.0} mm long and {pin.RadiusTo:0.00} mm thick");
    }

    [Fact]
    public void A_gap_too_low_for_a_strut_is_bridged_by_a_pin()
    {
        var plates = Mesh.Concat(Grid, [Primitives.Box(Grid, new Vec3(-30, -30, 0), new Vec3(30, 30, 10)), Primitives.Box(Grid, new Vec3(-30, -30, 10.8), new Vec3(30, 30, 14))]);
        var result = Grow(Scene(plates), Under(0, 0, 10.8));
        var pin = result.Graph.Segments[Assert.Single(Assert.Single(result.Grown).Segments)];
        Assert.Equal((EndHeldBy.Figure, EndHeldBy.Figure), (pin.FromHeldBy, pin.ToHeldBy));
        Assert.True(pin.From.Z < 10 && pin.To.Z > 10.8);
        HoldsTogether(plates, result);
    }

    [Fact]
    public void A_foot_stands_flat_on_the_raft_where_it_lies_under_all_of_it_and_else_on_the_platform()
    {
        var raft = Primitives.Box(Grid, new Vec3(5, -10, 0), new Vec3(25, 10, 1.5));
        var scene = Scene(Mushroom(), raft);
        var result = Grow(scene, Under(12, 0, 40), Under(-12, 0, 40), Under(6, 12, 40));
        Assert.Equal([EndHeldBy.Raft, EndHeldBy.Platform, EndHeldBy.Platform], result.Grown.Select(g => g.HeldBy));
        Assert.InRange(result.Grown[0].FootAt.Z, 0.5, 1.5);
        Assert.Equal(0, result.Grown[1].FootAt.Z);
        foreach (var g in result.Grown)
        {
            var shape = result.Graph.Shells[result.Graph.Segments[g.Segments[0]].Shell].Shape;
            var bottom = Enumerable.Range(0, shape.VertexCount).Select(shape.Vertex).Where(v => v.Z < g.FootAt.Z + 0.1).ToList();
            Assert.Equal(Sizes.Sides, bottom.Count);
            Assert.All(bottom, v => Assert.Equal(g.FootAt.Z, v.Z, 4)); // flat
        }
        KeepsItsPromises(scene, result);
    }

    [Fact]
    public void A_strut_keeps_away_from_the_tip_of_the_one_before()
    {
        var scene = Scene(Mushroom());
        var result = Grow(scene, Under(12, 0, 40), Under(14.5, 0, 40));
        Assert.Equal(2, result.Grown.Count);
        foreach (var tip in result.Grown.Select(g => result.Graph.Segments[g.Segments[^1]]))
            foreach (var other in result.Graph.Segments.Where(s => s.Chain != tip.Chain && s.Role is Role.Pillar or Role.Tip))
                if (other.Chain > tip.Chain) Assert.True(Distance(tip, other) >= other.RadiusTo + GrowthScene.FromTipsMm, $"{Distance(tip, other)} mm from a tip");
    }

    [Fact]
    public void A_slender_strut_is_braced_to_its_neighbour_at_45_degrees()
    {
        var bridge = Mesh.Concat(Grid, [
            Primitives.Box(Grid, new Vec3(-40, -5, 150), new Vec3(40, 5, 154)), Primitives.Box(Grid, new Vec3(-40, -5, 0), new Vec3(-36, 5, 151)), Primitives.Box(Grid, new Vec3(36, -5, 0), new Vec3(40, 5, 151))]);
        var scene = Scene(bridge);
        var result = Grow(scene, Under(-8, 0, 150), Under(8, 0, 150));
        Assert.Equal(2, result.Grown.Count);
        var braces = result.Graph.Segments.Where(s => s.Role == Role.Brace).ToList();
        Assert.NotEmpty(braces);
        foreach (var b in braces)
        {
            Assert.Equal(Math.Sqrt(0.5), (b.To - b.From).Unit().Z, 6);
            Assert.True(scene.Clear(b.From, b.To, b.RadiusFrom));
            Assert.All(b.FromJoins.Concat(b.ToJoins), j => Assert.Equal(Role.Pillar, result.Graph.Segments[j].Role));
        }
    }

    [Fact]
    public void The_lower_end_of_a_drop_under_an_arch_is_found_and_held_and_nothing_begins_in_mid_air_any_more()
    {
        var arch = Mesh.Concat(Grid, [
            Primitives.Box(Grid, new Vec3(-20, -4, 40), new Vec3(20, 4, 44)), Primitives.Box(Grid, new Vec3(-20, -4, 0), new Vec3(-16, 4, 41)), Primitives.Box(Grid, new Vec3(16, -4, 0), new Vec3(20, 4, 41)),
            Primitives.Cylinder(Grid, new Vec3(0, 0, 25), new Vec3(0, 0, 41), 2)]);
        var figure = Layers(arch, StrutGraph.None);
        Assert.Single(figure.Islands);
        var scene = Scene(arch);
        var result = StrutGrowth.SupportSpots(scene, figure.ForLoads(), StrutGraph.None, Sizes, Grid, default);
        var spot = Assert.Single(result.Grown).Spot;
        Assert.Equal(25, spot.At.Z, 3);
        Assert.Empty(Layers(arch, result.Graph).Islands);
        Assert.Empty(UnheldSpots.Find(scene, figure.ForLoads(), result.Graph)); // held now
        KeepsItsPromises(scene, result);
    }

    [Fact]
    public void The_same_scene_grows_the_same_struts()
    {
        static GrowthResult Once() => Grow(Scene(Mushroom()), Under(12, 0, 40), Under(14.5, 0, 40), Under(-3, 9, 40));
        GrowthResult a = Once(), b = Once();
        Assert.Equal(a.Graph.Segments.Select(s => (s.From, s.To, s.RadiusFrom)), b.Graph.Segments.Select(s => (s.From, s.To, s.RadiusFrom)));
        Assert.Equal(a.Graph.ToMesh(Grid).XyzArray, b.Graph.ToMesh(Grid).XyzArray);
    }

    [Fact]
    public void A_bent_tube_has_the_volume_of_its_pieces()
    {
        // A prism over a regular polygon cut by planes through its axis points has area times axis length (the wedges on both
        // sides of the axis cancel), so mitring changes no volume: area of an octagon 2 sqrt(2) r^2 (handbook).
        var mesh = StrutTube.Build(Grid, [new Vec3(0, 0, 0), new Vec3(0, 0, 20), new Vec3(10, 0, 30)], [1.5, 1.5, 1.5], 8);
        Assert.True(Geometry.Closedness.IsClosed(mesh));
        Assert.Equal(2 * Math.Sqrt(2) * 1.5 * 1.5 * (20 + 10 * Math.Sqrt(2)), mesh.SignedVolumeMm3(), 2);
    }

    /// <summary>Closed shells; everything but the tip's upper half keeps the stated clearance, measured from the shell's own corners.</summary>
    private static void KeepsItsPromises(GrowthScene scene, GrowthResult result)
    {
        foreach (var g in result.Grown)
        {
            var tip = result.Graph.Segments[g.Segments[^1]];
            var half = tip.Contact!.Value + (tip.From - tip.Contact.Value) * 0.5;
            var axis = (tip.To - tip.From).Unit();
            var shape = result.Graph.Shells[tip.Shell].Shape;
            Assert.True(Geometry.Closedness.IsClosed(shape));
            Assert.True(shape.SignedVolumeMm3() > 0);
            for (var v = 0; v < shape.VertexCount; v++)
            {
                var p = shape.Vertex(v);
                if ((p - half).Dot(axis) > 0) continue;
                Assert.True(scene.Figure.Closest(p).Distance >= GrowthScene.ClearanceMm - 1e-3, $"{p} mm is {scene.Figure.Closest(p).Distance} mm from the figure");
            }
            for (var i = 0; i + 1 < g.Segments.Count; i++)
            {
                Assert.Equal(result.Graph.Segments[g.Segments[i]].To, result.Graph.Segments[g.Segments[i + 1]].From);
                Assert.Contains(g.Segments[i + 1], result.Graph.Segments[g.Segments[i]].ToJoins);
            }
        }
    }

    /// <summary>One body from the platform to the figure: the layer model finds nothing that begins in mid-air but what the figure alone did.</summary>
    private static void HoldsTogether(Mesh figure, GrowthResult result)
    {
        var print = Layers(figure, result.Graph);
        foreach (var g in result.Grown)
        {
            int foot = print.BodyAt(g.FootAt + new Vec3(0, 0, 0.3)), contact = print.BodyAt(g.Spot.At + new Vec3(0, 0, 0.3));
            Assert.True(foot >= 0 && contact >= 0);
            Assert.Equal(print.BodyRootAt(foot, print.Count), print.BodyRootAt(contact, print.Count));
        }
        Assert.DoesNotContain(print.Islands, i => result.Grown.Any(g => g.Spot.At.DistanceTo(i.At) < 1));
    }

    private static LayerStack Layers(Mesh figure, StrutGraph struts)
    {
        var all = Mesh.Concat(Grid, [figure, struts.ToMesh(Grid)]);
        return LayerStack.Build(Columns.Build([new ColumnPart(all, 0)], ColumnGrid.Covering(all.Bounds, 0.1), default), 0.05, default);
    }

    private static double Distance(StrutSegment a, StrutSegment b)
    {
        var best = double.PositiveInfinity;
        for (var i = 0; i <= 200; i++)
            for (var k = 0; k <= 200; k++)
                best = Math.Min(best, (a.From + (a.To - a.From) * (i / 200.0)).DistanceTo(b.From + (b.To - b.From) * (k / 200.0)));
        return best;
    }
}
