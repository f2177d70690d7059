using Stiltwright.Printing.Strength;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Loads;

/// <summary>One run of the sizing.</summary>
internal sealed partial class SizingRun
{
    private const double BraceShare = 0.75; // smallest brace over smallest pillar
    private const double Close = 1e-6;
    private const double Settled = 1e-3; // a use this share above its limit is at its limit
    private const int Neighbours = 6;
    private const double SameUse = 0.02; // what was over its limit may be pushed above what it bore by this share
    private const int MostSolves = 10;
    private const double TakeUp = 0.7; // of a reserve, in one step
    private const double WorthIt = 0.97; // a largest factor above this thins nothing worth having

    private readonly SizingRequest _request;
    private readonly StrutGraph _enlarged;
    private readonly Factor[] _shaft; // by segment: that of its chain (shared object)
    private readonly Factor?[] _tip; // by segment: of its contact end, for tips
    private readonly bool[] _contactAtFrom;
    private readonly List<Factor> _factors; // all of them, each once
    private readonly double[,] _allowed; // by segment and check
    private readonly HashSet<Factor> _soft = []; // shafts of struts that are used too hard at their largest
    private UseLimits _limits = null!;
    private int _solves;
    private int _raised;

    private sealed class Factor
    {
        public double Value = 1;
        public double Least;
        public string LeastWhy = "";
        public string Why = "plain enlarging";
        public int Layer;

        /// <summary>Grows to a need, never above 1; the first need after a reset sets it.</summary>
        public bool Raise(double need, string why, int layer)
        {
            need = Math.Min(1, need);
            if (!(need > Value * (1 + Close))) return false;
            (Value, Why, Layer) = (need, why, layer);
            return true;
        }
    }

    public SizingRun(SizingRequest request)
    {
        _request = request;
        _enlarged = request.Enlarged.Struts;
        var n = _enlarged.Segments.Count;
        _shaft = new Factor[n];
        _tip = new Factor?[n];
        _contactAtFrom = new bool[n];
        var chains = new Dictionary<int, Factor>();
        foreach (var g in _enlarged.Segments)
        {
            if (!chains.TryGetValue(g.Chain, out var f)) chains[g.Chain] = f = new Factor();
            _shaft[g.Id] = f;
            if (g.Role != Role.Tip || (g.ToHeldBy != EndHeldBy.Figure && g.FromHeldBy != EndHeldBy.Figure)) continue;
            _contactAtFrom[g.Id] = g.ToHeldBy != EndHeldBy.Figure;
            _tip[g.Id] = new Factor();
        }
        _factors = [.. chains.Values, .. _tip.OfType<Factor>()];
        _allowed = new double[n, Enum.GetValues<LoadCheck>().Length];
    }

    public SizingResult Size(CancellationToken cancellation)
    {
        LoadResult? source = null;
        LoadResult first = null!;
        Parallel.Invoke(
            () => source = _request.Source is null || _request.Rule == SizingRule.Absolute ? null : LoadSolver.Solve(_request.Source, cancellation),
            () => first = LoadSolver.Solve(_request.Enlarged, cancellation));
        _solves = source is null ? 1 : 2;
        _limits = new UseLimits(_request, source);
        var kept = "";
        var load = first;
        if (first.Contacts.Count(c => c.Body >= 0) < 3) kept = "fewer than three contacts hold the piece";
        else
        {
            Allow(first);
            SetLeast(first);
            var thinnest = Solve(cancellation);
            Grow(thinnest, false, false, 0); // before the others, so that its sizes are still the smallest
            Grow(first, true, false, 0);
            Pin(first);
            load = Search(first, cancellation);
            if (_enlarged.Segments.All(g => !Thinned(g)) && _factors.Any(f => f.Least < WorthIt))
                (kept, load) = ("no thinner sizes were found at which every strut keeps its limit", first);
        }
        var segments = new List<SizedSegment>(_enlarged.Segments.Count);
        foreach (var g in _enlarged.Segments) segments.Add(Decide(g, load.Segments[g.Id], kept));
        return new SizingResult(segments, first, load, source, _limits.Relative, kept, _solves, _raised);
    }

