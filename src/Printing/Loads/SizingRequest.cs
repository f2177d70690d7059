namespace Stiltwright.Printing.Loads;

/// <summary>Which evidence decides how thin a strut may be.</summary>
public enum SizingRule
{
    /// <summary>Both rules must be kept.</summary>
    Both,

    /// <summary>No strut is used harder, in any check, than the 95th percentile of its kind in the source.</summary>
    Relative,

    /// <summary>Use times safety is at most 1 with the resin's constants.</summary>
    Absolute,
}

/// <summary>What the sizing starts from.</summary>
public sealed record SizingRequest
{
    /// <summary>The piece as it will print, with its struts as plain enlarging makes them.</summary>
    public required LoadScene Enlarged { get; init; }

    /// <summary>The source at its own scale with its own struts, taken to have printed well; null where there is no such evidence.</summary>
    public LoadScene? Source { get; init; }

    /// <summary>Which rule decides. Without a source, <see cref="SizingRule.Both"/> is the absolute rule alone.</summary>
    public SizingRule Rule { get; init; } = SizingRule.Both;

    /// <summary>Safety factor of the absolute rule; the only factor there is.</summary>
    public double Safety { get; init; } = 2.15;

    /// <summary>Thinnest pillar that is made, mm (circle of equal area).</summary>
    public double SmallestPillarMm { get; init; } = 0.8;

    /// <summary>Thinnest contact that is made, mm (circle of equal area).</summary>
    public double SmallestTipMm { get; init; } = 0.3;

    /// <summary>Segments that stay at plain enlarging because their role is not sure.</summary>
    public IReadOnlySet<int> Unsure { get; init; } = new HashSet<int>();
}

/// <summary>What was decided for a segment.</summary>
/// <param name="Segment">Its id.</param>
/// <param name="RadiusFrom">Corner radius at its lower end now, mm.</param>
/// <param name="RadiusTo">Corner radius at its upper end now, mm.</param>
/// <param name="Decision">"thinned", "kept" or "unsure".</param>
/// <param name="Use">Load over capacity of the hardest check at the new size, no factor in it.</param>
/// <param name="Check">That check.</param>
/// <param name="BoundBy">What set the size, in words.</param>
/// <param name="AtLayer">Layer at which it is used hardest, from 1; 0 where nothing loads it.</param>
/// <param name="OverRelative">Used harder than the source's own struts prove.</param>
/// <param name="OverAbsolute">Use times safety above 1.</param>
public sealed record SizedSegment(int Segment, double RadiusFrom, double RadiusTo, string Decision, double Use, LoadCheck Check, string BoundBy, int AtLayer,
    bool OverRelative, bool OverAbsolute)
{
    /// <summary>True where it must not be printed: over both rules, and beyond its capacity with a load factor of 1.5 (physics table 3.4).</summary>
    public bool Stop => OverRelative && OverAbsolute && 1.5 * Use > 1;

    /// <summary>True where a person should look: over a rule.</summary>
    public bool Overloaded => OverRelative || OverAbsolute;
}

/// <summary>What the sizing found.</summary>
/// <param name="Segments">One entry a segment, by id.</param>
/// <param name="AsEnlarged">Loads at plain enlarging.</param>
/// <param name="AsSized">Loads at the new sizes.</param>
/// <param name="OfSource">Loads of the source; null where it was not given.</param>
/// <param name="RelativeUsed">True if the relative rule took part.</param>
/// <param name="KeptPiece">Why nothing at all was thinned, in words; empty where something could be.</param>
/// <param name="Solves">How often loads were solved, at all layers or at those that matter.</param>
/// <param name="Raised">Steps it took from too thin sizes to such as keep all limits; 0 where the first sizes held.</param>
public sealed record SizingResult(IReadOnlyList<SizedSegment> Segments, LoadResult AsEnlarged, LoadResult AsSized, LoadResult? OfSource, bool RelativeUsed, string KeptPiece, int Solves, int Raised);
