using Stiltwright.Geometry;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Growing;
using Stiltwright.Printing.Splitting;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Placing;

/// <summary>A figure set nearer to its raft, its struts shortened.</summary>
/// <param name="LoweredMm">How far figure and struts were lowered, mm.</param>
/// <param name="Struts">The shortened struts with new feet.</param>
/// <param name="Raft">The raft: the old one where all feet still stand on it, else a new plate; empty where there was none.</param>
/// <param name="Regrown">Struts that grew anew because no foot fits under what was left of them.</param>
/// <param name="Blocked">Contacts that lost their strut and got no other.</param>
public sealed record Lowered(double LoweredMm, StrutGraph Struts, Mesh Raft, IReadOnlyList<GrownStrut> Regrown, IReadOnlyList<NoPath> Blocked);

/// <summary>
/// The gap under a figure grows with the scale: room for a hand at the source's scale is hundreds of needless layers at five
/// times it. Figure and struts are lowered together, what sinks below the ground is cut off, and feet and raft are made anew.
/// Platform at z = 0, mm.
/// </summary>
public static class FreeHeight
{
    /// <summary>Less than this is not worth new feet, mm.</summary>
    public const double LeastDropMm = 1;

    /// <summary>The raft reaches out round each foot by this, mm (common practice).</summary>
    private const double RaftMarginMm = 2;

    /// <summary>Bevel of a new raft's lower edge, mm (common practice).</summary>
    private const double ChamferMm = 0.8;

    /// <summary>Struts are sunk into the raft by this, or by half its thickness, mm.</summary>
    private const double SunkMm = 0.6;

    /// <summary>How far the figure can come down so that a gap is left above the raft (or above the platform without one), mm; 0 or less where it is as low already.</summary>
    public static double Drop(Mesh figure, Mesh raft, double gapMm)
    {
        ArgumentNullException.ThrowIfNull(figure);
        ArgumentNullException.ThrowIfNull(raft);
        if (figure.TriangleCount == 0) return 0;
        var drop = figure.Bounds.Min.Z - (raft.TriangleCount == 0 ? 0 : raft.Bounds.Max.Z) - gapMm;
        return figure.Lattice.ToMm(figure.Lattice.Round(drop)); // whole lattice units, so that nothing is rounded twice
    }

    /// <summary>Lowers the struts by a drop and gives them new feet and, where there was one, a new raft as thick as the old.</summary>
    /// <param name="figure">The figure with open and unsure shells, already lowered.</param>
    /// <param name="struts">The struts as enlarged, not yet lowered.</param>
    /// <param name="raft">The raft as enlarged.</param>
    /// <param name="dropMm">What <see cref="Drop"/> gave, above zero.</param>
    /// <param name="room">Where struts may stand, seen from above.</param>
    /// <param name="cancel">Stops the work.</param>
    /// <returns>Null where no strut tells how thick a new one should be, so that nothing can be made anew.</returns>
    public static Lowered? Apply(Mesh figure, StrutGraph struts, Mesh raft, double dropMm, Box3 room, CancellationToken cancel)
    {
        ArgumentNullException.ThrowIfNull(figure);
        ArgumentNullException.ThrowIfNull(struts);
        ArgumentNullException.ThrowIfNull(raft);
        var lattice = figure.Lattice;
        if (GrowthSizes.Like(struts.Segments) is not { } sizes) return null;
        var raftTop = raft.TriangleCount == 0 ? 0 : raft.Bounds.Max.Z;
        var ground = lattice.ToMm(lattice.Round(raftTop - Math.Min(SunkMm, raftTop / 2)));
        // The ground is z = 0 while the struts are made to stand.
        var down = Affine.Translation(new Vec3(0, 0, -ground));
        var cut = StrutShapes.CutBelow(struts.Placed(Affine.Translation(new Vec3(0, 0, -ground - dropMm)), lattice), 0);
        // Braces that the ground cuts hold nothing up.
        cut = StrutSubset.Of(cut, s => s.Role != Role.Brace || s.FromHeldBy != EndHeldBy.Platform && s.ToHeldBy != EndHeldBy.Platform);
        var settled = StrutSettling.Settle(figure.Placed(down, lattice), cut, Mesh.Empty(lattice), true, [], _ => true, room, sizes, cancel);
        var up = Affine.Translation(new Vec3(0, 0, ground));
        var standing = settled.Struts.Placed(up, lattice);
        var blocked = settled.Blocked.Select(b => b with { Spot = b.Spot with { At = up.Apply(b.Spot.At) } }).ToList();
        var regrown = settled.Regrown.Select(g => g with { Spot = g.Spot with { At = up.Apply(g.Spot.At) }, FootAt = up.Apply(g.FootAt) }).ToList();
        if (raftTop == 0) return new Lowered(dropMm, standing, raft, regrown, blocked);
        standing = new StrutGraph([.. standing.Segments.Select(s => s with
        {
            FromHeldBy = s.FromHeldBy == EndHeldBy.Platform ? EndHeldBy.Raft : s.FromHeldBy,
            ToHeldBy = s.ToHeldBy == EndHeldBy.Platform ? EndHeldBy.Raft : s.ToHeldBy,
        })], standing.Shells);
        var feet = standing.Segments.Where(s => s.FromHeldBy == EndHeldBy.Raft).Select(s => (s.From.X, s.From.Y, Radius: s.RadiusFrom)).ToList();
        // The old raft stays where every foot still finds it; leaning struts, cut higher up, may stand beside it.
        var old = new GrowthScene(TriangleTree.Build(figure), raft, room);
        if (!feet.All(f => old.Ground(f.X, f.Y, f.Radius).By == EndHeldBy.Raft))
            raft = RaftPlate.Under([.. feet.Select(f => (f.X, f.Y, f.Radius + RaftMarginMm))], raftTop, ChamferMm, lattice);
        return new Lowered(dropMm, standing, raft, regrown, blocked);
    }
}
