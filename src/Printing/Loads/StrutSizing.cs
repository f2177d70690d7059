using System.Globalization;
using Stiltwright.Printing.Strength;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Loads;

/// <summary>
/// Finds the smallest safe size of every strut. A strut's shaft (foot, pillars, the tip's lower end) gets one factor, so that
/// its joints keep their proportions; the contact end of its tip gets one of its own. How loads are shared depends on how
/// stiff each strut is, so sizes come from the larger of two loads: with all struts at plain enlarging, and with all at
/// their smallest. Both grow with the load, so a higher load or safety asks for no thinner strut. Then loads are shared
/// out anew at the sizes found, and what is used too hard grows again, with its neighbours where it is at its largest
/// (how often is told, as <see cref="SizingResult.Raised"/>); if that does not settle, everything stays at plain enlarging.
/// </summary>
public static class StrutSizing
{
    /// <summary>Sizes the struts of a piece.</summary>
    /// <exception cref="ArgumentException">The relative rule without a source, or a safety or smallest size that is not above zero.</exception>
    /// <exception cref="OperationCanceledException">Asked to stop.</exception>
    public static SizingResult Size(SizingRequest request, CancellationToken cancellation)
    {
        ArgumentNullException.ThrowIfNull(request);
        if (request.Rule == SizingRule.Relative && request.Source is null)
            throw new ArgumentException("The relative rule compares with the source, but no source scene was given.", nameof(request));
        if (!(request.Safety > 0)) throw new ArgumentException($"The safety factor is {request.Safety}; it must be above zero.", nameof(request));
        if (!(request.SmallestPillarMm > 0) || !(request.SmallestTipMm > 0)) throw new ArgumentException("The smallest pillar and tip must be above zero.", nameof(request));
        return new SizingRun(request).Size(cancellation);
    }

    /// <summary>A check in words, for <see cref="SizedSegment.BoundBy"/> and findings.</summary>
    public static string InWords(LoadCheck check) => check switch
    {
        LoadCheck.TipPull => "pull at the contact",
        LoadCheck.ShaftPull => "pull and bending in the shaft",
        LoadCheck.ShaftPush => "push and bending in the shaft",
        LoadCheck.Buckling => "buckling",
        LoadCheck.StandingFree => "standing free before it reaches the figure",
        LoadCheck.WallPullOut => "tearing out of the thin wall",
        _ => "no load",
    };
}

/// <summary>One run of the sizing.</summary>
internal sealed class SizingRun
{
    private const double BraceShare = 0.75; // smallest brace over smallest pillar
    private const double Close = 1e-6;
    private const double Settled = 1e-3; // a use this share above its limit is at its limit
    private const int Neighbours = 8;

