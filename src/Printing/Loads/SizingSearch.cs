using System.Globalization;
using Stiltwright.Printing.Strength;

namespace Stiltwright.Printing.Loads;

/// <content>From first sizes to sizes at which every limit holds.</content>
internal sealed partial class SizingRun
{
    private const int MostRaises = 2; // steps from too thin sizes up to such as keep the limits
    private const int MostSteps = 12; // steps down from there
    private const int MostRepairs = 2; // steps back to the limits after one down
    private const double Mendable = 1.5; // times a limit: from farther away no step leads back, half the way is better
    private const int MostChecks = 4; // solutions at all layers
    private const double FirstWish = 0.25, LastWish = 0.05; // of a step, in the logarithm of all sizes
    private const double Gain = 1e-2; // share of material below which a step was not worth it

    private const double MatterShare = 0.8; // share of a limit below which a use is not looked at in steps

    private const int MostHeld = 6; // sizes held for each limit that a step broke
    private const double AtLimit = 0.95; // share of a limit from which on it is said to set the size

    private bool[] _layers = [];

    /// <summary>Sizes, loads at the layers that matter, and how uses depend on sizes.</summary>
    private sealed record Look(Setting[] Sizes, double Volume, LoadResult Load, LoadTrace Trace, double Over)
    {
        public bool Keeps => Over <= 1;
    }

    /// <summary>
    /// First the sizes that the loads of plain enlarging ask for. Where they do not hold once loads are shared anew: from
    /// sizes that all-thin struts would need, steps along the slopes of the hardest uses until every limit holds; then down
    /// again towards those first sizes, which nothing undercuts. Steps look at the layers that matter; what they end with is
    /// solved at all layers, and layers that turn out to matter too are looked at from then on. Where nothing holds, plain
    /// enlarging does.
    /// </summary>
    private LoadResult Search(LoadResult first, CancellationToken cancellation)
    {
        _layers = new bool[_request.Enlarged.Figure.Count];
        Matter(first, true);
        var thinnest = LookAt(cancellation).Load;
        Grow(first, true);
        Pin(first);
        foreach (var f in _factors) (f.Least, f.LeastWhy) = (f.Value, f.Why); // grows with the load
        var held = LookAt(cancellation);
        for (var check = 0; held.Keeps; check++)
        {
            var load = Solve(cancellation);
            if (Keeps(load)) return load;
            if (check == MostChecks) break;
            Matter(load);
            held = LookAt(cancellation);
        }
        Raise(thinnest);
        Restore(Lower(Settle(cancellation), cancellation).Sizes);
        return Confirm(first, cancellation);
    }

    private Look LookAt(CancellationToken cancellation)
    {
        _solves++;
        var trace = new LoadTrace();
        var load = LoadSolver.Solve(_request.Enlarged with { Struts = Sized() }, _layers, trace, cancellation);
        return new Look(Snapshot(), Volume(), load, trace, Over(load));
    }

    // Sizes that the loads of all-thin struts ask for, as a start; floors stay.
    private void Raise(LoadResult thinnest)
    {
        var now = Snapshot();
        foreach (var f in _factors) f.Value = f.Smallest;
        Grow(thinnest, false);
        for (var i = 0; i < now.Length; i++) _factors[i].Value = Math.Max(_factors[i].Value, now[i].Value);
        Agree();
    }

    // Steps up until every limit holds. Few do or none: where these do not, a mean of the nearest sizes and plain enlarging, which holds.
    private Look Settle(CancellationToken cancellation)
    {
        Look? near = null;
        var wish = FirstWish;
        var floors = _factors.Select(f => f.Least).ToArray();
        foreach (var f in _factors) f.Least = f.Value;
        for (var step = 0; step <= MostRaises; step++)
        {
            _raised++;
            var now = LookAt(cancellation);
            if (near is null || now.Over < near.Over) near = now;
            if (now.Keeps || step == MostRaises) break;
            Step(now.Load, now.Trace, wish, Aim, Reach);
            wish *= 0.8;
        }
        for (var i = 0; i < floors.Length; i++) _factors[i].Least = floors[i];
        foreach (var share in (ReadOnlySpan<double>)[0.5, 0.2])
        {
            if (near!.Keeps) return near;
            Restore(Mean(near.Sizes, null, share));
            var now = LookAt(cancellation);
            if (now.Keeps) return now;
        }
        foreach (var f in _factors) (f.Value, f.Why, f.Layer) = (1, "plain enlarging", 0);
        return LookAt(cancellation);
    }

