using Stiltwright.Geometry;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Strength;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Tests;

/// <summary>The load solver against statics that fit on a sheet of paper.</summary>
public class LoadsTests
{
    // A disc of 100 mm2 at 20 kPa pulls with 2 N.
    private const double Pull = 2.0;

    [Fact] // Statics: a load over a single strut is all its own.
    public void One_strut_bears_the_whole_pull()
    {
        var bench = new LoadsBench();
        bench.Upright(3, 4, 20, 1);
        var result = LoadSolver.Solve(bench.Scene(bench.OneBody(30, 20, 100, 3, 4)), default);
        Assert.Equal(Pull, result.Segments[0].PullN, 9);
        Assert.Equal(Pull, result.Segments[0].PushN, 9); // approach share 1
        Assert.Equal(Pull / StrutCapacity.Tip(1, 20, 0.5), result.Segments[0].UseOf[(int)LoadCheck.TipPull], 9);
        Assert.Equal(Pull / StrutCapacity.Column(1, 20, 800, 20, 0.7), result.Segments[0].UseOf[(int)LoadCheck.Buckling], 9);
        Assert.Equal(LoadCheck.Buckling, result.Segments[0].Hardest);
        Assert.Equal(21, result.Segments[0].AtLayer);
    }

    [Fact] // Statics: lever rule between two struts.
    public void Two_struts_share_by_the_lever_rule()
    {
        var bench = new LoadsBench();
        bench.Upright(0, 0, 20, 1);
        bench.Upright(10, 0, 20, 1);
        var result = LoadSolver.Solve(bench.Scene(bench.OneBody(30, 20, 100, 3, 0)), default);
        Assert.Equal(0.7 * Pull, result.Segments[0].PullN, 6);
        Assert.Equal(0.3 * Pull, result.Segments[1].PullN, 6);
        Assert.Contains(result.Remarks, r => r.Kind == LoadRemarkKind.BodyCanTurn); // about the line through both
    }

    [Fact] // Physics table 3.5: 8 N at 5 mm off the middle of four struts at (+-10, +-10) gives 3 N and 1 N.
    public void Four_struts_under_an_off_centre_load_bear_three_and_one()
    {
        var bench = new LoadsBench();
        foreach (var (x, y) in new[] { (10, 10), (10, -10), (-10, 10), (-10, -10) }) bench.Upright(x, y, 20, 1);
        var result = LoadSolver.Solve(bench.Scene(bench.OneBody(30, 20, 400, 5, 0)), default);
        Assert.Equal([3.0, 3.0, 1.0, 1.0], result.Segments.Select(s => Math.Round(s.PullN, 6)));
        Assert.DoesNotContain(result.Remarks, r => r.Kind == LoadRemarkKind.BodyCanTurn);
        Assert.Equal(8, result.Layers[25].Reaction, 6);
    }

    [Fact] // The same table: the pull may lie off the centroid by a tenth of the width, to any side.
    public void A_pull_off_centre_to_any_side_adds_its_lever()
    {
        var bench = new LoadsBench();
        foreach (var (x, y) in new[] { (10, 10), (10, -10), (-10, 10), (-10, -10) }) bench.Upright(x, y, 20, 1);
        var result = LoadSolver.Solve(bench.Scene(bench.OneBody(30, 20, 400, 0, 0), offCentre: 0.1), default);
        // e = 0.1 * 2 R = 2.2568 mm; worst towards a corner: F/4 + F e sqrt(2) 10/(4 * 100).
        var e = 0.2 * Math.Sqrt(400 / Math.PI);
        Assert.All(result.Segments, s => Assert.Equal(2 + 8 * e * Math.Sqrt(2) / 40, s.PullN, 6));
    }

