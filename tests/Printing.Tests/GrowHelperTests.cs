using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Growing;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Tests;

/// <summary>Struts that are set beside overloaded ones: a plate on legs, one of them with too thin a tip.</summary>
public class GrowHelperTests
{
    private const double Safety = 2.15;
    private static readonly Lattice Grid = new(16);
    private static readonly GrowthSizes Sizes = new(0.5, 1.0, 2.5, 2, 4, 0.2, 8);

    private static (GrowthScene Scene, TriangleTree Surface, SizingRequest Request) Plate(double thinTip, double thinPillar = 3)
    {
        var plate = Primitives.Box(Grid, new Vec3(-12, -9, 30), new Vec3(12, 9, 36));
        var bench = new LoadsBench(0.1);
        foreach (var (x, y) in new[] { (-9.0, -6.0), (9, -6), (9, 6), (-9, 6) })
        {
            bench.WithTip(x, y, 30.05, x < 0 && y < 0 ? thinPillar : 3, x < 0 && y < 0 ? thinTip : 2, 3);
        }
        var layers = LayerStack.Build(Columns.Build([new ColumnPart(plate, 0)], ColumnGrid.Covering(plate.Bounds, 0.25), default), 0.1, default).ForLoads();
        var tree = TriangleTree.Build(plate);
        var scene = new GrowthScene(tree, Mesh.Empty(Grid), new Box3(new Vec3(-60, -60, 0), new Vec3(60, 60, 200)));
        return (scene, tree, new SizingRequest { Enlarged = bench.Scene(layers, LoadsBench.Resin, 0.1), Rule = SizingRule.Absolute, Safety = Safety });
    }

    [Fact]
    public void A_strut_used_too_hard_gets_another_beside_it_and_bears_less()
    {
        var (scene, surface, request) = Plate(0.7);
        var before = LoadSolver.Solve(request.Enlarged, default);
        var overloaded = Assert.Single(StrutSizing.Overloaded(request, before, null).Select(o => o.Segment / 2).Distinct()); // a pillar and its tip
        Assert.Equal(0, overloaded);
        var result = HelperStruts.Add(scene, surface, request, Sizes, 10, Grid, default);
        Assert.True(result.OverBefore > 0);
        Assert.True(result.OverAfter < result.OverBefore, $"{result.OverBefore} before, {result.OverAfter} after");
        Assert.NotEmpty(result.Grown);
        var contact = request.Enlarged.Struts.Segments[1].Contact!.Value;
        foreach (var g in result.Grown)
        {
            Assert.Equal(30, g.Spot.At.Z, 6); // on the plate's underside
            Assert.InRange(g.Spot.At.DistanceTo(contact), 2 * Sizes.ShaftRadius, 20);
            Assert.NotEqual(EndHeldBy.Figure, g.HeldBy);
            Assert.All(g.Segments, i => Assert.True(result.Graph.Segments[i].Added));
        }
        // The old struts are as they were, and the one in trouble bears less of the same load.
        for (var i = 0; i < request.Enlarged.Struts.Segments.Count; i++) Assert.Equal(request.Enlarged.Struts.Segments[i], result.Graph.Segments[i]);
        var after = LoadSolver.Solve(request.Enlarged with { Struts = result.Graph }, default);
        Assert.True(after.Segments[1].PullN < before.Segments[1].PullN);
        Assert.Equal(before.Layers[^1].Separation, after.Layers[^1].Separation, 9);
        Assert.Equal(after.Layers[^1].Separation + after.Layers[^1].Weight, after.Layers[^1].Reaction, 1e-4 * after.Layers[^1].Separation);
    }

    [Fact]
    public void A_strut_a_little_over_its_rule_is_made_as_much_thicker_as_its_load_asks_and_no_other_is_touched()
    {
        // The first tip that is over the rule, thinner and thinner.
        var thin = 2.0;
        var (scene, _, request) = Plate(thin);
        IReadOnlyList<OverloadedStrut> over = [];
        while (over.Count == 0)
        {
            thin -= 0.04;
            (scene, _, request) = Plate(thin);
            over = StrutSizing.Overloaded(request, LoadSolver.Solve(request.Enlarged, default), null);
        }
        Assert.InRange(over[0].Over, 1, 1.3);
        var result = StouterStruts.Thicken(scene, request, 1.35, Grid, default);
        Assert.Equal((over.Count, 0), (result.OverBefore, result.OverAfter));
        Assert.InRange(result.Most, 1, 1.35);
        Assert.All(result.Thicker, i => Assert.True(i < 2, $"segment {i} is no part of the strut in trouble"));
        var after = LoadSolver.Solve(request.Enlarged with { Struts = result.Graph }, default);
        Assert.All(after.Segments, l => Assert.True(l.Use * Safety <= 1 + 2e-3, $"segment {l.Segment} is used to {l.Use * Safety:0.000} of the rule"));
        // Not much thicker than strength asks: a bent bar grows by the cube root, a pulled one by the square root.
        Assert.True(result.Most <= 1.05 * Math.Sqrt(over[0].Over) + 0.02, $"{result.Most:0.000} times for an overload of {over[0].Over:0.000}");
    }

