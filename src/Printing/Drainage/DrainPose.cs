using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;

namespace Stiltwright.Printing.Drainage;

/// <summary>How a piece drains best.</summary>
/// <param name="Down">The way liquid runs, unit vector.</param>
/// <param name="TrappedMm3">What stays in each cavity, mm3.</param>
/// <param name="Pools">The pools in each cavity, largest first.</param>
/// <param name="Sealed">True for each cavity that no passage opens.</param>
public sealed record DrainPose(Vec3 Down, IReadOnlyList<double> TrappedMm3, IReadOnlyList<IReadOnlyList<TrappedPool>> Pools, IReadOnlyList<bool> Sealed)
{
    /// <summary>A pool below this share of its cavity counts as emptied by tilting the part about, which everybody does (common practice).</summary>
    public const double HarmlessShare = 0.01;

    /// <summary>A pool this small is a film, mm3.</summary>
    public const double HarmlessMm3 = 60;

    /// <summary>True if what stays in a cavity is harmless.</summary>
    public static bool Harmless(double trappedMm3, double cavityMm3) => trappedMm3 <= Math.Max(HarmlessMm3, HarmlessShare * cavityMm3);

    /// <summary>
    /// Tries the directions that let holes point down, raft down and raft up, and takes the first that leaves nothing
    /// harmful, else the one that leaves least. Flooding decides (<see cref="DrainFlood"/>).
    /// </summary>
    /// <param name="figure">Columns of the figure with cavities and holes.</param>
    /// <param name="groups">Groups of it that are the solid.</param>
    /// <param name="cavities">The cavities with their volume and a test whether a place lies in them.</param>
    /// <param name="holes">Outward axes of the holes, drains first.</param>
    /// <param name="cancel">Stops the work.</param>
    public static DrainPose Find(Columns figure, ulong groups, IReadOnlyList<(double VolumeMm3, Func<Vec3, bool> Holds)> cavities, IReadOnlyList<Vec3> holes, CancellationToken cancel)
    {
        var runs = figure.Runs(groups);
        DrainPose? best = null;
        foreach (var down in Directions(holes))
        {
            cancel.ThrowIfCancellationRequested();
            var flood = DrainFlood.Run(runs, new Geometry.Layers.DrainRequest(down) { Groups = groups }, cancel);
            var trapped = new double[cavities.Count];
            var pools = cavities.Select(_ => new List<TrappedPool>()).ToArray();
            var closed = new bool[cavities.Count];
            foreach (var pool in flood.Pools)
                for (var c = 0; c < cavities.Count; c++)
                    if (cavities[c].Holds(pool.Deepest))
                    {
                        trapped[c] += pool.VolumeMm3;
                        pools[c].Add(pool);
                        closed[c] |= pool.Sealed && pool.VolumeMm3 > 0.5 * cavities[c].VolumeMm3;
                        break;
                    }
            var pose = new DrainPose(down, trapped, pools, closed);
            if (best is null || trapped.Sum() < best.TrappedMm3.Sum()) best = pose;
            if (Enumerable.Range(0, cavities.Count).All(c => Harmless(trapped[c], cavities[c].VolumeMm3))) break;
        }
        return best!;
    }

    private static IEnumerable<Vec3> Directions(IReadOnlyList<Vec3> holes)
    {
        foreach (var h in holes.Take(2)) yield return h;
        yield return new Vec3(0, 0, -1);
        if (holes.Count > 0) yield return (holes[0] + new Vec3(0, 0, -1)).Unit() is { LengthSquared: > 0.1 } tilt ? tilt : new Vec3(0, 1, 0);
        yield return new Vec3(0, 0, 1);
        foreach (var h in holes.Skip(2)) yield return h;
    }
}
