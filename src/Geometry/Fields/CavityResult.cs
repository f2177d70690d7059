namespace Stiltwright.Geometry.Fields;

/// <summary>One hollow.</summary>
/// <param name="Surface">Its border as a closed, 2-manifold mesh on the figure's lattice with positive volume (normals point out of the hollow, into the material).</param>
/// <param name="VolumeMm3">Its volume, mm3.</param>
/// <param name="InscribedRadiusMm">Radius of a ball found to fit into it, mm (a lower bound of the largest).</param>
/// <param name="WallMinMm">Least distance of measured points of its surface from the figure's outer surface, mm.</param>
/// <param name="WallMeanMm">Mean of that distance by area, mm.</param>
/// <param name="WallP99Mm">The distance that 99 % of its area stay at or below, mm.</param>
public sealed record CavityPart(Mesh Surface, double VolumeMm3, double InscribedRadiusMm, double WallMinMm, double WallMeanMm, double WallP99Mm)
{
    /// <summary>
    /// How much deeper than asked the measured points lie at most, mm: beyond the wall below the outer surface, or beyond the border of
    /// a place kept solid where that is what holds the cavity back.
    /// </summary>
    public double DeeperMm { get; init; }
}

/// <summary>The hollows of a figure.</summary>
public sealed record CavityResult
{
    /// <summary>The hollows, largest first; none where the figure is too thin.</summary>
    public required IReadOnlyList<CavityPart> Parts { get; init; }

    /// <summary>Hollows left solid because they were too small.</summary>
    public int Dropped { get; init; }

    /// <summary>Their volume, mm3.</summary>
    public double DroppedMm3 { get; init; }

    /// <summary>Edge of the cells used, mm.</summary>
    public double CellMm { get; init; }

    /// <summary>Triangles of all hollows before edges are drawn together (where the surface is flat, fewer than the cells' own).</summary>
    public int TrianglesBefore { get; init; }

    /// <summary>How much deeper than the wall the surface still lies, at most, at inner edges that could not be put back; 0: nowhere beyond what was asked.</summary>
    public double BluntMm { get; init; }

    /// <summary>The same in gaps less than a cell wide, between walls that face each other, mm.</summary>
    public double GapMm { get; init; }

    /// <summary>Where that gap is, mm.</summary>
    public Vec3 GapAt { get; init; }

    /// <summary>Why the figure cannot be hollowed at all, as a sentence; null where it can.</summary>
    public string? Refusal { get; init; }
}
