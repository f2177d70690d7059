using Stiltwright.Geometry;
using Stiltwright.Geometry.Cutting;

namespace Stiltwright.Printing.Placing;

/// <summary>Takes off what a lowered raft has below the platform.</summary>
public static class RaftTrim
{
    /// <summary>The raft above z = 0, closed with a flat underside. Shells wholly below vanish.</summary>
    public static Mesh CutAtPlatform(Mesh raft) =>
        raft.TriangleCount == 0 || raft.Bounds.Min.Z >= 0 ? raft : PlaneCut.Cut(raft, Vec3.Up, 0).Above;
}