    [Fact] // Springs side by side (Hooke): shares go with E A/L.
    public void A_thicker_strut_takes_more_of_the_pull()
    {
        var bench = new LoadsBench();
        bench.Upright(10, 0, 20, 1);
        bench.Upright(-5, 8.660254037844386, 20, 1);
        bench.Upright(-5, -8.660254037844386, 20, 1);
        bench.Upright(0, 0, 20, 2);
        var result = LoadSolver.Solve(bench.Scene(bench.OneBody(30, 20, 100, 0, 0)), default);
        Assert.Equal(Pull * 4 / 7, result.Segments[3].PullN, 6);
        Assert.Equal(Pull / 7, result.Segments[0].PullN, 6);
    }

    [Fact] // Springs in series (Hooke; a cone's 1/A integrates to L/(pi r R)).
    public void Shaft_and_tapered_tip_give_way_in_series()
    {
        var bench = new LoadsBench();
        bench.WithTip(10, 0, 20, 2, 0.4, 4);
        bench.Upright(-5, 8.660254037844386, 20, 1);
        bench.Upright(-5, -8.660254037844386, 20, 1);
        var result = LoadSolver.Solve(bench.Scene(bench.OneBody(30, 20, 100, 0, 0)), default);
        // Three struts at equal angles under a central pull share it equally whatever their stiffness.
        Assert.Equal(Pull / 3, result.Segments[1].PullN, 6);
        // Two more on the axis of symmetry make the share depend on stiffness.
        bench.Upright(10, 0.0001, 20, 1);
        result = LoadSolver.Solve(bench.Scene(bench.OneBody(30, 20, 100, 0, 0)), default);
        double soft = 1 / (16 / (Math.PI * 1) + 4 / (Math.PI * 1 * 0.2)), plain = Math.PI * 0.25 / 20;
        Assert.Equal(Pull / 3 * soft / (soft + plain), result.Segments[1].PullN, 3);
    }

    [Fact] // Statics: a leaning strut held sideways by others bears F/cos b (physics table 3.5: 30 degrees, 1.1547).
    public void Leaning_struts_that_hold_each_other_bear_F_over_cosine()
    {
        var bench = new LoadsBench();
        for (var i = 0; i < 3; i++)
        {
            var a = 2 * Math.PI * i / 3;
            var (s, c) = Math.SinCos(a);
            var out30 = 10 + 20 * Math.Tan(Math.PI / 6);
            // Long and thin, so that bending carries next to nothing of it.
            bench.Add(Role.Pillar, new Vec3(out30 * c, out30 * s, 0), new Vec3(10 * c, 10 * s, 20), 0.05, 0.05, EndHeldBy.Raft, EndHeldBy.Figure);
        }
        var result = LoadSolver.Solve(bench.Scene(bench.OneBody(30, 20, 100, 0, 0)), default);
        Assert.All(result.Segments, g => Assert.Equal(LoadSharing.Leaning(Pull / 3, Math.PI / 6), g.PullN, 4));
    }

    [Fact] // Statics: two contacts share by the lever rule, whatever braces do below.
    public void A_brace_bears_load_but_leaves_the_lever_rule_at_the_contacts()
    {
        var bench = new LoadsBench();
        var a = bench.Upright(0, 0, 20, 4);
        var b = bench.Upright(10, 0, 20, 4);
        bench.Brace(a, new Vec3(0, 0, 2), b, new Vec3(10, 0, 12), 1);
        var scene = bench.Scene(bench.OneBody(30, 20, 100, 0, 0));
        var result = LoadSolver.Solve(scene, default);
        Assert.Equal(Pull, result.Layers[25].Reaction, 6);
        Assert.True(result.Segments[2].PullN + result.Segments[2].PushN > 0);
        // Both tops keep their shares by the lever rule: the body, not the brace, decides them.
        Assert.Equal(Pull, result.Contacts[0].PullN, 4);
        Assert.Equal(0, result.Contacts[1].PullN, 4);
    }

