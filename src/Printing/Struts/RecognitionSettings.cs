namespace Stiltwright.Printing.Struts;

/// <summary>Limits of recognition. Lengths in mm of the source; the defaults are common practice of resin printing.</summary>
public sealed record RecognitionSettings
{
    /// <summary>A strut is accepted at this confidence or above.</summary>
    public double Accept { get; init; } = 0.97;

    /// <summary>A strut-like shell below this confidence is figure; between the two it is unsure.</summary>
    public double Reject { get; init; } = 0.5;

    /// <summary>A raft is not thicker than this, mm.</summary>
    public double MostRaftMm { get; init; } = 4;

    /// <summary>A shell with more triangles than this is not examined as a strut.</summary>
    public int MostTrianglesOfStrut { get; init; } = 20_000;

    /// <summary>A strut's radius is at most this share of the scene's diagonal.</summary>
    public double WidestStrutShare { get; init; } = 0.05;

    /// <summary>A gap between parts that still counts as touching, mm.</summary>
    public double TouchMm { get; init; } = 0.1;

    /// <summary>The contact end of a strut is at most this share of its shaft's radius.</summary>
    public double ThinShare { get; init; } = 0.8;
}
