using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Loads;

/// <summary>How hard each kind of strut may be used in each check, by the two rules.</summary>
internal sealed class UseLimits
{
    /// <summary>Percentile of the source's uses that is taken as proven.</summary>
    public const double Percentile = 0.95;

    // A kept strut that is used by this share harder than in the source is not called overloaded: rounding of areas.
    private const double SameAsSource = 0.02;

    // Sizes are settled to a thousandth; what is over by less than twice that is not over.
    private const double Settled = 2e-3;

    private const double SameUse = 0.05;

    private readonly double[,] _relative;
    private readonly double _absolute;
    private readonly LoadResult? _source;
    private readonly int[] _inSource; // by segment: the same strut in the source, -1 where there is none

    public UseLimits(SizingRequest request, LoadResult? source)
    {
        _source = request.Rule == SizingRule.Absolute ? null : source;
        _inSource = SameStrut(request);
        _absolute = request.Rule == SizingRule.Relative ? double.PositiveInfinity : 1 / request.Safety;
        Safety = request.Safety;
        var checks = Enum.GetValues<LoadCheck>().Length;
        var roles = Enum.GetValues<Role>().Length;
        _relative = new double[roles, checks];
        for (var r = 0; r < roles; r++)
            for (var c = 0; c < checks; c++) _relative[r, c] = double.PositiveInfinity;
        if (_source is null || request.Source is null) return;
        var segments = request.Source.Struts.Segments;
        for (var r = 0; r < roles; r++)
            for (var c = 1; c < checks; c++)
            {
                if ((LoadCheck)c == LoadCheck.StandingFree) continue; // its load is its own, not the figure's: constants decide
                double[] uses = [.. _source.Segments.Where(s => (int)segments[s.Segment].Role == r && s.UseOf[c] > 0).Select(s => s.UseOf[c]).Order()];
                if (uses.Length > 0) _relative[r, c] = At(uses, Percentile);
            }
    }

    /// <summary>Safety factor of the absolute rule.</summary>
    public double Safety { get; }

    /// <summary>True if the relative rule takes part.</summary>
    public bool Relative => _source is not null;

    /// <summary>Use that a kind may reach in a check; infinite where nothing limits it.</summary>
    public double Of(Role role, LoadCheck check) => Math.Min(_absolute, _relative[(int)role, (int)check]);

    /// <summary>True if the relative limit is the lower one.</summary>
    public bool RelativeBinds(Role role, LoadCheck check) => _relative[(int)role, (int)check] < _absolute;

    /// <summary>True if a segment is over the limit of its kind in a check.</summary>
    public bool Over(Role role, SegmentLoad load, LoadCheck check) => load.UseOf[(int)check] > Of(role, check) * (1 + Settled);

    /// <summary>
    /// Use that a segment may reach in a check after thinning: the limit of its kind; where plain enlarging is over that
    /// already, what it bears there, or what it bore in the source where that was more.
    /// </summary>
    public double Allowed(Role role, SegmentLoad asEnlarged, LoadCheck check)
    {
        var limit = Of(role, check);
        if (!Over(role, asEnlarged, check)) return Math.Max(limit, asEnlarged.UseOf[(int)check]);
        var own = InSource(asEnlarged.Segment, check);
        return Math.Max(own, asEnlarged.UseOf[(int)check]);
    }

    /// <summary>True if a segment is used harder than its kind's percentile and than it was itself in the source.</summary>
    public bool OverRelative(Role role, SegmentLoad load)
    {
        if (_source is null) return false;
        for (var c = 1; c < load.UseOf.Length; c++)
        {
            if (double.IsPositiveInfinity(_relative[(int)role, c])) continue;
            var own = InSource(load.Segment, (LoadCheck)c);
            if (load.UseOf[c] > Math.Max(_relative[(int)role, c], own) * (1 + SameAsSource)) return true;
        }
        return false;
    }

    /// <summary>Use that the same strut reached in the source; 0 where there is no such strut.</summary>
    public double InSource(int segment, LoadCheck check) => _source is not null && _inSource[segment] is >= 0 and var same ? _source.Segments[same].UseOf[(int)check] : 0;

    /// <summary>
    /// How far a use is over what a segment may reach: over 1 where it is above the limit of its kind and above what the same strut
    /// bore in this check in the source (raster and layers differ a little between the scales).
    /// </summary>
    public double Beyond(Role role, SegmentLoad load, LoadCheck check)
    {
        var may = Math.Max(Of(role, check) * (1 + Settled), InSource(load.Segment, check) * (1 + SameUse));
        return load.UseOf[(int)check] / may;
    }

    /// <summary>True if use times safety is above 1.</summary>
    public bool OverAbsolute(SegmentLoad load) => load.Use * Safety > 1 + Settled;

    // By the number that enlarging and cutting keep; a graph without such numbers is the source's own where it is as long.
    private static int[] SameStrut(SizingRequest request)
    {
        var segments = request.Enlarged.Struts.Segments;
        var count = request.Source?.Struts.Segments.Count ?? 0;
        var numbered = segments.Any(g => g.SourceId >= 0);
        return [.. segments.Select(g => numbered ? g.SourceId < count ? g.SourceId : -1 : segments.Count == count ? g.Id : -1)];
    }

    // Linear between ranks.
    private static double At(double[] sorted, double share)
    {
        var place = share * (sorted.Length - 1);
        var low = (int)place;
        return low + 1 < sorted.Length ? sorted[low] + (place - low) * (sorted[low + 1] - sorted[low]) : sorted[low];
    }
}
