using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Growing;
using Stiltwright.Printing.Splitting;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Tests;

/// <summary>Where a figure is cut, which piece gets which strut, and that every strut of a piece stands.</summary>
public class SplitTests
{
    private const double Far = double.PositiveInfinity;
    private static readonly Lattice Grid = new(16);
    private static readonly GrowthSizes Sizes = new(0.4, 1.0, 2.5, 2, 4, 0.2, 8);

    private static Box3 Room(double x0, double x1) => new(new Vec3(x0, -60, 0), new Vec3(x1, 60, 200));

    private static GrowthSpot Under(double x, double y, double z) => new(new Vec3(x, y, z), new Vec3(0, 0, -1), "test");

    private static StrutGraph Struts(Mesh figure, Box3 room, params GrowthSpot[] spots) =>
        StrutGrowth.Grow(new GrowthScene(TriangleTree.Build(figure), Mesh.Empty(Grid), room), StrutGraph.None, spots, Sizes, Grid, default).Graph;

    [Fact]
    public void A_tall_dumbbell_is_cut_through_its_neck()
    {
        var dumbbell = Mesh.Concat(Grid, [
            Primitives.Sphere(Grid, new Vec3(0, 0, 30), 28, 24), Primitives.Sphere(Grid, new Vec3(0, 0, 120), 28, 24), Primitives.Cylinder(Grid, new Vec3(0, 0, 30), new Vec3(0, 0, 120), 6)]);
        var plane = CutPlanner.Next(dumbbell, StrutGraph.None, 0, new Vec3(200, 200, 100), default)!;
        Assert.Equal(2, plane.Axis);
        Assert.InRange(plane.OffsetMm, 57, 93); // between the spheres
        // The polygon of 32 corners in a circle of 6 mm: n / 2 r^2 sin(2 pi / n) (handbook).
        Assert.Equal(16 * 36 * Math.Sin(2 * Math.PI / 32), plane.SectionMm2, 2);
    }

    [Fact]
    public void A_plane_that_would_shave_off_a_bump_is_not_chosen()
    {
        // A bar whose middle, where the cut would be shortest, carries a plate; only a plane right beside the plate leaves a sliver.
        var bar = Primitives.Box(Grid, new Vec3(0, -10, 0), new Vec3(160, 10, 20));
        var bumped = Mesh.Concat(Grid, [bar, Primitives.Box(Grid, new Vec3(76, -12, 18), new Vec3(84, 12, 40))]);
        Assert.Equal((2, 2), CutParts.Count(bumped, 0, 80.003, CutPlanner.SliverMm)); // both halves of the plate are slivers
        Assert.Equal((0, 1), CutParts.Count(bumped, 0, 60.003, CutPlanner.SliverMm));
        var plane = CutPlanner.Next(bumped, StrutGraph.None, 0, new Vec3(100, 100, 100), default)!;
        Assert.Equal(0, plane.Axis);
        Assert.Equal(0, plane.Slivers);
        Assert.False(plane.OffsetMm is > 76 and < 84, $"cut at {plane.OffsetMm} mm, through the plate");
    }

    [Fact]
    public void A_hoop_cut_level_has_two_seams()
    {
        var hoop = Primitives.Torus(Grid, new Vec3(0, 0, 40), new Vec3(1, 0, 0), 30, 6);
        Assert.Equal((0, 2), CutParts.Count(hoop, 2, 40.003, CutPlanner.SliverMm));
        Assert.Equal((0, 1), CutParts.Count(hoop, 2, 12.003, CutPlanner.SliverMm)); // through the lower bow
    }

    [Fact]
    public void Each_strut_goes_whole_to_the_piece_that_holds_its_contact()
    {
        var beam = Primitives.Box(Grid, new Vec3(0, -5, 120), new Vec3(100, 5, 126));
        var graph = Struts(beam, Room(-20, 120), Under(10, 0, 120), Under(44, 0, 120), Under(56, 0, 120), Under(90, 0, 120));
        Box3[] cells = [new(new Vec3(-Far, -Far, -Far), new Vec3(50, Far, Far)), new(new Vec3(50, -Far, -Far), new Vec3(Far, Far, Far))];
        var owners = StrutShare.Owners(graph, cells);
        Assert.Contains(graph.Segments, s => s.Role == Role.Brace);
        foreach (var s in graph.Segments.Where(s => s.Role != Role.Brace)) Assert.Equal(s.From.X < 50 ? 0 : 1, owners[s.Id]);
        foreach (var b in graph.Segments.Where(s => s.Role == Role.Brace))
        {
            var tied = b.FromJoins.Concat(b.ToJoins).Select(j => owners[j]).Distinct().ToList();
            Assert.Equal(tied.Count == 1 ? tied[0] : StrutShare.None, owners[b.Id]);
        }
        // Nothing is cut: what goes to the two pieces and what is left out are the shells of the whole.
        var volume = graph.Shells.Sum(h => h.Shape.SignedVolumeMm3());
        var shared = Enumerable.Range(-1, 3).Select(k => StrutSubset.Of(graph, s => owners[s.Id] == k)).ToList();
        Assert.Equal(volume, shared.Sum(g => g.Shells.Sum(h => h.Shape.SignedVolumeMm3())), 6);
        foreach (var g in shared)
            for (var i = 0; i < g.Segments.Count; i++)
            {
                Assert.Equal(i, g.Segments[i].Id);
                Assert.Contains(i, g.Shells[g.Segments[i].Shell].Segments);
                Assert.All(g.Segments[i].FromJoins.Concat(g.Segments[i].ToJoins), j => Assert.InRange(j, 0, g.Segments.Count - 1));
            }
    }