    [Fact]
    public void Braces_shorten_the_free_length()
    {
        LoadsBench Pair(bool braced)
        {
            var bench = new LoadsBench();
            var a = bench.Upright(0, 0, 40, 1);
            var b = bench.Upright(10, 0, 40, 1);
            var c = bench.Upright(0, 10, 40, 1);
            if (braced) foreach (var z in new[] { 10.0, 20, 30 })
            {
                bench.Brace(a, new Vec3(0, 0, z - 5), b, new Vec3(10, 0, z), 0.8);
                bench.Brace(b, new Vec3(10, 0, z - 5), c, new Vec3(0, 10, z), 0.8);
                bench.Brace(c, new Vec3(0, 10, z - 5), a, new Vec3(0, 0, z), 0.8);
            }
            return bench;
        }
        LoadResult Solved(LoadsBench b) => LoadSolver.Solve(b.Scene(b.OneBody(50, 40, 30, 3.3, 3.3)), default);
        var free = Solved(Pair(false)).Segments[0];
        var held = Solved(Pair(true)).Segments[0];
        Assert.Equal(StrutCapacity.Slenderness(1, 40, 0.7), free.Slenderness, 6);
        Assert.Equal(StrutCapacity.Slenderness(1, 10, 1), held.Slenderness, 6); // from the last brace to the figure
        Assert.True(held.UseOf[(int)LoadCheck.Buckling] < free.UseOf[(int)LoadCheck.Buckling] / 3);
    }

    [Fact] // Weight: rho V g, the physics table's 5.7859 N for 500 cm3.
    public void What_hangs_weighs_on_the_struts()
    {
        var bench = new LoadsBench();
        foreach (var (x, y) in new[] { (30, 30), (30, -30), (-30, 30), (-30, -30) }) bench.Upright(x, y, 20, 3);
        var result = LoadSolver.Solve(bench.Scene(bench.OneBody(70, 20, 10_000, 0, 0), LoadsBench.Resin), default);
        Assert.Equal(5.78592, result.Layers[^1].Weight, 4);
        Assert.Equal(200 + 5.78592, result.Layers[^1].Reaction, 4);
        Assert.Equal((200 + 5.78592) / 4, result.Segments[0].PullN, 4);
    }

    [Fact]
    public void A_body_on_the_raft_loads_no_strut()
    {
        var bench = new LoadsBench();
        bench.Upright(0, 0, 20, 1);
        var result = LoadSolver.Solve(bench.Scene(bench.OneBody(30, 0, 100, 0, 0)), default);
        Assert.Equal(0, result.Segments[0].PullN);
        Assert.Equal(0, result.Layers[25].Separation);
    }

    [Fact]
    public void A_floating_body_is_named_and_loads_nobody()
    {
        var bench = new LoadsBench();
        bench.Upright(0, 0, 10, 1);
        var region = new FigureRegion(0, 100, 35.449, 0, 0, -5.6, 5.6, -5.6, 5.6);
        var island = region with { Body = 1, X = 40, MinX = 34, MaxX = 46 };
        IReadOnlyList<FigureRegion>[] layers = [.. Enumerable.Range(0, 30).Select(k => (FigureRegion[])(k < 10 ? [] : k < 20 ? [region] : [region, island]))];
        var figure = new FigureLayers(1, layers, [new(10, int.MaxValue, -1), new(20, int.MaxValue, -1)], null, _ => -1);
        var result = LoadSolver.Solve(bench.Scene(figure), default);
        var remark = Assert.Single(result.Remarks, r => r.Kind == LoadRemarkKind.BodyNotHeld);
        Assert.Equal((1, 21, 30), (remark.Body, remark.FirstLayer, remark.LastLayer));
        Assert.Equal(2, remark.Amount, 3);
        Assert.Equal(2, result.Segments[0].PullN, 3);
    }

