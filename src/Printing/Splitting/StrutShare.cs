using Stiltwright.Geometry;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Splitting;

/// <summary>
/// Shares whole struts out to the pieces of a split: a strut goes to the piece that holds its contact, a brace to that of both
/// struts it ties. None is cut here; one that ties struts of different pieces is left out.
/// </summary>
public static class StrutShare
{
    /// <summary>Belongs to no piece.</summary>
    public const int None = -1;

    private const int Unknown = -2;

    /// <summary>The piece of every segment, or <see cref="None"/>.</summary>
    /// <param name="graph">The struts of the whole.</param>
    /// <param name="cells">The part of space that each piece's figure was cut to; together all of it.</param>
    public static int[] Owners(StrutGraph graph, IReadOnlyList<Box3> cells)
    {
        ArgumentNullException.ThrowIfNull(graph);
        ArgumentNullException.ThrowIfNull(cells);
        var segments = graph.Segments;
        var chainOf = segments.Select(s => s.Chain).ToArray();
        var owner = new Dictionary<int, int>();
        foreach (var s in segments)
            if (Upper(s) is { } at && s.Role != Role.Foot) owner.TryAdd(s.Chain, CellOf(at, cells));
        // Trunks without a contact of their own, then braces: those that they carry or tie decide.
        var joined = new Dictionary<int, SortedSet<int>>();
        void Join(int a, int b)
        {
            if (a == b) return;
            if (!joined.TryGetValue(a, out var set)) joined[a] = set = [];
            set.Add(b);
        }
        foreach (var s in segments)
            foreach (var j in s.FromJoins.Concat(s.ToJoins))
            {
                Join(s.Chain, chainOf[j]);
                Join(chainOf[j], s.Chain);
            }
        var braces = segments.GroupBy(s => s.Chain).Where(g => g.All(s => s.Role == Role.Brace)).Select(g => g.Key).ToHashSet();
        for (var round = 0; round < 6; round++)
            foreach (var chain in joined.Keys.Where(c => !owner.ContainsKey(c) && !braces.Contains(c)).Order().ToList())
            {
                var of = joined[chain].Where(c => !braces.Contains(c) && owner.ContainsKey(c)).Select(c => owner[c]).ToList();
                if (of.Count > 0) owner[chain] = of.GroupBy(x => x).OrderByDescending(g => g.Count()).ThenBy(g => g.Key).First().Key;
            }
        foreach (var chain in braces)
        {
            // Crossing braces touch each other too: only the struts decide.
            var of = joined.TryGetValue(chain, out var set) ? set.Where(c => !braces.Contains(c)).Select(c => owner.GetValueOrDefault(c, Unknown)).Distinct().ToList() : [];
            if (of.Count == 1 && of[0] != Unknown) owner[chain] = of[0];
            else owner[chain] = of.Count == 0 ? CellOf(Middle(segments.First(s => s.Chain == chain)), cells) : None;
        }
        var result = segments.Select(s => owner.TryGetValue(s.Chain, out var o) ? o : CellOf(s.To, cells)).ToArray();
        // A foot goes with the pillar that stands on it: feet that overlap may be counted to one chain.
        foreach (var foot in segments)
            if (foot.Role == Role.Foot && On(graph, foot) is { } pillar) result[foot.Id] = result[pillar.Id];
        return result;
    }

    /// <summary>The contact at a segment's upper end, if it has one there.</summary>
    public static Vec3? Upper(StrutSegment s)
    {
        ArgumentNullException.ThrowIfNull(s);
        return s.ToHeldBy == EndHeldBy.Figure ? s.Contact is { } at && at.DistanceTo(s.To) <= at.DistanceTo(s.From) ? at : s.To : null;
    }

    /// <summary>The cell that holds a point; the last one where rounding leaves it between two.</summary>
    private static int CellOf(Vec3 p, IReadOnlyList<Box3> cells)
    {
        for (var i = 0; i < cells.Count; i++)
            if (cells[i].Holds(p)) return i;
        return cells.Count - 1;
    }

    private static Vec3 Middle(StrutSegment s) => (s.From + s.To) * 0.5;

    /// <summary>The segment that begins where a foot ends.</summary>
    private static StrutSegment? On(StrutGraph graph, StrutSegment foot)
    {
        var best = foot.RadiusFrom + foot.RadiusTo;
        StrutSegment? found = null;
        foreach (var s in graph.Segments)
            if (s.Role is Role.Pillar or Role.Tip && s.From.DistanceTo(foot.To) is var d && d < best) (best, found) = (d, s);
        return found;
    }
}