    private readonly SizingRequest _request;
    private readonly StrutGraph _enlarged;
    private readonly Factor[] _shaft; // by segment: that of its chain (shared object)
    private readonly Factor?[] _tip; // by segment: of its contact end, for tips
    private readonly bool[] _contactAtFrom;
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
    }

    public SizingResult Size(CancellationToken cancellation)
    {
        var source = _request.Source is null || _request.Rule == SizingRule.Absolute ? null : Solve(_request.Source, cancellation);
        var first = Solve(_request.Enlarged, cancellation);
        _limits = new UseLimits(_request, source);
        var kept = "";
        var load = first;
        if (first.Contacts.Count(c => c.Body >= 0) < 3) kept = "fewer than three contacts hold the piece";
        else
        {
            SetLeast(first);
            var thinnest = Solve(_request.Enlarged with { Struts = Sized() }, cancellation);
            Need(thinnest, null, false); // before the others, so that its sizes are still the smallest
            Need(first, null, true);
            for (var pass = 0; ; pass++)
            {
                load = Solve(_request.Enlarged with { Struts = Sized() }, cancellation);
                if (!Need(load, first, false, pass)) break;
                _raised = pass + 1;
                if (pass < 2 * _request.Passes) continue;
                (kept, load) = ("no thinner sizes were found at which every strut keeps its limit", first);
                break;
            }
        }
        var segments = new List<SizedSegment>(_enlarged.Segments.Count);
        foreach (var g in _enlarged.Segments) segments.Add(Decide(g, load.Segments[g.Id], kept));
        return new SizingResult(segments, first, load, source, _limits.Relative, kept, _solves, _raised);
    }

    private LoadResult Solve(LoadScene scene, CancellationToken cancellation)
    {
        _solves++;
        return LoadSolver.Solve(scene, cancellation);
    }

    // Smallest sizes and what must not be thinned at all (end of the physics table 3.7).
    private void SetLeast(LoadResult first)
    {
        void Least(Factor f, double value, string why)
        {
            if (value > f.Least) (f.Least, f.LeastWhy) = (Math.Min(1, value), why);
        }
        foreach (var g in _enlarged.Segments)
        {
            var thin = g.EqualAreaDiameter(Math.Min(g.RadiusFrom, g.RadiusTo));
            var thick = g.EqualAreaDiameter(Math.Max(g.RadiusFrom, g.RadiusTo));
            if (g.Role is Role.Pillar) Least(_shaft[g.Id], _request.SmallestPillarMm / thin, "smallest pillar");
            else if (g.Role is Role.Brace) Least(_shaft[g.Id], BraceShare * _request.SmallestPillarMm / thin, "smallest brace");
            else if (g.Role is Role.Tip) Least(_shaft[g.Id], _request.SmallestTipMm / thick, "smallest tip");
            if (_tip[g.Id] is { } tip) Least(tip, _request.SmallestTipMm / g.EqualAreaDiameter(_contactAtFrom[g.Id] ? g.RadiusFrom : g.RadiusTo), "smallest tip");
            if (g.Role == Role.Unsure || _request.Unsure.Contains(g.Id))
            {
                Least(_shaft[g.Id], 1, "not sure enough to thin");
                if (_tip[g.Id] is { } unsure) Least(unsure, 1, "not sure enough to thin");
            }
            var slender = first.Segments[g.Id].Slenderness / StrutCapacity.SlenderNote;
            Least(_shaft[g.Id], slender, "slenderness 100");
        }
        foreach (var c in first.Contacts)
        {
            var tip = _tip[c.Segment] ?? _shaft[c.Segment];
            if (c.Body < 0) Least(tip, 1, "its contact was not found on the figure");
            if (c.CarriesIsland) Least(tip, 1, "first layers of an island hang on it");
            if (!c.UnventedCup) continue;
            Least(tip, 1, "a cup without a vent pulls on it");
            Least(_shaft[c.Segment], 1, "a cup without a vent pulls on it");
        }
        for (var s = 0; s < _shaft.Length; s++)
        {
            (_shaft[s].Value, _shaft[s].Why) = (_shaft[s].Least, _shaft[s].LeastWhy);
            if (_tip[s] is { } t) (t.Value, t.Why) = (t.Least, t.LeastWhy);
        }
    }

    // Grows whatever its loads ask for; true if something is used too hard. The loads belong to plain enlarging or to the
    // sizes as they are. Given the loads at plain enlarging, a strut that was over its limit there may stay as it was.
    private bool Need(LoadResult load, LoadResult? enlarged, bool atEnlarged, int pass = 0)
    {
        var over = false;
        var stuck = new List<int>();
        var at = new Dictionary<Factor, double>();
        foreach (var f in _shaft.Concat(_tip.OfType<Factor>())) at[f] = atEnlarged ? 1 : f.Value;
        foreach (var g in _enlarged.Segments)
        {
            var s = load.Segments[g.Id];
            for (var c = 1; c < s.UseOf.Length; c++)
            {
                var check = (LoadCheck)c;
                var limit = _limits.Of(g.Role, check);
                if (enlarged is not null) limit = Math.Max(limit, enlarged.Segments[g.Id].UseOf[c]) * (1 + Settled);
                if (!(s.UseOf[c] > 0) || double.IsPositiveInfinity(limit)) continue;
                // In a tip the contact end is the thinnest: pull there and push are its own, bending is that of its lower end.
                var ofContact = check is LoadCheck.TipPull or LoadCheck.WallPullOut or LoadCheck.ShaftPush;
                var f = ofContact && _tip[g.Id] is { } tip ? tip : _shaft[g.Id];
                var ratio = s.UseOf[c] / limit;
                if (ratio > 1)
                {
                    over = true;
                    if (f.Value >= 1 - Close) stuck.Add(g.Id);
                }
                f.Raise(at[f] * Ratio(check, ratio, s.Slenderness), Why(g.Role, check, _limits.Of(g.Role, check)), s.LayerOf[c]);
            }
            if (s.Slenderness > StrutCapacity.SlenderNote) _shaft[g.Id].Raise(at[_shaft[g.Id]] * s.Slenderness / StrutCapacity.SlenderNote, "slenderness 100", 0);
        }
        if (enlarged is not null && stuck.Count > 0) Relieve(stuck, pass);
        Agree();
        return over;
    }

    // A strut at its largest that is used too hard is helped by stiffer neighbours: the nearest chains, later all of them.
    private void Relieve(List<int> stuck, int pass)
    {
        var segments = _enlarged.Segments;
        var help = new HashSet<int>();
        if (pass >= _request.Passes) help.UnionWith(Enumerable.Range(0, segments.Count));
        else
            foreach (var s in stuck)
            {
                var nearest = segments.Where(g => g.Chain != segments[s].Chain)
                    .GroupBy(g => g.Chain).Select(c => (Chain: c.Key, Away: c.Min(g => g.To.DistanceTo(segments[s].To))))
                    .OrderBy(c => c.Away).ThenBy(c => c.Chain).Take(Neighbours).Select(c => c.Chain).ToHashSet();
                help.UnionWith(segments.Where(g => nearest.Contains(g.Chain)).Select(g => g.Id));
            }
        var done = new HashSet<Factor>();
        foreach (var id in help.Order())
        {
            if (done.Add(_shaft[id])) _shaft[id].Raise((1 + _shaft[id].Value) / 2, "stiff enough to relieve its neighbours", 0);
            if (_tip[id] is { } tip && done.Add(tip)) tip.Raise((1 + tip.Value) / 2, "stiff enough to relieve its neighbours", 0);
        }
    }

    // Joints: a tip's contact is not thicker than its foot unless it was, a brace not thinner than both struts it ties ask.
    private void Agree()
    {
        foreach (var g in _enlarged.Segments)
        {
            if (_tip[g.Id] is not { } tip) continue;
            var (contact, below) = _contactAtFrom[g.Id] ? (g.RadiusFrom, g.RadiusTo) : (g.RadiusTo, g.RadiusFrom);
            if (contact <= below) _shaft[g.Id].Raise(tip.Value * contact / below, tip.Why, tip.Layer);
        }
        foreach (var g in _enlarged.Segments)
        {
            if (g.Role != Role.Brace) continue;
            var least = double.PositiveInfinity;
            foreach (var j in g.FromJoins.Concat(g.ToJoins))
                if ((uint)j < (uint)_shaft.Length && _enlarged.Segments[j].Role != Role.Brace) least = Math.Min(least, _shaft[j].Value);
            if (double.IsFinite(least)) _shaft[g.Id].Raise(least, "in proportion to the struts it ties", 0);
        }
    }

    /// <summary>
    /// Growth that brings a use to its limit (physics table 3.7): pull and push go with the area; a column's capacity goes with
    /// the fourth power while it is slender and less when it is stocky, so its growth is found by halving.
    /// </summary>
    private double Ratio(LoadCheck check, double over, double slenderness)
    {
        if (check == LoadCheck.WallPullOut) return over;
        if (check != LoadCheck.Buckling) return Math.Sqrt(over);
        var resin = _request.Enlarged.Resin;
        double Stress(double k) => StrutCapacity.ColumnStress(slenderness / k, resin.GreenModulusMPa, resin.GreenStrengthMPa);
        double now = Stress(1), low = Math.Min(Math.Sqrt(over), Math.Sqrt(Math.Sqrt(over))), high = Math.Max(Math.Sqrt(over), Math.Sqrt(Math.Sqrt(over)));
        for (var i = 0; i < 60; i++)
        {
            var k = (low + high) / 2;
            if (over * now / (Stress(k) * k * k) > 1) low = k; else high = k;
        }
        return high;
    }

    private string Why(Role role, LoadCheck check, double limit) =>
        string.Create(CultureInfo.InvariantCulture, $"{StrutSizing.InWords(check)} ({(_limits.RelativeBinds(role, check) ? "relative" : "absolute")} rule, limit {limit:0.###})");

    private StrutGraph Sized() => new([.. _enlarged.Segments.Select(g =>
    {
        var (from, to) = Radii(g);
        return g with { RadiusFrom = from, RadiusTo = to };
    })], _enlarged.Shells);

    private (double From, double To) Radii(StrutSegment g)
    {
        double shaft = _shaft[g.Id].Value, tip = _tip[g.Id]?.Value ?? shaft;
        return _contactAtFrom[g.Id] ? (g.RadiusFrom * tip, g.RadiusTo * shaft) : (g.RadiusFrom * shaft, g.RadiusTo * tip);
    }

    private SizedSegment Decide(StrutSegment g, SegmentLoad load, string kept)
    {
        var (from, to) = kept.Length > 0 ? (g.RadiusFrom, g.RadiusTo) : Radii(g);
        var thinned = from < g.RadiusFrom * (1 - 1e-4) || to < g.RadiusTo * (1 - 1e-4);
        var f = _tip[g.Id] ?? _shaft[g.Id];
        var unsure = g.Role == Role.Unsure || _request.Unsure.Contains(g.Id);
        var why = kept.Length > 0 ? kept : f.Why.Length > 0 ? f.Why : "no load";
        return new SizedSegment(g.Id, from, to, unsure ? "unsure" : thinned ? "thinned" : "kept", load.Use, load.Hardest, why, load.AtLayer,
            _limits.OverRelative(g.Role, load), _request.Rule != SizingRule.Relative && _limits.OverAbsolute(load));
    }
}