    private LoadResult Solve(CancellationToken cancellation)
    {
        _solves++;
        return LoadSolver.Solve(_request.Enlarged with { Struts = Sized() }, cancellation);
    }

    private void Allow(LoadResult first)
    {
        foreach (var g in _enlarged.Segments)
            for (var c = 1; c < _allowed.GetLength(1); c++)
            {
                var over = _limits.Over(g.Role, first.Segments[g.Id], (LoadCheck)c);
                _allowed[g.Id, c] = _limits.Allowed(g.Role, first.Segments[g.Id], (LoadCheck)c) * (1 + (over ? SameUse : Settled));
            }
    }

    /// <summary>A set of sizes and what it leads to.</summary>
    private sealed record Trial(Setting[] Sizes, LoadResult Load);

    private readonly record struct Setting(double Value, string Why, int Layer);

    private Setting[] Snapshot() => [.. _factors.Select(f => new Setting(f.Value, f.Why, f.Layer))];

    private void Restore(Setting[] sizes)
    {
        for (var i = 0; i < sizes.Length; i++) (_factors[i].Value, _factors[i].Why, _factors[i].Layer) = (sizes[i].Value, sizes[i].Why, sizes[i].Layer);
    }

    // Sizes from the needs, grown until all keep their limits; where that does not come about, back towards plain enlarging.
    private LoadResult Search(LoadResult first, CancellationToken cancellation)
    {
        var plain = new Trial([.. _factors.Select(_ => new Setting(1, "plain enlarging", 0))], first);
        foreach (var f in _factors) (f.Least, f.LeastWhy) = (f.Value, f.Why); // grows with the load, so nothing may undercut it
        Trial? best = null;
        Trial trial;
        for (var pass = 0; ; pass++)
        {
            trial = new Trial(Snapshot(), Solve(cancellation));
            if (Keeps(trial.Load)) { best = trial; break; }
            _raised = pass + 1;
            if (pass == _request.Passes || _solves >= MostSolves) break;
            Grow(trial.Load, false, true, pass);
        }
        if (best is null) best = Between(plain, trial, 3, "others that bear more when this one is thinner", cancellation);
        if (_raised > 0 && _solves < MostSolves) best = Uniform(plain, first, best, cancellation);
        if (_raised > 0) best = Reserve(best, cancellation);
        Restore(best.Sizes);
        return best.Load;
    }

    private bool Keeps(LoadResult load)
    {
        foreach (var s in load.Segments)
            for (var c = 1; c < s.UseOf.Length; c++)
                if (s.UseOf[c] > _allowed[s.Segment, c]) return false;
        return true;
    }

    // Between a set that keeps the limits and one that does not, by halving. Shafts that must be soft stay as they are.
    private Trial Between(Trial keeps, Trial breaks, int solves, string why, CancellationToken cancellation)
    {
        var best = keeps;
        double low = 0, high = 1;
        for (var i = 0; i < solves && _solves < MostSolves; i++)
        {
            var share = (low + high) / 2;
            Restore([.. keeps.Sizes.Select((k, f) => _soft.Contains(_factors[f]) && breaks.Sizes[f].Value < k.Value ? breaks.Sizes[f]
                : k.Value <= breaks.Sizes[f].Value * (1 + Close) ? k
                : new Setting(k.Value + share * (breaks.Sizes[f].Value - k.Value), why, 0))]);
            Agree();
            var trial = new Trial(Snapshot(), Solve(cancellation));
            if (!Keeps(trial.Load)) high = share;
            else (low, best) = (share, trial);
        }
        return best;
    }