    // Sizes part-way, in their logarithms, from such as keep the limits (null: plain enlarging) to others.
    private static Setting[] Mean(Setting[] to, Setting[]? from, double share)
    {
        var mean = (Setting[])to.Clone();
        for (var i = 0; i < mean.Length; i++)
            mean[i] = mean[i] with { Value = Math.Pow(to[i].Value, share) * (from is null ? 1 : Math.Pow(from[i].Value, 1 - share)) };
        return mean;
    }

    private Look Lower(Look best, CancellationToken cancellation)
    {
        var wish = FirstWish;
        for (var step = 0; step < MostSteps && wish >= LastWish; step++)
        {
            Restore(best.Sizes);
            _margin.Clear();
            Step(best.Load, best.Trace, wish, Aim, Reach);
            var now = LookAt(cancellation);
            var whole = now.Sizes;
            now = Mended(now, best, MostRepairs, cancellation);
            var broken = now;
            if (!now.Keeps && now.Volume < best.Volume * (1 - Gain))
            {
                Restore(Mean(whole, best.Sizes, 0.5));
                now = Mended(LookAt(cancellation), best, 1, cancellation);
            }
            if (!now.Keeps)
            {
                Hold(broken, best);
                wish /= 2;
                continue;
            }
            var last = now.Volume > best.Volume * (1 - Gain); // as thin as the limits let it
            if (now.Volume < best.Volume) best = now;
            if (last) break;
        }
        return best;
    }

    // Back to the limits, as long as that is near and sizes are below the best.
    private Look Mended(Look now, Look best, int most, CancellationToken cancellation)
    {
        for (var repair = 0; repair < most && !now.Keeps && now.Over < Mendable && now.Volume < best.Volume; repair++)
        {
            Step(now.Load, now.Trace, 0, AimBack, ReachBack);
            now = LookAt(cancellation);
        }
        return now;
    }

    // Where a step broke limits and could not mend them, the sizes that did most to break them stay as they are from now on.
    private void Hold(Look broken, Look best)
    {
        Restore(broken.Sizes);
        foreach (var limit in BrokenLimits(broken.Load, broken.Trace))
        {
            var most = limit.At.Zip(limit.Slopes).Select(s => (Factor: s.First, Share: s.Second * Math.Log(broken.Sizes[s.First].Value / best.Sizes[s.First].Value)))
                .Where(x => x.Share > 0).OrderByDescending(x => x.Share).ThenBy(x => x.Factor).Take(MostHeld);
            foreach (var (i, _) in most) (_factors[i].Least, _factors[i].LeastWhy) = (best.Sizes[i].Value, "a strut that shares its load has no reserve");
        }
    }

    private LoadResult Confirm(LoadResult first, CancellationToken cancellation)
    {
        for (var check = 0; check < MostChecks; check++)
        {
            var load = Solve(cancellation);
            if (Keeps(load)) return Told(load);
            Matter(load);
            for (var repair = 0; repair <= MostRepairs; repair++)
            {
                var now = LookAt(cancellation);
                if (now.Keeps) break;
                Step(now.Load, now.Trace, 0, AimBack, ReachBack);
            }
        }
        foreach (var f in _factors) (f.Value, f.Why, f.Layer) = (1, "plain enlarging", 0);
        return first;
    }

    // Which limit each size has come up against.
    private LoadResult Told(LoadResult load)
    {
        var share = new Dictionary<Factor, double>();
        foreach (var f in _factors)
            (f.Why, f.Layer) = f.Value <= f.Least * (1 + Close) ? (f.LeastWhy, f.Layer) : ("others that would bear more if this one were thinner", 0);
        foreach (var g in _enlarged.Segments)
        {
            var s = load.Segments[g.Id];
            for (var c = 1; c < s.UseOf.Length; c++)
            {
                var of = s.UseOf[c] / _allowed[g.Id, c];
                var f = Bears(g.Id, (LoadCheck)c);
                if (!(of > AtLimit) || f.Value <= f.Least * (1 + Close) || of <= share.GetValueOrDefault(f)) continue;
                share[f] = of;
                (f.Why, f.Layer) = (Why(g.Role, (LoadCheck)c), s.LayerOf[c]);
            }
        }
        return load;
    }

    // Layers at which a use could come near its limit: at the sizes of the load, or at the smallest there are.
    private void Matter(LoadResult load, bool atEnlarged = false)
    {
        foreach (var s in load.Segments)
            for (var c = 1; c < s.LayerOf.Length; c++)
            {
                if (s.LayerOf[c] == 0) continue;
                var share = s.UseOf[c] / _allowed[s.Segment, c] / MatterShare;
                var smallest = atEnlarged ? Bears(s.Segment, (LoadCheck)c).Smallest : 1;
                if (share > 1 || Ratio((LoadCheck)c, share, s.Slenderness) > smallest) _layers[Math.Min(_layers.Length, s.LayerOf[c]) - 1] = true;
            }
    }
}
