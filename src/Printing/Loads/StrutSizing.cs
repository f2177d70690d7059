namespace Stiltwright.Printing.Loads;

/// <summary>
/// Finds the smallest safe size of every strut. A strut's shaft (foot, pillars, the tip's lower end) gets one factor, so that
/// its joints keep their proportions; the contact end of its tip gets one of its own. How loads are shared depends on how
/// stiff each strut is, so sizes come from the larger of two loads: with all struts at plain enlarging, and with all at
/// their smallest. Both grow with the load, so a higher load or safety asks for no thinner strut. Then loads are shared
/// out anew at the sizes found, and what is used too hard grows again, with its neighbours where it is at its largest
/// (how often is told, as <see cref="SizingResult.Raised"/>). If that does not settle, sizes go back towards plain enlarging,
/// along their own pattern or with one factor for all shafts and one for all contacts, as far as the limits ask.
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
