using Stiltwright.Geometry;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Strength;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Tests;

/// <summary>Buckling of struts that braces, or their own other branches, hold more or less stiffly.</summary>
public class LoadsBracedColumnTests
{
    private const double Height = 40, Thick = 1;

    private static readonly double E = LoadsBench.Resin.GreenModulusMPa, S = LoadsBench.Resin.GreenStrengthMPa;

    // Three pillars of two halves, tied half-way to three stout ones beside them.
    private static LoadResult Solved(double braceDiameter)
    {
        var bench = new LoadsBench();
        foreach (var (x, y) in new[] { (0.0, 0.0), (20, 0), (0, 20) })
        {
            var pillar = bench.Upright(x, y, Height, Thick);
            foreach (var (dx, dy) in new[] { (8.0, 0.0), (0.0, 8.0) })
            {
                var post = bench.Add(Role.Pillar, new Vec3(x + dx, y + dy, 0), new Vec3(x + dx, y + dy, 30), 3, 3, EndHeldBy.Raft, EndHeldBy.Nothing);
                if (braceDiameter > 0) bench.Brace(post, new Vec3(x + dx, y + dy, 14), pillar, new Vec3(x, y, 20), braceDiameter);
            }
        }
        return LoadSolver.Solve(bench.Scene(bench.OneBody(50, 40, 30, 20.0 / 3, 20.0 / 3)), default);
    }

    [Theory] // A column with an elastic support half-way: P = pi^2 E I/L^2 + 3 b L/16 up to the load of its halves (Timoshenko and Gere, from memory).
    [InlineData(0.02)]
    [InlineData(0.04)]
    public void A_soft_brace_lifts_the_buckling_load_in_proportion_to_its_stiffness(double d)
    {
        double Load(double length, double k) => StrutCapacity.ColumnStress(StrutCapacity.Slenderness(Thick, length, k), E, S) * StrutCapacity.DiscArea(Thick);
        double whole = Load(Height, StrutCapacity.FixedPinned), below = Load(Height / 2, StrutCapacity.FixedPinned), above = Load(Height / 2, StrutCapacity.PinnedPinned);
        // Two braces of 10 mm that rise by 6 mm over 8 mm.
        var stiffness = 2 * E * StrutCapacity.DiscArea(d) / 10 * 0.64;
        double Held(double part) => whole + stiffness / (8 * part / (Height / 2)) * (part - whole);
        var free = Solved(0).Segments[0];
        Assert.Equal(free.PushN / whole, free.UseOf[(int)LoadCheck.Buckling], 1e-9);
        var braced = Solved(d).Segments[0];
        Assert.True(stiffness < 8 * above / (Height / 2)); // soft, by twice Winter's 4 P/L_b
        Assert.Equal(braced.PushN / Math.Min(Held(below), Held(above)), braced.UseOf[(int)LoadCheck.Buckling], 1e-6);
    }

    [Fact] // The ideal support 16 pi^2 E I/L^3 gives four times the load of the whole; Winter's 4 P/L_b is that of many equal spans, twice as much, and the solver asks for twice that.
    public void Full_support_asks_for_four_times_what_one_ideal_support_needs()
    {
        double inertia = Beams.RoundInertia(Thick), whole = Math.PI * Math.PI * E * inertia / (Height * Height);
        Assert.Equal(4 * 16 * Math.PI * Math.PI * E * inertia / Math.Pow(Height, 3), Beams.BraceStiffnessNeeded(4 * whole, Height / 2), 1e-9);
    }

    [Fact]
    public void Ever_softer_braces_hold_a_pillar_ever_less_and_nothing_jumps()
    {
        var index = (int)LoadCheck.Buckling;
        double free = Solved(0).Segments[0].UseOf[index], last = double.NaN, first = double.NaN;
        for (var d = 0.8; d > 0.004; d *= 0.97)
        {
            var use = Solved(d).Segments[0].UseOf[index];
            if (double.IsNaN(first)) first = use;
            if (!double.IsNaN(last)) Assert.InRange(use / last, 0.995, 1.09);
            last = use;
        }
        Assert.True(first < 0.55 * free, $"{first:0.000} with stout braces, {free:0.000} without");
        Assert.InRange(last / free, 0.95, 1.001); // a thread holds nothing
        Assert.True(Solved(0.8).Segments[0].Slenderness < 0.8 * Solved(0).Segments[0].Slenderness);
    }

    // A trunk with branches to the figure, and two more struts that hold the figure if wanted.
    private static (LoadResult Loads, double Trunk) Forked(bool others, params (double X, double Y)[] tops)
    {
        var bench = new LoadsBench();
        var trunk = bench.Add(Role.Pillar, Vec3.Zero, new Vec3(0, 0, 20), 1, 1, EndHeldBy.Raft, EndHeldBy.Strut, null, [.. Enumerable.Range(1, tops.Length)], 0);
        foreach (var (x, y) in tops)
            bench.Add(Role.Tip, new Vec3(0, 0, 20), new Vec3(x, y, 40), 0.35, 0.3, EndHeldBy.Strut, EndHeldBy.Figure, [trunk], null, 0);
        if (others)
        {
            bench.Upright(30, 10, 40, 2);
            bench.Upright(-30, -10, 40, 2);
        }
        return (LoadSolver.Solve(bench.Scene(bench.OneBody(50, 40, 30, 0, 0)), default), StrutCapacity.ColumnStress(StrutCapacity.Slenderness(2, 20, StrutCapacity.FixedPinned), E, S) * StrutCapacity.DiscArea(2));
    }