    [Fact]
    public void What_would_have_to_be_far_thicker_or_is_not_sure_stays_as_plain_enlarging_makes_it()
    {
        var (scene, _, request) = Plate(0.5);
        Assert.Same(request.Enlarged.Struts, StouterStruts.Thicken(scene, request, 1.0001, Grid, default).Graph);
        var unsure = request with { Unsure = request.Enlarged.Struts.Segments.Select(s => s.Id).ToHashSet() };
        var result = StouterStruts.Thicken(scene, unsure, 1.35, Grid, default);
        Assert.Same(request.Enlarged.Struts, result.Graph);
        Assert.Equal(result.OverBefore, result.OverAfter);
    }

    [Theory]
    [InlineData(1.2, 0)] // ends 0.8 mm below the cavity, 0.5 mm thick
    [InlineData(1.7, 1)] // its rim is through
    [InlineData(4.0, 1)]
    public void A_tip_that_comes_through_a_wall_of_2_mm_is_told(double depth, int told)
    {
        var cavity = Primitives.Box(Grid, new Vec3(-10, -7, 32), new Vec3(10, 7, 34)).Turned(); // 2 mm above the plate's underside
        var bench = new LoadsBench(0.1);
        bench.Add(Role.Tip, new Vec3(0, 0, 26), new Vec3(0, 0, 30 + depth), 1, 0.5, EndHeldBy.Strut, EndHeldBy.Figure, [], null, 0);
        var tip = bench.Segments[0] with { Contact = new Vec3(0, 0, 30) };
        var through = TipsInWalls.Find(new StrutGraph([tip], []), [cavity]);
        Assert.Equal(told, through.Count);
        if (told == 1 && depth < 2) Assert.Equal(0.5 - (2 - depth), through[0].ThroughMm, 9);
    }

    [Fact]
    public void A_strut_inside_a_cavity_does_not_come_through_its_wall()
    {
        var cavity = Primitives.Box(Grid, new Vec3(-10, -7, 32), new Vec3(10, 7, 50)).Turned();
        var bench = new LoadsBench(0.1);
        bench.Add(Role.Tip, new Vec3(0, 0, 46), new Vec3(0, 0, 50.3), 1, 0.5, EndHeldBy.Strut, EndHeldBy.Figure, [], null, 0);
        Assert.Empty(TipsInWalls.Find(new StrutGraph([bench.Segments[0] with { Contact = new Vec3(0, 0, 50) }], []), [cavity]));
    }

    [Fact]
    public void A_strut_beside_which_the_figure_leaves_no_room_stays_as_thick_as_it_is()
    {
        // The first pillar that is over the rule, thinner and thinner.
        var thin = 3.0;
        var (scene, _, request) = Plate(Math.Min(2, thin), thin);
        while (StrutSizing.Overloaded(request, LoadSolver.Solve(request.Enlarged, default), null).All(o => o.Segment != 0))
        {
            thin -= 0.05;
            (scene, _, request) = Plate(Math.Min(2, thin), thin);
        }
        Assert.Contains(0, StouterStruts.Thicken(scene, request, 2, Grid, default).Thicker);
        // A wall 0.02 mm beside the pillar in trouble.
        var pillar = request.Enlarged.Struts.Segments[0];
        var wall = Primitives.Box(Grid, new Vec3(pillar.From.X + pillar.RadiusFrom + 0.02, -8, 2), new Vec3(pillar.From.X + pillar.RadiusFrom + 1, -4, 20));
        var hemmed = new GrowthScene(TriangleTree.Build(Mesh.Concat(Grid, [scene.Figure.Mesh, wall])), Mesh.Empty(Grid), scene.Room);
        var result = StouterStruts.Thicken(hemmed, request, 2, Grid, default);
        Assert.DoesNotContain(0, result.Thicker);
    }

    [Fact]
    public void Where_nothing_is_overloaded_or_no_strut_may_be_added_nothing_grows()
    {
        var (scene, surface, request) = Plate(2);
        Assert.Same(request.Enlarged.Struts, HelperStruts.Add(scene, surface, request, Sizes, 10, Grid, default).Graph);
        (scene, surface, request) = Plate(0.7);
        var none = HelperStruts.Add(scene, surface, request, Sizes, 0, Grid, default);
        Assert.Same(request.Enlarged.Struts, none.Graph);
        Assert.Empty(none.Grown);
    }

    [Fact]
    public void A_contact_low_above_the_platform_gets_a_plain_cone_as_stout_as_a_contact()
    {
        // 3 mm above the platform there is no room for foot, pillar and a tip of 4 mm.
        var plate = Primitives.Box(Grid, new Vec3(-30, -20, 4), new Vec3(30, 20, 10));
        var scene = new GrowthScene(TriangleTree.Build(plate), Mesh.Empty(Grid), new Box3(new Vec3(-60, -60, 0), new Vec3(60, 60, 200)));
        var result = StrutGrowth.Grow(scene, StrutGraph.None, [new GrowthSpot(new Vec3(3, 2, 4), new Vec3(0, 0, -1), "test")], Sizes, Grid, default);
        var cone = result.Graph.Segments[Assert.Single(Assert.Single(result.Grown).Segments)];
        Assert.Equal((Role.Tip, EndHeldBy.Platform, EndHeldBy.Figure), (cone.Role, cone.FromHeldBy, cone.ToHeldBy));
        Assert.Equal(0, cone.From.Z);
        Assert.InRange(cone.To.Z, 4 + 1e-6, 4.5);
        Assert.Equal((2 * Sizes.ContactRadius, Sizes.ContactRadius), (cone.RadiusFrom, cone.RadiusTo));
    }
}
