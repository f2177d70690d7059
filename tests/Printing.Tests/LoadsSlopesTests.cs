using CsCheck;
using Stiltwright.Geometry;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Tests;

/// <summary>Slopes of uses against plain central differences of the solver itself (numerical analysis, any textbook).</summary>
public class LoadsSlopesTests
{
    private const double Nudge = 1e-4;

    /// <summary>
    /// Slopes leave twist out and take a taper at three places; they choose the direction of a step, never what is kept. So in a
    /// few scenes one is far off, but nearly all are right.
    /// </summary>
    [Fact]
    public void Slopes_by_virtual_work_are_those_of_small_changes()
    {
        var errors = new List<(double OfUse, string What)>();
        LoadsSizingTests.Scenes.Sample(t =>
    {
        var scene = t.Scene;
        var trace = new LoadTrace();
        var solved = LoadSolver.Solve(scene, null, trace, default);
        var n = scene.Struts.Segments.Count;
        var slopes = new double[2 * n];
        foreach (var check in (LoadCheck[])[LoadCheck.TipPull, LoadCheck.ShaftPull, LoadCheck.Buckling])
        {
            var hardest = solved.Segments.MaxBy(s => s.UseOf[(int)check]);
            if (hardest is null || !(hardest.UseOf[(int)check] > 1e-6)) continue;
            var asked = new UseSlopes(scene, trace).Of(hardest.Segment, check, trace.Hardest[hardest.Segment, (int)check], hardest.UseOf[(int)check], hardest.Slenderness, slopes);
            Assert.Equal(hardest.UseOf[(int)check], asked, 1e-6 * asked);
            var only = new bool[scene.Figure.Count];
            only[hardest.LayerOf[(int)check] - 1] = true;
            double Use(int segment, double factor)
            {
                StrutSegment[] nudged = [.. scene.Struts.Segments.Select(g => g.Id == segment ? g with { RadiusFrom = g.RadiusFrom * factor, RadiusTo = g.RadiusTo * factor } : g)];
                return LoadSolver.Solve(scene with { Struts = new StrutGraph(nudged, []) }, only, null, default).Segments[hardest.Segment].UseOf[(int)check];
            }
            for (var i = 0; i < n; i++)
            {
                double up = Use(i, 1 + Nudge), down = Use(i, 1 - Nudge), use = hardest.UseOf[(int)check];
                if (Math.Abs(up + down - 2 * use) > 0.02 * Math.Abs(up - down) + 1e-9) continue; // another element or case takes over within the nudge
                var error = Math.Abs((up - down) / (2 * Nudge) - slopes[2 * i] - slopes[2 * i + 1]) / use;
                lock (errors) errors.Add((error, $"{check} of segment {hardest.Segment} ({scene.Struts.Segments[hardest.Segment].Role}), use {use:0.00000}, by segment {i} ({scene.Struts.Segments[i].Role}): {slopes[2 * i] + slopes[2 * i + 1]:0.00000}, by difference {(up - down) / (2 * Nudge):0.00000}"));
            }
        }
    }, iter: 40, threads: 2);
        Assert.True(errors.Count > 100, $"only {errors.Count} slopes were compared");
        errors.Sort();
        Assert.True(errors[(int)(0.95 * errors.Count)].OfUse < 0.05, $"of {errors.Count} slopes one in twenty misses by more than {errors[(int)(0.95 * errors.Count)].OfUse:P1} of the use; the worst: {errors[^1].What}");
        Assert.True(errors[errors.Count / 2].OfUse < 1e-3, $"half of the slopes miss by more than {errors[errors.Count / 2].OfUse:P2} of the use");
    }

    /// <summary>Many struts under a plate, one of them with hardly any reserve: the others bear so much that they can be far thinner.</summary>
    [Fact]
    public void A_strut_without_reserve_does_not_keep_its_neighbours_thick()
    {
        var bench = new LoadsBench(0.5);
        for (var i = 0; i < 30; i++) bench.WithTip(8 * (i % 6), 8 * (i / 6), 20, 3, i == 0 ? 0.547 : 1.6, 2);
        var figure = new FigureLayers(0.5, LoadsBench.Discs(92, 24, 1200, 20, 16), [new FigureBody(24, int.MaxValue, -1)], null, _ => 0);
        var request = new SizingRequest { Enlarged = bench.Scene(figure, LoadsBench.Resin, 0.1), Rule = SizingRule.Absolute };
        var result = StrutSizing.Size(request, default);
        Assert.InRange(result.AsEnlarged.Segments[1].Use * request.Safety, 0.93, 1.0);
        Assert.True(result.AsSized.Segments[1].Use * request.Safety <= 1.002);
        double before = 0, after = 0;
        foreach (var s in result.Segments)
        {
            var g = request.Enlarged.Struts.Segments[s.Segment];
            before += g.Length * (g.RadiusFrom * g.RadiusFrom + g.RadiusFrom * g.RadiusTo + g.RadiusTo * g.RadiusTo);
            after += g.Length * (s.RadiusFrom * s.RadiusFrom + s.RadiusFrom * s.RadiusTo + s.RadiusTo * s.RadiusTo);
        }
        Assert.True(after < 0.75 * before, $"{after / before:0.00} of the material is left");
    }
}
