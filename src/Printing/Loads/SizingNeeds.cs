using System.Globalization;
using Stiltwright.Printing.Strength;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Loads;

/// <summary>What loads, limits and joints ask of the sizes.</summary>
internal sealed partial class SizingRun
{
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
        foreach (var r in first.Remarks)
            if (r.Kind is LoadRemarkKind.StrutStandsOnNothing or LoadRemarkKind.BraceLoose)
            {
                Least(_shaft[r.Segment], 1, "nothing was found that it stands on");
                if (_tip[r.Segment] is { } tip) Least(tip, 1, "nothing was found that it stands on");
            }
        for (var s = 0; s < _shaft.Length; s++)
        {
            (_shaft[s].Value, _shaft[s].Smallest, _shaft[s].Why) = (_shaft[s].Least, _shaft[s].Least, _shaft[s].LeastWhy);
            if (_tip[s] is { } t) (t.Value, t.Smallest, t.Why) = (t.Least, t.Least, t.LeastWhy);
        }
    }

    // Grows whatever a load asks for. The load belongs to plain enlarging or to the sizes as they are, and the limits to the
    // kinds or, once plain enlarging is known to keep them, to the segments.
    private void Grow(LoadResult load, bool atEnlarged)
    {
        var at = new Dictionary<Factor, double>();
        foreach (var f in _factors) at[f] = atEnlarged ? 1 : f.Value;
        foreach (var g in _enlarged.Segments)
        {
            var s = load.Segments[g.Id];
            for (var c = 1; c < s.UseOf.Length; c++)
            {
                var check = (LoadCheck)c;
                var limit = _limits.Of(g.Role, check);
                if (!(s.UseOf[c] > 0) || double.IsPositiveInfinity(limit)) continue;
                var f = Bears(g.Id, check);
                var ratio = s.UseOf[c] / limit;
                f.Raise(at[f] * Ratio(check, ratio, s.Slenderness), Why(g.Role, check), s.LayerOf[c]);
            }
            if (s.Slenderness > StrutCapacity.SlenderNote) _shaft[g.Id].Raise(at[_shaft[g.Id]] * s.Slenderness / StrutCapacity.SlenderNote, "slenderness 100", 0);
        }
        Agree();
    }

    // In a tip the contact end is the thinnest: pull there and push are its own, bending is that of its lower end.
    private Factor Bears(int segment, LoadCheck check) =>
        (check is LoadCheck.TipPull or LoadCheck.WallPullOut or LoadCheck.ShaftPush || (check == LoadCheck.StandingFree && _contactAtFrom[segment])) && _tip[segment] is { } tip ? tip : _shaft[segment];

    // The end that a broken limit is about stays at plain enlarging.
    private void Pin(LoadResult first)
    {
        foreach (var g in _enlarged.Segments)
            for (var c = 1; c < first.Segments[g.Id].UseOf.Length; c++)
            {
                if (!_limits.Over(g.Role, first.Segments[g.Id], (LoadCheck)c)) continue;
                var f = Bears(g.Id, (LoadCheck)c);
                (f.Value, f.Least, f.Why) = (1, 1, $"over its limit already at plain enlarging: {Why(g.Role, (LoadCheck)c)}");
            }
        Agree();
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
        if (check == LoadCheck.StandingFree && over < 1) return Math.Cbrt(over); // a thin root under a thick shaft bends with the cube
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

    private string Why(Role role, LoadCheck check) =>
        string.Create(CultureInfo.InvariantCulture, $"{StrutSizing.InWords(check)} ({(_limits.RelativeBinds(role, check) ? "relative" : "absolute")} rule, limit {_limits.Of(role, check):0.###})");

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