    [Fact]
    public void A_strut_that_stands_outside_the_printers_room_is_grown_anew_inside_to_the_same_contact()
    {
        var plate = Primitives.Box(Grid, new Vec3(0, -10, 60), new Vec3(40, 10, 64));
        // While the whole stood, a shelf that now belongs to another piece made the strut lean outwards.
        var shelf = Primitives.Box(Grid, new Vec3(-30, -40, 20), new Vec3(42, 40, 23));
        var graph = Struts(Mesh.Concat(Grid, [plate, shelf]), Room(-60, 60), Under(36, 0, 60), Under(34, 7, 60));
        Assert.True(graph.ToMesh(Grid).Bounds.Max.X > 43);
        var settled = StrutSettling.Settle(plate, graph, Mesh.Empty(Grid), false, [], _ => true, Room(-5, 43), Sizes, default);
        Assert.Equal(2, settled.Regrown.Count);
        Assert.Empty(settled.Blocked);
        Assert.True(settled.Struts.ToMesh(Grid).Bounds.Max.X <= 43);
        Assert.Equal([new Vec3(36, 0, 60), new Vec3(34, 7, 60)], settled.Struts.Segments.Select(StrutShare.Upper).OfType<Vec3>().OrderByDescending(c => c.X));
        Assert.DoesNotContain(Layers(plate, settled.Struts).Islands, i => i.At.Z < 55);
    }

    [Fact]
    public void A_strut_that_stood_on_another_piece_is_led_on_to_the_platform()
    {
        // A tower's upper floor carried by a strut that stands on the lower floor; the cut takes the lower floor away.
        var upper = Primitives.Box(Grid, new Vec3(-10, -10, 34), new Vec3(10, 10, 38));
        var lower = Mesh.Concat(Grid, [Primitives.Box(Grid, new Vec3(-60, -60, 0.5), new Vec3(60, 60, 4)), upper]);
        var graph = Struts(lower, Room(-60, 60), Under(0, 0, 34));
        Assert.Equal(EndHeldBy.Figure, graph.Segments[0].FromHeldBy);
        var settled = StrutSettling.Settle(upper, graph, Mesh.Empty(Grid), false, [], p => p.Z > 20, Room(-60, 60), Sizes, default);
        Assert.Equal(EndHeldBy.Platform, Assert.Single(settled.Regrown).HeldBy);
        Assert.DoesNotContain(Layers(upper, settled.Struts).Islands, i => i.At.Z < 33);
    }

    [Fact]
    public void Where_no_way_is_left_the_strut_is_taken_away_and_named()
    {
        // A contact at the top of a slot 0.6 mm wide: a strut that stood there by some means finds no other way.
        var roof = Primitives.Box(Grid, new Vec3(-20, -20, 30), new Vec3(20, 20, 34));
        var slab = Mesh.Concat(Grid, [roof, Primitives.Box(Grid, new Vec3(-20, -20, 0), new Vec3(-0.3, 20, 31)), Primitives.Box(Grid, new Vec3(0.3, -20, 0), new Vec3(20, 20, 31))]);
        var graph = Struts(roof, Room(-60, 60), Under(0, 0, 30));
        var floating = new StrutGraph([.. graph.Segments.Select(s => s.Id == 0 ? s with { FromHeldBy = EndHeldBy.Nothing } : s)], graph.Shells);
        var settled = StrutSettling.Settle(slab, floating, Mesh.Empty(Grid), false, [], _ => true, Room(-60, 60), Sizes, default);
        Assert.Empty(settled.Struts.Segments);
        var blocked = Assert.Single(settled.Blocked);
        Assert.Equal(new Vec3(0, 0, 30), blocked.Spot.At);
        Assert.NotEmpty(blocked.Why);
    }