    [Fact]
    public void Two_bodies_share_their_struts_once_they_have_grown_together()
    {
        var bench = new LoadsBench();
        bench.Upright(0, 0, 10, 1);
        bench.Upright(20, 0, 10, 1);
        FigureRegion Disc(int body, double area, double x) => new(body, area, 2 * Math.Sqrt(Math.PI * area), x, 0, x - 1, x + 1, -1, 1);
        IReadOnlyList<FigureRegion>[] layers = [.. Enumerable.Range(0, 30).Select(k => (FigureRegion[])(
            k < 10 ? [] : k < 20 ? [Disc(0, 100, 0), Disc(1, 50, 20)] : [Disc(0, 400, 5)]))];
        var figure = new FigureLayers(1, layers, [new(10, int.MaxValue, -1), new(10, 20, 0)], null, p => p.X < 10 ? 0 : 1);
        var result = LoadSolver.Solve(bench.Scene(figure), default);
        Assert.Equal(6, result.Segments[0].PullN, 6); // 8 N at a quarter of the way
        Assert.Equal(2, result.Segments[1].PullN, 6);
        Assert.Equal(3, result.Layers[15].Reaction, 6);
        Assert.Equal(8, result.Layers[25].Reaction, 6);
    }

    [Fact] // A strut that stands on the figure leads its load on to those below.
    public void A_strut_on_the_figure_hands_its_load_down()
    {
        var bench = new LoadsBench();
        bench.Upright(0, 0, 10, 2);
        bench.Upright(20, 0, 10, 2);
        bench.Upright(0, 20, 10, 2);
        bench.Add(Role.Pillar, new Vec3(5, 5, 13), new Vec3(5, 5, 20), 0.5, 0.5, EndHeldBy.Figure, EndHeldBy.Figure);
        FigureRegion Disc(int body, double area, double x, double y) => new(body, area, 2 * Math.Sqrt(Math.PI * area), x, y, x - 1, x + 1, y - 1, y + 1);
        IReadOnlyList<FigureRegion>[] layers = [.. Enumerable.Range(0, 26).Select(k => (FigureRegion[])(
            k < 10 ? [] : k < 13 ? [Disc(0, 10, 5, 5)] : k < 20 ? [] : [Disc(1, 100, 5, 5)]))];
        var figure = new FigureLayers(1, layers, [new(10, int.MaxValue, -1), new(20, int.MaxValue, -1)], null, p => p.Z < 15 ? 0 : 1);
        var result = LoadSolver.Solve(bench.Scene(figure), default);
        Assert.Equal(2, result.Segments[3].PullN, 6);
        Assert.Equal(2, result.Layers[22].Reaction, 6);
        Assert.Equal([1.0, 0.5, 0.5], result.Segments.Take(3).Select(s => Math.Round(s.PullN, 5)));
    }

    [Fact] // Physics table 2.5: a cup of R 15 mm at 50 kPa pulls 35.343 N; with a 3 mm hole 401.8 Pa.
    public void A_hole_takes_the_suction_out_of_a_cup()
    {
        var bench = new LoadsBench();
        for (var i = 0; i < 3; i++) bench.Upright(16 * Math.Cos(2 * Math.PI * i / 3), 16 * Math.Sin(2 * Math.PI * i / 3), 20, 2);
        var ring = Math.PI * (289 - 225);
        var regions = LoadsBench.Discs(30, 20, ring, 0, 0).Select(l => (IReadOnlyList<FigureRegion>)[.. l.Select(r => r with { MinX = -17, MaxX = 17, MinY = -17, MaxY = 17 })]).ToList();
        var cup = new FigureCup(0, Math.PI * 225, 0, 0, false, 0);
        IReadOnlyList<FigureCup>[] cups = [.. Enumerable.Range(0, 30).Select(k => (FigureCup[])(k >= 25 ? [cup] : []))];
        var figure = new FigureLayers(1, regions, [new(20, int.MaxValue, -1)], cups, _ => -1);
        var scene = bench.Scene(figure);
        var shut = LoadSolver.Solve(scene, default);
        var open = LoadSolver.Solve(scene with { Vents = [new CupVent(new Box3(new(-15, -15, 22), new(15, 15, 40)), new(17, 0, 23), 3, 2)] }, default);
        Assert.Equal(35.3429, shut.Layers[27].Cups, 3);
        Assert.Equal(401.829e-6 * Math.PI * 225, open.Layers[27].Cups, 5);
        Assert.True(shut.Contacts.All(c => c.UnventedCup) && open.Contacts.All(c => !c.UnventedCup));
        Assert.Equal(shut.Layers[27].Separation + 35.3429, shut.Layers[27].Reaction, 3);
    }

