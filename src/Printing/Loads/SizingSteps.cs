using Stiltwright.Printing.Strength;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Loads;

/// <content>Walking towards the least material at which every limit holds.</content>
internal sealed partial class SizingRun
{
    private const double Hot = 0.9; // share of its limit from which on a use is looked at in every step
    private const int HardestAsked = 150; // limits that a step looks at by their slopes
    private const double Near = 0.6; // share of its limit from which a use is looked at
    private const double Aim = 0.998, AimBack = 0.99; // share of a limit that a step aims at; on the way back to the limits
    private const double Reach = 0.25, ReachBack = 0.12; // of a step, in the logarithm of a size; on the way back
    private const int Sweeps = 20;
    private const double MostPrice = 1e12; // of a limit that no step can keep

    private readonly HashSet<(int Segment, int Check)> _hot = [];

    private readonly Dictionary<(int Segment, int Check), double> _margin = []; // a limit that a step missed is aimed at from farther away

    private const int MostBefore = 3; // layers of one limit that are remembered
    private readonly Dictionary<(int Segment, int Check), List<HardestAt>> _before = [];

    // How far the logarithm of a use may rise, and its slopes by (the logarithms of) the sizes that it depends on.
    private sealed record Limit(double Room, int[] At, double[] Slopes);

    /// <summary>
    /// One step: of all small changes of the sizes (in their logarithms) that keep the limits as far as their slopes tell,
    /// the one that comes nearest to thinning everything by <paramref name="wish"/>, material counted; no size changes by more than <paramref name="reach"/>. A projection by
    /// Hildreth's method (row by row; textbook quadratic programming).
    /// </summary>
    private void Step(LoadResult load, LoadTrace trace, double wish, double aim, double reach)
    {
        var n = _factors.Count;
        var number = new Dictionary<Factor, int>(n);
        for (var i = 0; i < n; i++) number[_factors[i]] = i;
        double[] low = new double[n], high = new double[n], weight = new double[n];
        for (var i = 0; i < n; i++)
        {
            high[i] = Math.Min(reach, -Math.Log(_factors[i].Value));
            low[i] = Math.Min(high[i], Math.Max(-reach, Math.Log(_factors[i].Least / _factors[i].Value)));
        }
        foreach (var g in _enlarged.Segments)
        {
            var (a, b) = Radii(g);
            var v = g.Length * g.AreaShare;
            if (_tip[g.Id] is { } tip)
            {
                var (contact, below) = _contactAtFrom[g.Id] ? (a, b) : (b, a);
                weight[number[tip]] += v * (2 * contact * contact + contact * below);
                weight[number[_shaft[g.Id]]] += v * (2 * below * below + contact * below);
            }
            else weight[number[_shaft[g.Id]]] += 2 * v * (a * a + a * b + b * b);
        }
        var limits = Limits(load, trace, number, low, high, aim);
        var step = new double[n];
        for (var i = 0; i < n; i++) step[i] = Math.Clamp(-wish, low[i], high[i]);
        var price = new double[limits.Count];
        var pull = new double[n]; // sum of price times slopes
        for (var sweep = 0; sweep < Sweeps; sweep++)
        {
            var moved = 0.0;
            for (var j = 0; j < limits.Count; j++)
            {
                var (room, at, slopes) = limits[j];
                // By how much the limit is passed at another price of it, and how fast that falls: straight pieces, less steep as sizes come to their ends.
                (double Over, double Fall) At(double p)
                {
                    double over = -room, fall = 0;
                    for (var i = 0; i < at.Length; i++)
                    {
                        var f = at[i];
                        var to = -wish - (pull[f] + (p - price[j]) * slopes[i]) / weight[f];
                        if (to <= low[f]) over += slopes[i] * low[f];
                        else if (to >= high[f]) over += slopes[i] * high[f];
                        else
                        {
                            over += slopes[i] * to;
                            fall += slopes[i] * slopes[i] / weight[f];
                        }
                    }
                    return (over, fall);
                }
                var next = PriceOf(At, price[j]);
                var change = next - price[j];
                if (change == 0) continue;
                price[j] = next;
                for (var i = 0; i < at.Length; i++)
                {
                    var f = at[i];
                    pull[f] += change * slopes[i];
                    var now = Math.Clamp(-wish - pull[f] / weight[f], low[f], high[f]);
                    moved = Math.Max(moved, Math.Abs(now - step[f]));
                    step[f] = now;
                }
            }
            if (moved < 1e-3) break;
        }
        for (var i = 0; i < n; i++)
            if (step[i] != 0) _factors[i].Value = Math.Min(1, _factors[i].Value * Math.Exp(step[i]));
        Agree();
    }

