using Stiltwright.Geometry;

namespace Stiltwright.Sdk;

/// <summary>How much a finding matters.</summary>
public enum Level
{
    /// <summary>Good to know; the set is ready.</summary>
    Note,

    /// <summary>A person must look before printing.</summary>
    Check,

    /// <summary>Not printable as it is.</summary>
    Stop,
}

/// <summary>
/// Something a person should know. The text says what, where and in which numbers; the advice says what would make it go.
/// </summary>
/// <param name="Id">One of <see cref="FindingIds"/> or a plug-in's own, lower case with hyphens.</param>
/// <param name="Level">How much it matters.</param>
/// <param name="Text">One or two sentences with numbers and units.</param>
/// <param name="Advice">What to do about it.</param>
public sealed record Finding(string Id, Level Level, string Text, string Advice)
{
    /// <summary>Place in the coordinates of the set (of the piece's file where <see cref="Piece"/> is given), mm.</summary>
    public Vec3? AtMm { get; init; }

    /// <summary>Layer, counted from 1 at the platform.</summary>
    public int? Layer { get; init; }

    /// <summary>Letter of the piece it is about; null for the whole set.</summary>
    public string? Piece { get; init; }

    /// <summary>File name of a picture in the set, filled in by the worker.</summary>
    public string? Picture { get; init; }
}

/// <summary>The names of the findings that the house itself gives.</summary>
public static class FindingIds
{
#pragma warning disable CS1591 // Each name is its own description; the list is explained in docs/findings.md.
    public const string StrutsUnsure = "struts-unsure";
    public const string StrutOverloaded = "strut-overloaded";
    public const string ContactsFarApart = "contacts-far-apart";
    public const string StrutAdded = "strut-added";
    public const string StrutThicker = "strut-thicker";
    public const string RaftMissing = "raft-missing";
    public const string SurfaceOpen = "surface-open";
    public const string SurfaceCrossing = "surface-crossing";
    public const string ShellInverted = "shell-inverted";
    public const string UnitDoubt = "unit-doubt";
    public const string WallThin = "wall-thin";
    public const string CavityNone = "cavity-none";
    public const string CavitySealed = "cavity-sealed";
    public const string ResinTrapped = "resin-trapped";
    public const string CupPulls = "cup-pulls";
    public const string Island = "island";
    public const string LayerPeak = "layer-peak";
    public const string FacetsVisible = "facets-visible";
    public const string FacetsSmoothed = "facets-smoothed";
    public const string OutgrowsPrinter = "outgrows-printer";
    public const string SplitNeeded = "split-needed";
    public const string SeamReview = "seam-review";
    public const string Topples = "topples";
    public const string HeavyToLift = "heavy-to-lift";
    public const string PlugLoose = "plug-loose";
    public const string StrutsNone = "struts-none";
    public const string SourceLarge = "source-large";
    public const string HeightDoubt = "height-doubt";
    public const string PlatformGrip = "platform-grip";
    public const string PlatformLoad = "platform-load";
    public const string VatRefill = "vat-refill";
    public const string JointLoose = "joint-loose";
    public const string StageFailed = "stage-failed";
    public const string SourceUnreadable = "source-unreadable";
#pragma warning restore CS1591
}