    [Fact]
    public void Struts_cut_off_at_the_platform_get_flat_feet_and_nothing_begins_in_mid_air()
    {
        var plate = Primitives.Box(Grid, new Vec3(0, -10, 60), new Vec3(40, 10, 64));
        var cut = StrutShapes.CutBelow(Struts(plate, Room(-60, 60), Under(8, 0, 60), Under(32, 0, 60)).Placed(Affine.Translation(new Vec3(0, 0, -20)), Grid), 0);
        var lowered = plate.Placed(Affine.Translation(new Vec3(0, 0, -20)), Grid);
        var settled = StrutSettling.Settle(lowered, cut, Mesh.Empty(Grid), true, [], _ => true, Room(-60, 60), Sizes, default);
        Assert.Empty(settled.Regrown);
        var feet = settled.Struts.Segments.Where(s => s.Role == Role.Foot).ToList();
        Assert.Equal(2, feet.Count);
        foreach (var f in feet)
        {
            Assert.Equal(0, f.From.Z);
            Assert.Equal(Sizes.FootRadius, f.RadiusFrom, 6);
            Assert.Equal(0, settled.Struts.Shells[f.Shell].Shape.Bounds.Min.Z);
            Assert.True(Geometry.Closedness.IsClosed(settled.Struts.Shells[f.Shell].Shape));
            Assert.Equal(f.Id, Assert.Single(settled.Struts.Segments[f.ToJoins[0]].FromJoins));
        }
        Assert.DoesNotContain(Layers(lowered, settled.Struts).Islands, i => i.At.Z < 35);
    }

    [Fact]
    public void A_strut_cut_off_through_its_tip_is_grown_anew_with_a_foot()
    {
        var plate = Primitives.Box(Grid, new Vec3(0, -10, 60), new Vec3(40, 10, 64));
        // The tip is 4 mm long and the pillar below it 54: the cut leaves 3 mm of the one, or 6 mm with a little of the other.
        foreach (var above in (double[])[3, 6])
        {
            var down = Affine.Translation(new Vec3(0, 0, above - 60));
            var cut = StrutShapes.CutBelow(Struts(plate, Room(-60, 60), Under(8, 0, 60)).Placed(down, Grid), 0);
            Assert.NotEmpty(cut.Segments);
            var settled = StrutSettling.Settle(plate.Placed(down, Grid), cut, Mesh.Empty(Grid), true, [], _ => true, Room(-60, 60), Sizes, default);
            Assert.Equal(new Vec3(8, 0, above), Assert.Single(settled.Regrown).Spot.At);
            Assert.Equal(0, settled.Struts.ToMesh(Grid).Bounds.Min.Z);
            Assert.All(settled.Struts.Segments, s => Assert.True(s.Added));
            Assert.DoesNotContain(Layers(plate.Placed(down, Grid), settled.Struts).Islands, i => i.At.Z < above - 0.2);
        }
    }

    [Fact]
    public void A_peg_that_stands_out_sideways_gets_a_strut_under_it_and_struts_in_its_way_are_moved()
    {
        var block = Primitives.Box(Grid, new Vec3(-40, -10, 20), new Vec3(0, 10, 60));
        var peg = new Peg(new Vec3(0, 0, 40), new Vec3(1, 0, 0), 3, 7.5);
        var figure = Mesh.Concat(Grid, [block, Primitives.Frustum(Grid, new Vec3(-1, 0, 40), new Vec3(7.5, 0, 40), 3, 3 * Peg.TipShare, 24)]);
        var settled = StrutSettling.Settle(figure, StrutGraph.None, Mesh.Empty(Grid), false, [peg], _ => true, Room(-60, 60), Sizes, default);
        var contact = Assert.Single(settled.Regrown).Spot.At;
        Assert.InRange(contact.X, 4, 7.5);
        Assert.InRange(contact.Z, 37, 37.5);
    }

    [Fact]
    public void The_raft_is_kept_under_the_feet_that_stand_on_it_and_inside_the_room()
    {
        var plate = Primitives.Box(Grid, new Vec3(0, -10, 60), new Vec3(40, 10, 64));
        var raft = Primitives.Box(Grid, new Vec3(-50, -50, 0), new Vec3(50, 50, 1.5));
        var graph = StrutGrowth.Grow(new GrowthScene(TriangleTree.Build(plate), raft, Room(-60, 60)), StrutGraph.None, [Under(8, 0, 60), Under(32, 4, 60)], Sizes, Grid, default).Graph;
        var settled = StrutSettling.Settle(plate, graph, raft, false, [], _ => true, Room(-60, 60), Sizes, default);
        Assert.True(Geometry.Closedness.IsClosed(settled.Raft));
        // Feet of 2.5 mm radius at (8, 0) and (32, 4), and 2 mm round them.
        Assert.Equal(8 - 4.5, settled.Raft.Bounds.Min.X, 3);
        Assert.Equal(32 + 4.5, settled.Raft.Bounds.Max.X, 3);
        Assert.Equal(-4.5, settled.Raft.Bounds.Min.Y, 3);
        Assert.Equal(8.5, settled.Raft.Bounds.Max.Y, 3);
    }

    private static LayerStack Layers(Mesh figure, StrutGraph struts)
    {
        var all = Mesh.Concat(Grid, [figure, struts.ToMesh(Grid)]);
        return LayerStack.Build(Columns.Build([new ColumnPart(all, 0)], ColumnGrid.Covering(all.Bounds, 0.1), default), 0.05, default);
    }
}
