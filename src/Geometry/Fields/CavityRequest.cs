namespace Stiltwright.Geometry.Fields;

/// <summary>All points within a radius of a segment.</summary>
/// <param name="From">One end of the axis, mm.</param>
/// <param name="To">Other end of the axis, mm; the same point makes it a ball.</param>
/// <param name="RadiusMm">Radius, mm, above zero.</param>
public readonly record struct Capsule(Vec3 From, Vec3 To, double RadiusMm);

/// <summary>All points p with Normal . p above an offset.</summary>
/// <param name="Normal">Unit normal, pointing into the half-space.</param>
/// <param name="OffsetMm">Distance of the border plane from the origin along the normal, mm.</param>
public readonly record struct HalfSpace(Vec3 Normal, double OffsetMm);

/// <summary>What a hollow should be like.</summary>
public sealed record CavityRequest
{
    /// <summary>Least wall between cavity and outer surface, mm.</summary>
    public required double WallMm { get; init; }

    /// <summary>Places that stay solid (under contacts, around pegs and holes).</summary>
    public IReadOnlyList<Capsule> KeepSolid { get; init; } = [];

    /// <summary>Half-spaces that stay solid whole.</summary>
    public IReadOnlyList<HalfSpace>? KeepSolidBeyond { get; init; }

    /// <summary>Edge of the field's cells, mm; null: a quarter of the wall within 0.15 .. 0.6 mm, more for very large figures. Never above a third of the wall.</summary>
    public double? CellMm { get; init; }

    /// <summary>Hollows smaller than this stay solid, mm3.</summary>
    public double LeastVolumeMm3 { get; init; } = 500;

    /// <summary>Hollows into which no ball of this radius fits stay solid, mm.</summary>
    public double LeastRadiusMm { get; init; } = 1.5;

    /// <summary>How far the cavity's surface may move inwards to save triangles, mm; 0: not at all. The wall asked is kept either way.</summary>
    public double SimplifyMm { get; init; } = 0.08;

    /// <summary>
    /// How much deeper than the wall the surface may lie where inner edges and corners are sharp, mm; infinite: as the cells blunt them.
    /// Never less than what the level and the saving of triangles need.
    /// </summary>
    public double DeeperMm { get; init; } = 0.2;

    /// <summary>Threads at most; 0: as many as there are processors. The result does not depend on it.</summary>
    public int MaxThreads { get; init; }
}
