using Stiltwright.Geometry;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Growing;

/// <summary>A place on the figure's underside that wants a strut.</summary>
/// <param name="At">On the surface, mm.</param>
/// <param name="Normal">Out of the figure there, unit vector.</param>
/// <param name="Why">In words, for the summary.</param>
public sealed record GrowthSpot(Vec3 At, Vec3 Normal, string Why)
{
    /// <summary>From the figure down along the tip that was there before; null for a new contact.</summary>
    public Vec3? TipAxis { get; init; }

    /// <summary>Sizes of the strut that was there before; null for those of the scene.</summary>
    public GrowthSizes? Sizes { get; init; }

    /// <summary>Volume that hangs free above it before it joins something held, mm3; 0 where nothing does.</summary>
    public double FreeMm3 { get; init; }

    /// <summary>Number of the source's segment whose contact this is; -1 for a new one.</summary>
    public int SourceId { get; init; } = -1;
}

/// <summary>A strut that was added.</summary>
/// <param name="Spot">What it holds.</param>
/// <param name="Segments">Its segments in the new graph, from below.</param>
/// <param name="Chain">Its chain.</param>
/// <param name="FootAt">Where it stands.</param>
/// <param name="HeldBy">Raft, platform or another strut.</param>
/// <param name="Braces">Braces that were added to it.</param>
public sealed record GrownStrut(GrowthSpot Spot, IReadOnlyList<int> Segments, int Chain, Vec3 FootAt, EndHeldBy HeldBy, int Braces)
{
    /// <summary>The way it takes.</summary>
    internal StrutPath? Path { get; init; }
}

/// <summary>A place for which no clear path was found.</summary>
/// <param name="Spot">The place.</param>
/// <param name="Why">What was in the way, in words.</param>
public sealed record NoPath(GrowthSpot Spot, string Why);

/// <summary>What grew.</summary>
/// <param name="Graph">The struts with the new ones behind them; older numbers stay.</param>
/// <param name="Grown">The new struts.</param>
/// <param name="Blocked">Places without a path.</param>
public sealed record GrowthResult(StrutGraph Graph, IReadOnlyList<GrownStrut> Grown, IReadOnlyList<NoPath> Blocked);
