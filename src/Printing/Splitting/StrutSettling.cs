using Stiltwright.Geometry;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Growing;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Splitting;

/// <summary>The struts of a piece once all of them stand.</summary>
/// <param name="Struts">The struts.</param>
/// <param name="Raft">What is left of the raft.</param>
/// <param name="Regrown">Struts grown anew in place of those that stood outside the piece's room or had lost their ground.</param>
/// <param name="Blocked">Contacts whose strut was taken away, because no clear path was found for another.</param>
public sealed record SettledStruts(StrutGraph Struts, Mesh Raft, IReadOnlyList<GrownStrut> Regrown, IReadOnlyList<NoPath> Blocked);

/// <summary>
/// Makes the struts of a cut piece stand: what reaches out of the printer's room, leads through a peg or has lost what it stood on
/// is taken away, and a new strut grows to its contact; struts cut off at the platform get feet. Coordinates of the piece,
/// platform at z = 0, mm.
/// </summary>
public static class StrutSettling
{
    /// <summary>Raft left round a foot, mm.</summary>
    private const double RaftMarginMm = 2;

    /// <summary>Settles the struts of a piece.</summary>
    /// <param name="figure">The piece's figure, solid, with its pegs and open shells.</param>
    /// <param name="struts">Its struts, whole down to the platform (those that stood lower, cut off there).</param>
    /// <param name="raft">The raft under it, or an empty mesh.</param>
    /// <param name="cutOff">True where the platform cut the struts off: those that cannot get a foot are grown anew.</param>
    /// <param name="pegs">Pegs that stand on it.</param>
    /// <param name="owns">True for a point of the figure that is this piece's: struts may stand on it.</param>
    /// <param name="room">Where it may stand, seen from above.</param>
    /// <param name="sizes">Sizes of new struts.</param>
    /// <param name="cancel">Stops the work.</param>
    public static SettledStruts Settle(
        Mesh figure, StrutGraph struts, Mesh raft, bool cutOff, IReadOnlyList<Peg> pegs, Func<Vec3, bool> owns, Box3 room, GrowthSizes? sizes, CancellationToken cancel)
    {
        ArgumentNullException.ThrowIfNull(figure);
        ArgumentNullException.ThrowIfNull(struts);
        ArgumentNullException.ThrowIfNull(raft);
        ArgumentNullException.ThrowIfNull(pegs);
        var lattice = figure.Lattice;
        var kept = Standing(struts, s => Fits(struts, s, room) && !pegs.Any(p => Meets(s, p)) && !(cutOff && sizes is not null && Stump(s, sizes)), owns);
        var lost = struts.Segments.Where(s => !kept.Contains(s.Id) && StrutShare.Upper(s) is not null).Select(s => Spot(s, sizes)).ToList();
        // A peg that stands out sideways begins in mid-air along all its length.
        var spots = pegs.Where(p => Math.Abs(p.Axis.Z) < 0.7).Select(p => UnderPeg(p)).Concat(lost.OrderBy(s => s.At.Z)).ToList();
        var graph = StrutSubset.Of(struts, s => kept.Contains(s.Id));
        raft = RaftUnder(raft, graph, figure, room);
        if (sizes is null) return new SettledStruts(graph, raft, [], [.. spots.Select(s => new NoPath(s, "no strut of the source tells how thick one should be"))]);
        if (cutOff) graph = Feet.Add(graph, sizes, figure, room, lattice);
        if (spots.Count == 0) return new SettledStruts(graph, raft, [], []);
        var grown = StrutGrowth.Grow(new GrowthScene(TriangleTree.Build(figure), raft, room), graph, spots, sizes, lattice, cancel);
        return new SettledStruts(grown.Graph, raft, grown.Grown, grown.Blocked);
    }

    /// <summary>The segments that stay: sound ones whose chain stands on the ground, if need be by way of others.</summary>
    private static HashSet<int> Standing(StrutGraph graph, Func<StrutSegment, bool> sound, Func<Vec3, bool> owns)
    {
        var segments = graph.Segments;
        var broken = segments.Where(s => !sound(s)).Select(s => s.Chain).ToHashSet();
        // Overlapping feet may share a chain number: a foot only breaks the pillar that stands on it.
        var chains = segments.Where(s => !broken.Contains(s.Chain)).GroupBy(s => s.Chain).ToDictionary(g => g.Key, g => g.ToList());
        var stands = new HashSet<int>();
        for (var more = true; more;)
        {
            more = false;
            foreach (var (chain, members) in chains.OrderBy(c => c.Key))
            {
                if (stands.Contains(chain)) continue;
                var lowest = members.MinBy(s => Math.Min(s.From.Z, s.To.Z))!;
                var brace = members.All(s => s.Role == Role.Brace);
                bool Joined(IReadOnlyList<int> ids) => ids.Any(j => segments[j].Chain != chain && stands.Contains(segments[j].Chain));
                var held = members.Any(s => s.FromHeldBy is EndHeldBy.Raft or EndHeldBy.Platform || s.ToHeldBy is EndHeldBy.Raft or EndHeldBy.Platform)
                    || lowest.FromHeldBy == EndHeldBy.Figure && owns(lowest.From)
                    || lowest.FromHeldBy == EndHeldBy.Strut && Joined(lowest.FromJoins)
                    || brace && members.All(s => Joined(s.FromJoins));
                if (!held) continue;
                stands.Add(chain);
                more = true;
            }
        }
        // A brace needs both its struts; a strut that holds nothing is waste.
        var useful = chains.Where(c => stands.Contains(c.Key) && c.Value.Any(s => StrutShare.Upper(s) is not null)).Select(c => c.Key).ToHashSet();
        for (var more = true; more;)
        {
            more = false;
            foreach (var s in segments)
            {
                // What carries a useful strut is useful itself.
                if (!useful.Contains(s.Chain)) continue;
                foreach (var j in s.FromJoins)
                    if (stands.Contains(segments[j].Chain) && segments[j].Role != Role.Brace && useful.Add(segments[j].Chain)) more = true;
            }
        }
        for (var more = true; more;)
        {
            more = false;
            bool Tied(int chain, IReadOnlyList<int> ids) => ids.Any(j => segments[j].Chain != chain && useful.Contains(segments[j].Chain));
            foreach (var (chain, members) in chains)
                if (!useful.Contains(chain) && members.All(s => s.Role == Role.Brace && Tied(chain, s.FromJoins) && Tied(chain, s.ToJoins))) more |= useful.Add(chain);
        }
        return segments.Where(s => useful.Contains(s.Chain)).Select(s => s.Id).ToHashSet();
    }

