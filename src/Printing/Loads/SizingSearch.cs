using System.Globalization;
using Stiltwright.Printing.Strength;

namespace Stiltwright.Printing.Loads;

/// <content>From first sizes to sizes at which every limit holds.</content>
internal sealed partial class SizingRun
{
    private const int MostRaises = 9; // steps from too thin sizes up to such as keep the limits
    private const int MostSteps = 8; // steps down from there
    private const int MostRepairs = 4; // steps back to the limits after one down
    private const int MostChecks = 4; // solutions at all layers
    private const double FirstWish = 0.25, LastWish = 0.05; // of a step, in the logarithm of all sizes
    private const double Gain = 1e-2; // share of material below which a step was not worth it

    private const int MostHeld = 6; // sizes held for each limit that a step broke
    private const double AtLimit = 0.95; // share of a limit from which on it is said to set the size

    private bool[] _layers = [];

    /// <summary>Sizes, loads at the layers that matter, and how uses depend on sizes.</summary>
    private sealed record Look(Setting[] Sizes, double Volume, LoadResult Load, LoadTrace Trace, bool Keeps);

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
        Matter(first);
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
        var best = Settle(cancellation);
        if (best is null)
        {
            foreach (var f in _factors) (f.Value, f.Why, f.Layer) = (1, "plain enlarging", 0);
            best = LookAt(cancellation);
        }
        Restore(Lower(best, cancellation).Sizes);
        return Confirm(first, cancellation);
    }

    private Look LookAt(CancellationToken cancellation)
    {
        _solves++;
        var trace = new LoadTrace();
        var load = LoadSolver.Solve(_request.Enlarged with { Struts = Sized() }, _layers, trace, cancellation);
        return new Look(Snapshot(), Volume(), load, trace, Keeps(load));
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

    private Look? Settle(CancellationToken cancellation)
    {
        Look? last = null;
        var wish = FirstWish;
        var floors = _factors.Select(f => f.Least).ToArray();
        foreach (var f in _factors) f.Least = f.Value;
        for (var step = 0; step <= MostRaises; step++)
        {
            _raised++;
            last = LookAt(cancellation);
            if (last.Keeps || step == MostRaises) break;
            Step(last.Load, last.Trace, step < 3 ? wish : 0, step < 3 ? Aim : AimBack, step < 6 ? Reach : ReachBack);
            wish *= 0.8;
        }
        for (var i = 0; i < floors.Length; i++) _factors[i].Least = floors[i];
        return last!.Keeps ? last : null;
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
            for (var repair = 0; repair < MostRepairs && !now.Keeps && now.Volume < best.Volume; repair++)
            {
                Step(now.Load, now.Trace, 0, AimBack, ReachBack);
                now = LookAt(cancellation);
            }
            if (now.Keeps && now.Volume < best.Volume * (1 - Gain)) best = now;
            else if (now.Keeps || step % 2 == 1) wish /= 2;
            else Hold(now, best);
        }
        return best;
    }

    // Where a step broke limits and could not mend them, the sizes that did most to break them stay as they are from now on.
    private void Hold(Look broken, Look best)
    {
        Restore(broken.Sizes);
        foreach (var by in Slopes(broken.Load, broken.Trace))
        {
            var most = Enumerable.Range(0, by.Length).Select(i => (Factor: i, Share: by[i] * Math.Log(broken.Sizes[i].Value / best.Sizes[i].Value)))
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

    private void Matter(LoadResult load)
    {
        foreach (var s in load.Segments)
            for (var c = 1; c < s.LayerOf.Length; c++)
                if (s.LayerOf[c] > 0) _layers[Math.Min(_layers.Length, s.LayerOf[c]) - 1] = true;
    }
}
