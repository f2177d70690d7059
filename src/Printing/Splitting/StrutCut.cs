using Stiltwright.Geometry;
using Stiltwright.Geometry.Cutting;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Splitting;

/// <summary>
/// Parts a strut graph at a plane: cut through by a level plane (shells capped, axes clipped), shared out whole at an upright one.
/// </summary>
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

    /// <summary>
    /// Shares whole struts out to the two sides of an upright plane: each chain goes, uncut, to the side of the figure that
    /// it touches, a brace to the side of both struts it joins. Only a brace between struts of different sides is left out.
    /// </summary>
    /// <returns>The graphs and the number of segments left out.</returns>
    public static (StrutGraph Below, StrutGraph Above, int LeftOut) Share(StrutGraph graph, Vec3 normal, double offsetMm)
    {
        const int unknown = -1, none = 2;
        bool IsAbove(Vec3 p) => normal.Dot(p) >= offsetMm;
        var sideOfChain = new Dictionary<int, int>();
        foreach (var s in graph.Segments)
            if (s.Contact is { } at) sideOfChain.TryAdd(s.Chain, IsAbove(at) ? 1 : 0);
        int Of(StrutSegment s)
        {
            // A foot goes with the pillar that stands on it: feet that overlap may be counted to one chain.
            if (s.Role == Role.Foot && Above(graph, s) is { } pillar) s = pillar;
            if (sideOfChain.TryGetValue(s.Chain, out var side)) return side;
            if (s.Role != Role.Brace) return IsAbove((s.From + s.To) * 0.5) ? 1 : 0;
            var ends = new HashSet<int>();
            foreach (var j in s.FromJoins.Concat(s.ToJoins))
                if (graph.Segments[j].Role != Role.Brace) ends.Add(sideOfChain.GetValueOrDefault(graph.Segments[j].Chain, unknown));
            return ends.Count == 1 && !ends.Contains(unknown) ? ends.Single() : ends.Count == 0 ? IsAbove((s.From + s.To) * 0.5) ? 1 : 0 : none;
        }
        var sideOf = graph.Segments.Select(Of).ToArray();
        Side[] sides = [new Side(graph), new Side(graph)];
        for (var h = 0; h < graph.Shells.Count; h++)
        {
            var shell = graph.Shells[h];
            var of = shell.Segments.Concat(shell.JointOf).Select(i => sideOf[i]).FirstOrDefault(x => x != none, shell.Segments.Count + shell.JointOf.Count > 0 ? none : IsAbove(shell.Shape.Bounds.Center) ? 1 : 0);
            if (of != none) sides[of].Take(h, shell.Shape);
        }
        foreach (var s in graph.Segments)
            if (sideOf[s.Id] != none) sides[sideOf[s.Id]].Take(s, s.Shell);
        return (sides[0].Build(), sides[1].Build(), sideOf.Count(x => x == none));
    }

    /// <summary>The segment that begins where a foot ends.</summary>
    private static StrutSegment? Above(StrutGraph graph, StrutSegment foot)
    {
        var best = foot.RadiusFrom + foot.RadiusTo;
        StrutSegment? found = null;
        foreach (var s in graph.Segments)
            if (s.Role is Role.Pillar or Role.Tip && s.From.DistanceTo(foot.To) is var d && d < best) (best, found) = (d, s);
        return found;
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