    private static bool Fits(StrutGraph graph, StrutSegment s, Box3 room)
    {
        var b = graph.Shells[s.Shell].Shape.Bounds;
        return b.IsEmpty || b.Min.X >= room.Min.X && b.Max.X <= room.Max.X && b.Min.Y >= room.Min.Y && b.Max.Y <= room.Max.Y;
    }

    /// <summary>Cut through its tip, its lean or its foot: an oblique stump that holds badly and cannot be thinned.</summary>
    private static bool Stump(StrutSegment s, GrowthSizes sizes) =>
        (s.FromHeldBy == EndHeldBy.Platform || s.ToHeldBy == EndHeldBy.Platform) && !Feet.Takes(s, sizes);

    private static bool Meets(StrutSegment s, Peg p) =>
        Segments.Distance(s.From, s.To, p.At + p.Axis * 0.5, p.At + p.Axis * (p.LengthMm + 1)) < p.RadiusMm + Math.Max(s.RadiusFrom, s.RadiusTo) + GrowthScene.ClearanceMm;

    /// <summary>The contact of a strut that goes, with its own tip's axis and thickness.</summary>
    private static GrowthSpot Spot(StrutSegment s, GrowthSizes? sizes)
    {
        var at = StrutShare.Upper(s)!.Value;
        var axis = (s.From - at).Unit();
        return new GrowthSpot(at, s.ContactNormal ?? new Vec3(0, 0, -1), "was held by a strut that the cut took away")
        {
            TipAxis = s.Role == Role.Tip && axis.Z < -0.7 ? axis : null,
            Sizes = s.Role == Role.Tip && sizes is not null && s.RadiusTo < s.RadiusFrom
                ? sizes with { ContactRadius = s.RadiusTo, ShaftRadius = s.RadiusFrom, TipLength = at.DistanceTo(s.From) } : null,
            SourceId = s.SourceId,
        };
    }

    private static GrowthSpot UnderPeg(Peg p)
    {
        var at = p.At + p.Axis * (0.7 * p.LengthMm);
        var radius = p.RadiusMm * (1 + (Peg.TipShare - 1) * 0.7);
        return new GrowthSpot(at with { Z = at.Z - radius }, new Vec3(0, 0, -1), "is the underside of a peg");
    }

    /// <summary>The raft in a rectangle round the feet that stand on it.</summary>
    private static Mesh RaftUnder(Mesh raft, StrutGraph struts, Mesh figure, Box3 room)
    {
        if (raft.TriangleCount == 0) return raft;
        var top = raft.Bounds.Max.Z;
        var box = Box3.Empty;
        foreach (var s in struts.Segments)
            if (s.FromHeldBy is EndHeldBy.Raft or EndHeldBy.Platform && s.From.Z <= top)
                box = box.With(new Box3(s.From, s.From).Grown(Math.Max(s.RadiusFrom, s.RadiusTo) + RaftMarginMm));
        if (figure.TriangleCount > 0 && figure.Bounds.Min.Z <= top) box = box.With(figure.Bounds.Grown(RaftMarginMm));
        if (box.IsEmpty) return Mesh.Empty(raft.Lattice);
        for (var axis = 0; axis < 2; axis++)
            foreach (var side in (ReadOnlySpan<int>)[-1, 1])
            {
                var n = axis == 0 ? new Vec3(side, 0, 0) : new Vec3(0, side, 0);
                var at = side < 0 ? -Math.Max(box.Min[axis], room.Min[axis]) : Math.Min(box.Max[axis], room.Max[axis]);
                if ((side < 0 ? -raft.Bounds.Min[axis] : raft.Bounds.Max[axis]) <= at) continue;
                // Between two lattice planes, so that no corner lies on the cut.
                raft = Geometry.Cutting.PlaneCut.Cut(raft, n, raft.Lattice.ToMm(raft.Lattice.Round(at)) - raft.Lattice.UnitMm / 2).Below;
                if (raft.TriangleCount == 0) return raft;
            }
        return raft;
    }
}