    // One factor for all shafts and one for all contacts leaves loads shared as they were.
    private Trial Uniform(Trial plain, LoadResult first, Trial best, CancellationToken cancellation)
    {
        double shaft = 0, tip = 0;
        foreach (var g in _enlarged.Segments)
            for (var c = 1; c < _allowed.GetLength(1); c++)
            {
                var use = first.Segments[g.Id].UseOf[c];
                if (!(use > 0) || double.IsPositiveInfinity(_allowed[g.Id, c])) continue;
                var f = Bears(g.Id, (LoadCheck)c);
                if (f.Least >= 1) continue;
                var need = Ratio((LoadCheck)c, use / _allowed[g.Id, c], first.Segments[g.Id].Slenderness);
                if (ReferenceEquals(f, _tip[g.Id])) tip = Math.Max(tip, need); else shaft = Math.Max(shaft, need);
            }
        const string why = "one factor for all of its kind";
        foreach (var f in _factors) (f.Value, f.Why, f.Layer) = (f.Least, f.LeastWhy, 0);
        foreach (var f in _shaft) f.Raise(shaft, why, 0);
        foreach (var f in _tip) f?.Raise(tip, why, 0);
        Agree();
        if (!(Volume() < Volume(best.Sizes) * WorthIt)) return best;
        var trial = new Trial(Snapshot(), Solve(cancellation));
        if (!Keeps(trial.Load)) trial = Between(plain, trial, 1, why, cancellation);
        return Volume(trial.Sizes) < Volume(best.Sizes) ? trial : best;
    }

    // What is far from its limits is thinned a good part of the way there.
    private Trial Reserve(Trial best, CancellationToken cancellation)
    {
        while (_solves < MostSolves)
        {
            Restore(best.Sizes);
            var need = _factors.ToDictionary(f => f, f => new Setting(f.Least, f.LeastWhy, 0));
            foreach (var g in _enlarged.Segments)
            {
                var s = best.Load.Segments[g.Id];
                for (var c = 1; c < s.UseOf.Length; c++)
                {
                    if (!(s.UseOf[c] > 0) || double.IsPositiveInfinity(_allowed[g.Id, c])) continue;
                    var f = Bears(g.Id, (LoadCheck)c);
                    var value = f.Value * Ratio((LoadCheck)c, s.UseOf[c] / _allowed[g.Id, c], s.Slenderness);
                    if (value > need[f].Value) need[f] = new Setting(value, Why(g.Role, (LoadCheck)c), s.LayerOf[c]);
                }
                var slender = _shaft[g.Id].Value * s.Slenderness / StrutCapacity.SlenderNote;
                if (slender > need[_shaft[g.Id]].Value) need[_shaft[g.Id]] = new Setting(slender, "slenderness 100", 0);
            }
            foreach (var f in _factors)
                if (need[f].Value < f.Value * WorthIt) (f.Value, f.Why, f.Layer) = (f.Value + TakeUp * (need[f].Value - f.Value), need[f].Why, need[f].Layer);
            Agree();
            if (!(Volume() < Volume(best.Sizes) * WorthIt)) break;
            var trial = new Trial(Snapshot(), Solve(cancellation));
            if (!Keeps(trial.Load)) trial = Between(best, trial, 1, "others that bear more when this one is thinner", cancellation);
            if (!(Volume(trial.Sizes) < Volume(best.Sizes))) break;
            best = trial;
        }
        return best;
    }

    private double Volume(Setting[] sizes)
    {
        Restore(sizes);
        return Volume();
    }

    private double Volume()
    {
        double v = 0;
        foreach (var g in _enlarged.Segments)
        {
            var (a, b) = Radii(g);
            v += g.Length * g.AreaShare * (a * a + a * b + b * b);
        }
        return v;
    }

    private bool Thinned(StrutSegment g)
    {
        var (from, to) = Radii(g);
        return from < g.RadiusFrom * WorthIt || to < g.RadiusTo * WorthIt;
    }
}
