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

    [Fact] // A column with an elastic support half-way: P = pi^2 E I/L^2 + 3 b L/16 up to the load of its halves (Timoshenko and Gere, from memory).
    public void A_soft_brace_lifts_the_buckling_load_as_the_textbook_says()
    {
        // The ideal support, 16 pi^2 E I/L^3, gives four times the load of the whole. Winter's 4 P/L_b is that of many equal spans, twice
        // what a single support needs, and the solver asks for twice that.
        double inertia = Beams.RoundInertia(Thick), whole = Math.PI * Math.PI * E * inertia / (Height * Height);
        double ideal = 16 * Math.PI * Math.PI * E * inertia / Math.Pow(Height, 3);
        Assert.Equal(4 * whole, whole + 3 * ideal * Height / 16, 1e-9 * whole);
        Assert.Equal(4 * ideal, Beams.BraceStiffnessNeeded(4 * whole, Height / 2), 1e-9 * ideal);
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

    [Fact]
    public void The_branches_of_a_strut_hold_its_fork_and_the_trunk_is_a_column_by_itself()
    {
        // A trunk with three thin branches to the figure: as one column, trunk and branch would be ten times too slender for what all three bring down.
        var bench = new LoadsBench();
        var trunk = bench.Add(Role.Pillar, Vec3.Zero, new Vec3(0, 0, 20), 1, 1, EndHeldBy.Raft, EndHeldBy.Strut, null, [1, 2, 3], 0);
        foreach (var (x, y) in new[] { (10.0, 0.0), (-5, 8.660254), (-5, -8.660254) })
            bench.Add(Role.Tip, new Vec3(0, 0, 20), new Vec3(x, y, 40), 0.35, 0.3, EndHeldBy.Strut, EndHeldBy.Figure, [trunk], null, 0);
        var result = LoadSolver.Solve(bench.Scene(bench.OneBody(50, 40, 30, 0, 0)), default);
        var (t, branch) = (result.Segments[trunk], result.Segments[1]);
        var trunkAlone = StrutCapacity.ColumnStress(StrutCapacity.Slenderness(2, 20, StrutCapacity.FixedPinned), E, S) * StrutCapacity.DiscArea(2);
        var use = t.UseOf[(int)LoadCheck.Buckling];
        // Either all three branches' push on the held trunk, or one branch's push on trunk and branch as one column: never all three on the latter.
        Assert.InRange(use, t.PushN / trunkAlone * 0.999, Math.Max(t.PushN / trunkAlone, branch.UseOf[(int)LoadCheck.Buckling] + 1e-9) * 1.001);
        Assert.True(branch.PushN < 0.5 * t.PushN);
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
        }
    }

    // Forty braced struts under plates that begin one after the other and join: enough layers for two passes.
    private static IEnumerable<LoadScene> Scenes()
    {
        foreach (var braced in new[] { false, true })
        {
            var bench = new LoadsBench(0.1);
            for (var i = 0; i < 40; i++) bench.WithTip(6 * (i % 8), 6 * (i / 8), 20 + 2 * (i % 8), 2, 0.8, 2);
            for (var i = 0; i < 39 && braced; i++)
                if (i % 8 != 7) bench.Brace(2 * i, new Vec3(6 * (i % 8), 6 * (i / 8), 5), 2 * i + 2, new Vec3(6 * (i % 8) + 6, 6 * (i / 8), 11), 0.8);
            yield return bench.Scene(new FigureLayers(0.1, LoadsBench.Discs(900, 198, 400, 21, 12), [new FigureBody(198, int.MaxValue, -1)], null, _ => 0), LoadsBench.Resin, 0.1);
        }
    }
}
