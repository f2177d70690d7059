using Stiltwright.Geometry;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Splitting;

/// <summary>Takes some segments of a strut graph, with the shells that draw them, and numbers them anew.</summary>
public static class StrutSubset
{
    /// <summary>
    /// The graph of the segments that <paramref name="keep"/> names. A shell stays while one of its segments (or, for one that only
    /// covers a joint, of those that meet in it) does. An end whose neighbours are all gone is held by nothing.
    /// </summary>
    public static StrutGraph Of(StrutGraph graph, Func<StrutSegment, bool> keep)
    {
        ArgumentNullException.ThrowIfNull(graph);
        ArgumentNullException.ThrowIfNull(keep);
        var map = new int[graph.Segments.Count];
        var kept = new List<StrutSegment>();
        foreach (var s in graph.Segments)
        {
            map[s.Id] = keep(s) ? kept.Count : -1;
            if (map[s.Id] >= 0) kept.Add(s);
        }
        if (kept.Count == graph.Segments.Count) return graph;
        int[] Map(IReadOnlyList<int> ids) => [.. ids.Where(i => map[i] >= 0).Select(i => map[i])];
        var shells = new List<StrutShell>();
        var place = new int[graph.Shells.Count];
        for (var h = 0; h < place.Length; h++)
        {
            var shell = graph.Shells[h] with { Segments = Map(graph.Shells[h].Segments), JointOf = Map(graph.Shells[h].JointOf) };
            place[h] = shells.Count;
            if (shell.Segments.Count + shell.JointOf.Count > 0) shells.Add(shell);
        }
        var segments = new List<StrutSegment>(kept.Count);
        foreach (var s in kept)
        {
            int[] from = Map(s.FromJoins), to = Map(s.ToJoins);
            segments.Add(s with
            {
                Id = segments.Count,
                Shell = place[s.Shell],
                FromJoins = from,
                ToJoins = to,
                FromHeldBy = s.FromHeldBy == EndHeldBy.Strut && from.Length == 0 ? EndHeldBy.Nothing : s.FromHeldBy,
                ToHeldBy = s.ToHeldBy == EndHeldBy.Strut && to.Length == 0 ? EndHeldBy.Nothing : s.ToHeldBy,
            });
        }
        return new StrutGraph(segments, shells);
    }
}