    [Fact]
    public void Three_branches_hold_the_fork_of_a_strut_and_the_trunk_is_a_column_by_itself()
    {
        var (result, alone) = Forked(true, (10, 0), (-5, 8.660254), (-5, -8.660254));
        var (trunk, branch) = (result.Segments[0], result.Segments[1]);
        Assert.True(branch.PushN < 0.6 * trunk.PushN);
        // All branches' push on the held trunk, or one branch's push on trunk and branch as one column; never all of it on the latter.
        Assert.InRange(trunk.UseOf[(int)LoadCheck.Buckling], trunk.PushN / alone * 0.999, Math.Max(trunk.PushN / alone, branch.UseOf[(int)LoadCheck.Buckling]) * 1.001);
    }

    [Theory]
    [InlineData(true, 10, 0, -10, 0)] // in one plane: nothing holds the fork across it
    [InlineData(false, 10, 0, -5, 8.660254)] // the figure hangs on this strut alone and sways with it
    public void Branches_that_cannot_hold_a_fork_leave_it_free(bool others, double x1, double y1, double x2, double y2)
    {
        (double, double)[] tops = others ? [(x1, y1), (x2, y2)] : [(x1, y1), (x2, y2), (-5, -8.660254)];
        var (result, alone) = Forked(others, tops);
        var trunk = result.Segments[0];
        Assert.True(trunk.UseOf[(int)LoadCheck.Buckling] > 1.5 * trunk.PushN / alone, $"use {trunk.UseOf[(int)LoadCheck.Buckling]:0.0000}, as a column by itself {trunk.PushN / alone:0.0000}");
    }

    [Fact]
    public void Layers_looked_at_in_two_parts_give_what_all_give_together()
    {
        foreach (var scene in Scenes())
        {
            var n = scene.Figure.Count;
            LoadResult Part(int from, int to) => LoadSolver.Solve(scene, [.. Enumerable.Range(0, n).Select(k => k >= from && k < to)], null, default);
            LoadResult all = LoadSolver.Solve(scene, default), low = Part(0, n / 3), high = Part(n / 3, n);
            foreach (var s in all.Segments)
                for (var c = 1; c < s.UseOf.Length; c++)
                {
                    double a = low.Segments[s.Segment].UseOf[c], b = high.Segments[s.Segment].UseOf[c];
                    // Columns lean on the push of no other layer, so the worst of two parts is the worst of all.
                    Assert.Equal(Math.Max(a, b), s.UseOf[c]);
                }
            foreach (var (one, i) in all.Contacts.Select((c, i) => (c, i)))
                Assert.Equal(Math.Max(low.Contacts[i].PullN, high.Contacts[i].PullN), one.PullN);
            for (var k = 0; k < n; k++) Assert.Equal(k < n / 3 ? low.Layers[k] : high.Layers[k], all.Layers[k]);
            // A part that hangs free over the border is one remark, from its first layer to its last.
            var free = Assert.Single(all.Remarks, r => r.Kind == LoadRemarkKind.BodyNotHeld && r.Body == 1);
            Assert.Equal((1, 251, 500), (free.Body, free.FirstLayer, free.LastLayer));
            var parts = low.Remarks.Concat(high.Remarks).Where(r => r.Kind == LoadRemarkKind.BodyNotHeld && r.Body == 1).ToList();
            Assert.Equal((2, parts.Max(r => r.Amount), parts[0].At), (parts.Count, free.Amount, free.At));
        }
    }

    // Forty struts, braced or not, under a plate, with a lump beside it that hangs free until it joins: enough layers for two passes.
    private static IEnumerable<LoadScene> Scenes()
    {
        foreach (var braced in new[] { false, true })
        {
            var bench = new LoadsBench(0.1);
            for (var i = 0; i < 40; i++) bench.WithTip(6 * (i % 8), 6 * (i / 8), 20 + 2 * (i % 8), 2, 0.8, 2);
            for (var i = 0; i < 39 && braced; i++)
                if (i % 8 != 7) bench.Brace(2 * i, new Vec3(6 * (i % 8), 6 * (i / 8), 5), 2 * i + 2, new Vec3(6 * (i % 8) + 6, 6 * (i / 8), 11), 0.8);
            var plate = LoadsBench.Discs(900, 198, 400, 21, 12);
            var lump = LoadsBench.Discs(900, 250, 30, 80, 12);
            IReadOnlyList<FigureRegion>[] layers = [.. Enumerable.Range(0, 900).Select(k => (IReadOnlyList<FigureRegion>)[.. plate[k], .. lump[k].Select(r => r with { Body = 1 })])];
            yield return bench.Scene(new FigureLayers(0.1, layers, [new FigureBody(198, int.MaxValue, -1), new FigureBody(250, 500, 0)], null, _ => 0), LoadsBench.Resin, 0.1);
        }
    }
}
