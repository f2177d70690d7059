using Stiltwright.Geometry;
using Stiltwright.Printing.Resin;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Loads;

/// <summary>A hole that lets resin into a hollow while it prints.</summary>
/// <param name="Hollow">Bounds of the hollow that it serves, mm; cups within it count as vented by this hole.</param>
/// <param name="AtMm">Where it leaves the figure; it serves layers above.</param>
/// <param name="DiameterMm">Least diameter, mm.</param>
/// <param name="WallMm">Length of the hole, mm.</param>
public sealed record CupVent(Box3 Hollow, Vec3 AtMm, double DiameterMm, double WallMm);

/// <summary>All that the load solver looks at. Millimetres, print pose, platform at z = 0.</summary>
public sealed record LoadScene
{
    /// <summary>The figure as it will print, without struts and raft.</summary>
    public required FigureLayers Figure { get; init; }

    /// <summary>The struts at the sizes to be checked.</summary>
    public required StrutGraph Struts { get; init; }

    /// <summary>The resin.</summary>
    public required ResinData Resin { get; init; }

    /// <summary>The printer.</summary>
    public required PrinterData Printer { get; init; }

    /// <summary>Height of the raft's upper side, mm; 0 without raft. A body that begins there or lower stands on it.</summary>
    public double RaftTopMm { get; init; }

    /// <summary>Holes of the hollows.</summary>
    public IReadOnlyList<CupVent> Vents { get; init; } = [];

    /// <summary>Wall of a hollow figure under its contacts, mm; null for a solid one. Tips may tear out of a thin wall.</summary>
    public double? WallMm { get; init; }

    /// <summary>How far the separation load may lie off a region's centroid, as a share of its width.</summary>
    public double OffCentre { get; init; } = SeparationLoad.LiftOffCentre;
}
