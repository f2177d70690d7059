using Stiltwright.Printing.Strength;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Loads;

/// <summary>One run of the sizing.</summary>
internal sealed partial class SizingRun
{
    private const double BraceShare = 0.75; // smallest brace over smallest pillar
    private const double Close = 1e-6;
    private const double Settled = 1e-3; // a use this share above its limit is at its limit
    private const double SameUse = 0.02; // what was over its limit may be pushed above what it bore by this share
    private const double WorthIt = 0.97; // a largest factor above this thins nothing worth having

    private readonly SizingRequest _request;
    private readonly StrutGraph _enlarged;
    private readonly Factor[] _shaft; // by segment: that of its chain (shared object)
    private readonly Factor?[] _tip; // by segment: of its contact end, for tips
    private readonly bool[] _contactAtFrom;
    private readonly List<Factor> _factors; // all of them, each once
    private readonly double[,] _allowed; // by segment and check
    private UseLimits _limits = null!;
    private int _solves;
    private int _raised;

    private sealed class Factor
    {
        public double Value = 1;
        public double Least;
        public double Smallest;
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
        SideBySide.Run(
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

    private readonly record struct Setting(double Value, string Why, int Layer);

    private Setting[] Snapshot() => [.. _factors.Select(f => new Setting(f.Value, f.Why, f.Layer))];

    private void Restore(Setting[] sizes)
    {
        for (var i = 0; i < sizes.Length; i++) (_factors[i].Value, _factors[i].Why, _factors[i].Layer) = (sizes[i].Value, sizes[i].Why, sizes[i].Layer);
    }

    private bool Keeps(LoadResult load) => Over(load) <= 1;

    // The hardest use over what is allowed.
    private double Over(LoadResult load)
    {
        double over = 0;
        foreach (var s in load.Segments)
            for (var c = 1; c < s.UseOf.Length; c++)
                if (s.UseOf[c] > 0) over = Math.Max(over, s.UseOf[c] / _allowed[s.Segment, c]);
        return over;
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