    // The least price at which a limit is kept, 0 where it is kept without one; steps by the slope between bounds that close in.
    private static double PriceOf(Func<double, (double Over, double Fall)> at, double last)
    {
        if (at(0).Over <= 0) return 0;
        double least = 0, most = double.PositiveInfinity, next = last > 0 ? last : 1e-3;
        for (var i = 0; i < 60; i++)
        {
            var (over, fall) = at(next);
            if (over > 0) least = next; else most = next;
            if (Math.Abs(over) < 1e-12 || most <= least * (1 + 1e-12)) break;
            var by = fall > 0 ? next + over / fall : double.NaN;
            // Sizes at an end begin to move at higher prices only, so a slope may lead too far: not beyond some times the last price.
            if (double.IsPositiveInfinity(most) && !(by < 8 * next)) by = 8 * next;
            if (!(by > least && by < most)) by = (least + most) / 2;
            if (by >= MostPrice) return MostPrice;
            next = by;
        }
        return next;
    }

    // The hardest uses with their slopes; all others bound only the size that bears them, at the load that it has.
    private List<Limit> Limits(LoadResult load, LoadTrace trace, Dictionary<Factor, int> number, double[] low, double[] high, double aim)
    {
        var asked = new List<(int Segment, int Check, double Share)>();
        foreach (var s in load.Segments)
            for (var c = 1; c < s.UseOf.Length; c++)
            {
                var share = s.UseOf[c] / _allowed[s.Segment, c];
                if (!(share > 0)) continue;
                var own = number[Bears(s.Segment, (LoadCheck)c)];
                low[own] = Math.Max(low[own], Math.Min(high[own], share < 1 || (LoadCheck)c == LoadCheck.StandingFree ? Math.Log(Ratio((LoadCheck)c, share, s.Slenderness)) : low[own]));
                if (share > 1 && aim <= AimBack) _margin[(s.Segment, c)] = 0.98 * _margin.GetValueOrDefault((s.Segment, c), 1);
                if (share > Hot) _hot.Add((s.Segment, c));
                if (share > Near || _hot.Contains((s.Segment, c))) asked.Add((s.Segment, c, share));
            }
        foreach (var s in load.Segments)
        {
            var own = number[_shaft[s.Segment]];
            if (s.Slenderness > 0) low[own] = Math.Max(low[own], Math.Min(high[own], Math.Log(s.Slenderness / StrutCapacity.SlenderNote)));
        }
        // Each at the layer where it is hardest now and at such where it was hardest before: thinner here, another layer governs.
        var hardest = new List<(int Segment, int Check, HardestAt At)>();
        foreach (var (segment, check, _) in asked.OrderByDescending(a => a.Share).ThenBy(a => a.Segment).ThenBy(a => a.Check).Take(HardestAsked))
        {
            var now = trace.Hardest[segment, check];
            if (!_before.TryGetValue((segment, check), out var before)) _before[(segment, check)] = before = [];
            hardest.Add((segment, check, now));
            foreach (var at in before)
                if (at != now) hardest.Add((segment, check, at));
            if (before.Contains(now)) continue;
            before.Add(now);
            if (before.Count > MostBefore) before.RemoveAt(0);
        }
        return SlopesOf(load, trace, hardest, number, aim);
    }

    // All limits that are broken.
    private List<Limit> BrokenLimits(LoadResult load, LoadTrace trace)
    {
        var number = new Dictionary<Factor, int>(_factors.Count);
        for (var i = 0; i < _factors.Count; i++) number[_factors[i]] = i;
        var broken = new List<(int Segment, int Check, HardestAt At)>();
        foreach (var s in load.Segments)
            for (var c = 1; c < s.UseOf.Length; c++)
                if (s.UseOf[c] > _allowed[s.Segment, c]) broken.Add((s.Segment, c, trace.Hardest[s.Segment, c]));
        return SlopesOf(load, trace, broken, number, Aim);
    }

    private List<Limit> SlopesOf(LoadResult load, LoadTrace trace, List<(int Segment, int Check, HardestAt At)> hardest, Dictionary<Factor, int> number, double aim)
    {
        var asker = new UseSlopes(_request.Enlarged with { Struts = Sized() }, trace);
        var limits = new Limit?[hardest.Count];
        Parallel.For(0, hardest.Count, j =>
        {
            var (segment, check, at) = hardest[j];
            var slopes = new double[2 * _enlarged.Segments.Count];
            var s = load.Segments[segment];
            var share = asker.Of(segment, (LoadCheck)check, at, s.UseOf[check], s.Slenderness, slopes) / _allowed[segment, check];
            if (!(share > Near)) return;
            var by = new double[_factors.Count];
            foreach (var g in _enlarged.Segments)
                for (var end = 0; end < 2; end++)
                {
                    var contact = _tip[g.Id] is not null && _contactAtFrom[g.Id] == (end == 0);
                    by[number[contact ? _tip[g.Id]! : _shaft[g.Id]]] += slopes[2 * g.Id + end] / _allowed[segment, check];
                }
            int[] where = [.. Enumerable.Range(0, by.Length).Where(i => by[i] != 0)];
            // Capacities go with powers of sizes, so the logarithm of a use is nearer to a straight line than the use itself.
            limits[j] = new Limit(Math.Log(aim * _margin.GetValueOrDefault((segment, check), 1) / share), where, [.. where.Select(i => by[i] / share)]);
        });
        return [.. limits.OfType<Limit>()];
    }
}
