using Stiltwright.Geometry;
using Stiltwright.Geometry.Cutting;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Splitting;

/// <summary>Cuts a strut graph with a plane: shells are cut and capped, axes clipped, joints kept where both sides of them stay.</summary>
public static class StrutCut
{
    /// <summary>
    /// The parts below (n.p &lt; offset) and above the plane, each a graph of its own, and the number of segments cut.
    /// <paramref name="heldAtPlane"/> says what holds an end that the cut made.
    /// </summary>
    public static (StrutGraph Below, StrutGraph Above, int Cut) Split(StrutGraph graph, Vec3 normal, double offsetMm, EndHeldBy heldAtPlane)
    {
        var below = new Side(graph);
        var above = new Side(graph);
        var cut = 0;
        for (var h = 0; h < graph.Shells.Count; h++)
        {
            var shell = graph.Shells[h];
            var (low, high) = Reach(shell.Shape, normal);
            if (high <= offsetMm) below.Take(h, shell.Shape);
            else if (low >= offsetMm) above.Take(h, shell.Shape);
            else
            {
                var parts = PlaneCut.Cut(shell.Shape, normal, offsetMm);
                if (parts.Below.TriangleCount > 0) below.Take(h, parts.Below);
                if (parts.Above.TriangleCount > 0) above.Take(h, parts.Above);
            }
        }
        foreach (var s in graph.Segments)
        {
            double a = normal.Dot(s.From) - offsetMm, b = normal.Dot(s.To) - offsetMm;
            if (a < 0 && b < 0 || a <= 0 && b <= 0) below.Take(s, s.Shell);
            else if (a >= 0 && b >= 0) above.Take(s, s.Shell);
            else
            {
                cut++;
                var t = a / (a - b);
                var at = s.From + (s.To - s.From) * t;
                var radius = s.RadiusFrom + (s.RadiusTo - s.RadiusFrom) * t;
                var lower = s with { To = at, RadiusTo = radius, ToHeldBy = heldAtPlane == EndHeldBy.Platform ? EndHeldBy.Nothing : heldAtPlane, ToJoins = [], Contact = null, ContactNormal = null };
                var upper = s with { From = at, RadiusFrom = radius, FromHeldBy = heldAtPlane, FromJoins = [] };
                (a < 0 ? below : above).Take(lower, s.Shell);
                (a < 0 ? above : below).Take(upper, s.Shell);
            }
        }
        return (below.Build(), above.Build(), cut);
    }

    private static (double Low, double High) Reach(Mesh mesh, Vec3 normal)
    {
        double low = double.PositiveInfinity, high = double.NegativeInfinity;
        for (var v = 0; v < mesh.VertexCount; v++)
        {
            var d = normal.Dot(mesh.Vertex(v));
            low = Math.Min(low, d);
            high = Math.Max(high, d);
        }
        return (low, high);
    }

    /// <summary>One side of the cut while it is gathered; old numbers are mapped to new ones at the end.</summary>
    private sealed class Side(StrutGraph old)
    {
        private readonly List<(int Old, Mesh Shape)> _shells = [];
        private readonly Dictionary<int, int> _newShell = [];
        private readonly List<StrutSegment> _segments = [];
        private readonly Dictionary<int, int> _newSegment = [];

        public void Take(int shell, Mesh shape)
        {
            _newShell[shell] = _shells.Count;
            _shells.Add((shell, shape));
        }

        public void Take(StrutSegment segment, int shell)
        {
            if (!_newShell.ContainsKey(shell)) return; // nothing of its shell is left on this side
            _newSegment[segment.Id] = _segments.Count;
            _segments.Add(segment);
        }

        public StrutGraph Build() => new(
            [.. _segments.Select((s, i) => s with { Id = i, Shell = _newShell[s.Shell], FromJoins = Map(s.FromJoins), ToJoins = Map(s.ToJoins) })],
            [.. _shells.Select(h => new StrutShell(h.Shape, Map(old.Shells[h.Old].Segments), Map(old.Shells[h.Old].JointOf)))]);

        private int[] Map(IReadOnlyList<int> ids) => [.. ids.Where(_newSegment.ContainsKey).Select(id => _newSegment[id])];
    }
}
