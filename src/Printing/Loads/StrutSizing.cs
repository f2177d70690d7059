using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Loads;

/// <summary>
/// Finds small safe sizes for every strut. A strut's shaft (foot, pillars, the tip's lower end) gets one factor, so that its
/// joints keep their proportions; the contact end of its tip gets one of its own. First sizes are those that the loads of
/// plain enlarging ask for; they grow with the load and nothing undercuts them. Thinner struts share loads out anew, and a
/// strut that stays thick draws load from its softer neighbours; so where the first sizes do not hold, steps along the slopes
/// of the hardest uses (which size relieves which strut, by virtual work) seek the least material at which every strut keeps
/// its limits; how many is told as <see cref="SizingResult.Raised"/>. What comes out was solved at every layer.
/// A segment that is over its limit already at plain enlarging stays as it is and holds up no other: what it may bear
/// is what it bears there, or what it proved in the source.
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

    /// <summary>
    /// The same decisions judged anew for the struts as they were built: ends led on into thinner struts, shared rings of one
    /// size, some left as enlarged. Uses are those of these very struts.
    /// </summary>
    /// <exception cref="ArgumentException">The built struts are not the sized ones.</exception>
    public static SizingResult AsBuilt(SizingRequest request, SizingResult sized, StrutGraph built, CancellationToken cancellation)
    {
        ArgumentNullException.ThrowIfNull(request);
        ArgumentNullException.ThrowIfNull(sized);
        ArgumentNullException.ThrowIfNull(built);
        if (built.Segments.Count != sized.Segments.Count) throw new ArgumentException($"{built.Segments.Count} segments were built, {sized.Segments.Count} were sized.", nameof(built));
        var load = LoadSolver.Solve(request.Enlarged with { Struts = built }, cancellation);
        var limits = new UseLimits(request, sized.OfSource);
        return sized with
        {
            AsSized = load,
            Solves = sized.Solves + 1,
            Segments = [.. sized.Segments.Select(s =>
            {
                var (g, l) = (built.Segments[s.Segment], load.Segments[s.Segment]);
                return s with
                {
                    RadiusFrom = g.RadiusFrom,
                    RadiusTo = g.RadiusTo,
                    Use = l.Use,
                    Check = l.Hardest,
                    AtLayer = l.AtLayer,
                    OverRelative = limits.OverRelative(g.Role, l),
                    OverAbsolute = request.Rule != SizingRule.Relative && limits.OverAbsolute(l),
                };
            })],
        };
    }

    /// <summary>
    /// Segments that are over a rule of safety at the sizes that a load was solved for, the hardest first. A use that the same
    /// strut reached in the source, in the same check, has its proof there; without a source, or under the absolute rule alone,
    /// nothing is proven.
    /// </summary>
    /// <param name="request">The rules, with the struts that the load belongs to.</param>
    /// <param name="load">The load.</param>
    /// <param name="source">That of the source; null where there is none.</param>
    public static IReadOnlyList<OverloadedStrut> Overloaded(SizingRequest request, LoadResult load, LoadResult? source)
    {
        ArgumentNullException.ThrowIfNull(request);
        ArgumentNullException.ThrowIfNull(load);
        var limits = new UseLimits(request, source);
        var list = new List<OverloadedStrut>();
        foreach (var s in load.Segments)
        {
            var role = request.Enlarged.Struts.Segments[s.Segment].Role;
            double over = 1;
            var check = LoadCheck.None;
            for (var c = 1; c < s.UseOf.Length; c++)
                if (limits.Beyond(role, s, (LoadCheck)c) is var of && of > over) (over, check) = (of, (LoadCheck)c);
            if (check != LoadCheck.None) list.Add(new OverloadedStrut(s.Segment, check, s.UseOf[(int)check], over, s.LayerOf[(int)check]));
        }
        return [.. list.OrderByDescending(o => o.Over).ThenBy(o => o.Segment)];
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
