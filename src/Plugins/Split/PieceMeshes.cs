using Stiltwright.Geometry;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Split;

/// <summary>All that prints in a piece.</summary>
internal static class PieceMeshes
{
    public static IEnumerable<Mesh> All(Piece p) => [p.Outer, p.Untouched, p.Raft, .. p.Struts.Shells.Select(h => h.Shape)];

    /// <summary>Box of the figure alone, pegs and open shells with it.</summary>
    public static Box3 Figure(Piece p) => new[] { p.Outer, p.Untouched }.Where(m => m.TriangleCount > 0).Aggregate(Box3.Empty, (b, m) => b.With(m.Bounds));

    public static Box3 Box(Piece p) => All(p).Where(m => m.TriangleCount > 0).Aggregate(Box3.Empty, (b, m) => b.With(m.Bounds));
}
