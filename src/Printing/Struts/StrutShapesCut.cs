using Stiltwright.Geometry;
using Stiltwright.Geometry.Cutting;

namespace Stiltwright.Printing.Struts;

/// <content>Cutting struts off at a level.</content>
public static partial class StrutShapes
{
    /// <summary>
    /// Cuts away what lies below a level (struts lowered into the platform): shells get a flat closed bottom exactly at
    /// the lattice level nearest to <paramref name="zMm"/>; segments wholly below go, segments that cross it start there
    /// and stand on the platform. Ids are given anew (they equal the index); order and chains stay.
    /// </summary>
    /// <exception cref="CuttingException">A shell is open where it is cut.</exception>
    public static StrutGraph CutBelow(StrutGraph graph, double zMm)
    {
        ArgumentNullException.ThrowIfNull(graph);
        var shells = new List<(StrutShell Shell, int Old)>();
        for (var h = 0; h < graph.Shells.Count; h++)
        {
            var shell = graph.Shells[h];
            var shape = Above(shell.Shape, zMm);
            if (shape.TriangleCount > 0) shells.Add((shell with { Shape = shape }, h));
        }
        var shellAt = new Dictionary<int, int>();
        for (var i = 0; i < shells.Count; i++) shellAt[shells[i].Old] = i;

        var map = new int[graph.Segments.Count];
        var kept = new List<StrutSegment>();
        foreach (var s in graph.Segments)
        {
            map[s.Id] = -1;
            if (!shellAt.TryGetValue(s.Shell, out var shell) || s.From.Z <= zMm && s.To.Z <= zMm) continue;
            map[s.Id] = kept.Count;
            kept.Add(Started(s with { Shell = shell }, zMm));
        }
        var segments = new StrutSegment[kept.Count];
        for (var i = 0; i < segments.Length; i++)
        {
            var s = kept[i];
            var fromJoins = Mapped(s.FromJoins, map);
            var toJoins = Mapped(s.ToJoins, map);
            segments[i] = s with
            {
                Id = i,
                FromJoins = s.FromHeldBy == EndHeldBy.Platform ? [] : fromJoins,
                ToJoins = s.ToHeldBy == EndHeldBy.Platform ? [] : toJoins,
                FromHeldBy = s.FromHeldBy == EndHeldBy.Strut && fromJoins.Count == 0 ? EndHeldBy.Nothing : s.FromHeldBy,
                ToHeldBy = s.ToHeldBy == EndHeldBy.Strut && toJoins.Count == 0 ? EndHeldBy.Nothing : s.ToHeldBy,
            };
        }
        // A shell of which no axis is left is a sliver of a cap or ball: nothing hangs on it.
        var result = new List<StrutShell>();
        var place = new int[shells.Count];
        for (var i = 0; i < shells.Count; i++)
        {
            place[i] = result.Count;
            var shell = shells[i].Shell with { Segments = Mapped(shells[i].Shell.Segments, map), JointOf = Mapped(shells[i].Shell.JointOf, map) };
            if (shell.Segments.Count > 0 || shell.JointOf.Count > 0) result.Add(shell);
        }
        for (var i = 0; i < segments.Length; i++) segments[i] = segments[i] with { Shell = place[segments[i].Shell] };
        return new StrutGraph(segments, result);
    }

    private static Mesh Above(Mesh shape, double zMm)
    {
        var level = shape.Lattice.ToMm(shape.Lattice.Round(zMm));
        if (shape.Bounds.Min.Z >= level) return shape;
        return shape.Bounds.Max.Z <= level ? Mesh.Empty(shape.Lattice) : PlaneCut.Cut(shape, Vec3.Up, level).Above;
    }

    private static List<int> Mapped(IReadOnlyList<int> ids, int[] map)
    {
        var result = new List<int>(ids.Count);
        foreach (var i in ids)
            if (map[i] >= 0) result.Add(map[i]);
        return result;
    }

    /// <summary>The part of a segment above the level.</summary>
    private static StrutSegment Started(StrutSegment s, double z)
    {
        var t = (z - s.From.Z) / (s.To.Z - s.From.Z);
        if (s.From.Z < z && s.To.Z > z)
            return s with
            {
                From = s.From + (s.To - s.From) * t,
                RadiusFrom = s.RadiusFrom + (s.RadiusTo - s.RadiusFrom) * t,
                FromHeldBy = EndHeldBy.Platform,
            };
        if (s.To.Z < z && s.From.Z > z)
            return s with
            {
                To = s.From + (s.To - s.From) * t,
                RadiusTo = s.RadiusFrom + (s.RadiusTo - s.RadiusFrom) * t,
                ToHeldBy = EndHeldBy.Platform,
            };
        return s;
    }
}
