using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>One shell while its role is being found: its shape, and what its ends touch.</summary>
internal sealed class ScenePart
{
    public required Shell Shell { get; init; }

    public TubeShape? Tube { get; init; }

    public BallShape? Ball { get; init; }

    /// <summary>Rests flat on the lowest plane and is no taller than a raft.</summary>
    public bool Low { get; init; }

    /// <summary>The shell closed and turned outwards, where a rod's shell is open at an end or inside out; null where it is sound.</summary>
    public Mesh? Mended { get; init; }

    public int Index => Shell.Index;

    /// <summary>Other tubes on which an end (0 lower, 1 upper) of this tube lies.</summary>
    public List<EndJoin>[] Joins { get; } = [[], []];

    /// <summary>Low part on which an end stands, or -1.</summary>
    public int[] OnLow { get; } = [-1, -1];

    /// <summary>True for an end that stands on the platform plane.</summary>
    public bool[] OnPlatform { get; } = [false, false];

    /// <summary>Contact of an end with the surface of a shell that is neither tube nor ball.</summary>
    public SurfaceContact?[] OnBulk { get; } = [null, null];

    /// <summary>Times the axis crosses such a surface away from its contacts.</summary>
    public int Crossings { get; set; }

    public Vec3 End(int end) => end == 0 ? Tube!.EndA : Tube!.EndB;

    public double EndRadius(int end) => end == 0 ? Tube!.RadiusA : Tube!.RadiusB;

    /// <summary>An end that is clearly thinner than the tube's widest place.</summary>
    public bool Thins(int end, double share) => EndRadius(end) <= share * Tube!.LargestRadius;

    /// <summary>What makes two shells children of one generator: corners of the section, triangles, pieces.</summary>
    public (int Sides, int Triangles, int Pieces) Signature => (Tube!.Pieces.MaxBy(p => p.Length).Section.Sides, Shell.Triangles.Length, Tube.Pieces.Count);
}

/// <summary>An end of one tube lying on another tube.</summary>
/// <param name="Other">The other tube, by shell number.</param>
/// <param name="Piece">Piece of the other tube.</param>
/// <param name="T">Place along that piece, 0..1.</param>
/// <param name="Radius">Radius of the other tube there, mm.</param>
/// <param name="OtherEnd">0 or 1 where it meets the other's end, -1 where it meets its body.</param>
internal readonly record struct EndJoin(int Other, int Piece, double T, double Radius, int OtherEnd);

/// <summary>Where a strut's end meets a surface.</summary>
/// <param name="Shell">The shell it belongs to.</param>
/// <param name="Point">The place where the axis goes through the surface (else the nearest point).</param>
/// <param name="Normal">Outward normal there.</param>
/// <param name="DepthMm">How deep the end lies inside (negative: outside).</param>
internal sealed record SurfaceContact(int Shell, Vec3 Point, Vec3 Normal, double DepthMm);