    [Theory] // Roark: a free cantilever's column factor is 2. Its newest layer pushes it with its share of the pull, or, where that is less, as hard as stiff plates would squeeze a disc (check value 4: 3 pi eta R^4 v/(2 h^3)).
    [InlineData(0.02, false)]
    [InlineData(0.05, true)]
    public void A_pillar_that_is_not_joined_yet_stands_free(double layerMm, bool squeezed)
    {
        var bench = new LoadsBench(layerMm);
        bench.Upright(0, 0, 60, 1);
        var layers = (int)(60 / layerMm);
        var result = LoadSolver.Solve(bench.Scene(bench.OneBody(layers + 10, layers, 1, 0, 0)), default);
        double own = 0.020 * Math.PI / 4, squeeze = 1e-6 * 3 * Math.PI * 0.3 * Math.Pow(0.5, 4) * LoadsBench.Printer.RetractSpeedMmS / (2 * Math.Pow(layerMm, 3));
        Assert.Equal(squeezed, squeeze < own);
        Assert.Equal(Math.Min(own, squeeze) / StrutCapacity.Euler(1, 60, 800, 2), result.Segments[0].UseOf[(int)LoadCheck.StandingFree], 9);
        Assert.Equal(layers, result.Segments[0].LayerOf[(int)LoadCheck.StandingFree], 1.0);
    }

    [Fact]
    public void A_contact_in_the_air_and_a_strut_on_nothing_are_named()
    {
        var bench = new LoadsBench();
        bench.Upright(0, 0, 20, 1);
        bench.Upright(90, 90, 20, 1);
        bench.Add(Role.Pillar, new Vec3(2, 0, 5), new Vec3(2, 0, 20), 0.5, 0.5, EndHeldBy.Nothing, EndHeldBy.Strut);
        bench.Brace(0, new Vec3(0, 0, 5), 0, new Vec3(0, 0, 5.01), 0.5);
        var result = LoadSolver.Solve(bench.Scene(bench.OneBody(30, 20, 100, 0, 0)), default);
        Assert.Equal(1, Assert.Single(result.Remarks, r => r.Kind == LoadRemarkKind.ContactMissesFigure).Segment);
        Assert.Equal(2, Assert.Single(result.Remarks, r => r.Kind == LoadRemarkKind.StrutStandsOnNothing).Segment);
        Assert.Equal(3, Assert.Single(result.Remarks, r => r.Kind == LoadRemarkKind.BraceLoose).Segment);
        Assert.Equal(0, result.Segments[1].PullN);
    }

    [Fact] // A strut whose foot was cut away with another piece begins in mid-air: it holds nothing and is not judged as if it did.
    public void A_strut_that_hangs_below_its_contact_stands_on_nothing()
    {
        var bench = new LoadsBench();
        for (var i = 0; i < 3; i++) bench.WithTip(10 * (i % 2), 10 * (i / 2), 40, 4, 1, 2);
        var loose = bench.Add(Role.Pillar, new Vec3(20, 20, 12), new Vec3(5, 5, 38), 1.5, 1.5, EndHeldBy.Nothing, EndHeldBy.Strut, null, [7], 9);
        bench.Add(Role.Tip, new Vec3(5, 5, 38), new Vec3(4, 4, 40), 1.5, 0.4, EndHeldBy.Strut, EndHeldBy.Figure, [loose], null, 9);
        var result = LoadSolver.Solve(bench.Scene(bench.OneBody(60, 38, 10, 5, 5)), default);
        Assert.Equal(2, result.Remarks.Count(r => r.Kind == LoadRemarkKind.StrutStandsOnNothing));
        Assert.Equal(3, result.Contacts.Count);
        Assert.Equal(0, result.Segments[7].Use);
    }
}
