namespace Stiltwright.Geometry.Layers;

/// <summary>What a drain check is asked.</summary>
/// <param name="Down">The way liquid runs, in the part's coordinates (any length but 0).</param>
public sealed record DrainRequest(Vec3 Down)
{
    /// <summary>Liquid passes only where a ball of this radius does, mm: narrower passages count as shut.</summary>
    public double FlowRadiusMm { get; init; } = 0.6;

    /// <summary>Edge of the voxels, mm; null chooses 0.4 mm, or coarser for parts that would need more than 120 million voxels.</summary>
    public double? VoxelMm { get; init; }

    /// <summary>Groups whose union is the solid.</summary>
    public ulong Groups { get; init; } = Columns.AllGroups;

    /// <summary>
    /// Solid that is not in the columns: true where a place (mm) is shut, for instance by the platform or by a plinth the
    /// part stands on. Asked from several threads.
    /// </summary>
    public Func<Vec3, bool>? AlsoSolid { get; init; }

    /// <summary>Pools shallower than this many voxels are films on a rough floor, not pools.</summary>
    public double LeastDepthVoxels { get; init; } = 1.5;
}

/// <summary>Liquid that stays when the part is turned to a direction.</summary>
/// <param name="VolumeMm3">Volume below the level at which it would run over, mm3; all of it where there is no way out.</param>
/// <param name="Deepest">Its deepest place, mm: where a drain hole would have to open.</param>
/// <param name="DepthMm">Depth along the direction, mm.</param>
/// <param name="SpillAt">The lip over which it would run, mm; the highest place where there is no way out.</param>
/// <param name="Sealed">True if no passage of the asked width leads out.</param>
public sealed record TrappedPool(double VolumeMm3, Vec3 Deepest, double DepthMm, Vec3 SpillAt, bool Sealed);

/// <summary>The answer of a drain check.</summary>
/// <param name="Pools">Pools, largest first (also those on the outside of the part).</param>
/// <param name="VoxelMm">Edge of the voxels used, mm.</param>
/// <param name="FlowRadiusMm">Radius of the ball that had to pass, mm.</param>
public sealed record DrainResult(IReadOnlyList<TrappedPool> Pools, double VoxelMm, double FlowRadiusMm)
{
    /// <summary>Volume of all pools, mm3.</summary>
    public double TrappedMm3 => Pools.Sum(p => p.VolumeMm3);

    /// <summary>The pools whose deepest place a test accepts (for instance: lies in a certain cavity).</summary>
    public IReadOnlyList<TrappedPool> PoolsWhere(Func<Vec3, bool> holds) => [.. Pools.Where(p => holds(p.Deepest))];
}
