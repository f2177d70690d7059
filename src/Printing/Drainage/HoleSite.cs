using Stiltwright.Geometry;

namespace Stiltwright.Printing.Drainage;

/// <summary>A place for a drain hole: a straight bore from the outside through the wall into a cavity. Lengths mm.</summary>
/// <param name="Outer">Where the axis leaves the figure.</param>
/// <param name="Inner">Where the axis enters the cavity.</param>
/// <param name="Axis">Outwards, unit vector.</param>
/// <param name="DiameterMm">Inner diameter.</param>
/// <param name="ToolFrom">Inner end of the drilling tool, inside the cavity.</param>
/// <param name="ToolTo">Outer end of the drilling tool, outside the figure.</param>
/// <param name="Purpose">"drain" or "air".</param>
/// <param name="Seen">Share of views from which the place shows, 0..1.</param>
public sealed record HoleSite(Vec3 Outer, Vec3 Inner, Vec3 Axis, double DiameterMm, Vec3 ToolFrom, Vec3 ToolTo, string Purpose, double Seen)
{
    /// <summary>Length of the bore, mm.</summary>
    public double WallMm => Outer.DistanceTo(Inner);
}

/// <summary>What the planner must know. All in the coordinates of the piece, mm.</summary>
public sealed record DrainRequest
{
    /// <summary>The closed outer shells of the figure.</summary>
    public required Mesh Outer { get; init; }

    /// <summary>The cavity, positive volume.</summary>
    public required Mesh Cavity { get; init; }

    /// <summary>Contacts of struts with their radius: no hole near them.</summary>
    public IReadOnlyList<(Vec3 At, double RadiusMm)> Contacts { get; init; } = [];

    /// <summary>Boxes in which no hole may start.</summary>
    public IReadOnlyList<Box3> NoHoles { get; init; } = [];

    /// <summary>Joint faces, pegs and the like: no hole within a radius.</summary>
    public IReadOnlyList<(Vec3 From, Vec3 To, double RadiusMm)> KeepClear { get; init; } = [];

    /// <summary>Height that closes holes: top of the raft, or 0 for the platform. A hole must open above it.</summary>
    public double ClosedBelowMm { get; init; }

    /// <summary>Diameter of the holes, mm.</summary>
    public required double DiameterMm { get; init; }

    /// <summary>Number of holes wanted, two at least.</summary>
    public int Holes { get; init; } = 2;

    /// <summary>Wall that was asked for, mm.</summary>
    public required double WallMm { get; init; }

    /// <summary>The side people look at, if known.</summary>
    public Vec3? Front { get; init; }

    /// <summary>Places that must be drained besides the lowest (pools found by flooding).</summary>
    public IReadOnlyList<Vec3> AlsoDrain { get; init; } = [];
}
