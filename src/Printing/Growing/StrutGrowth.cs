using Stiltwright.Geometry;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Growing;

/// <summary>Grows new struts where a figure needs them and a clear path exists.</summary>
public static class StrutGrowth
{
    /// <summary>
    /// Grows one strut for each spot, in the order given; each new one keeps clear of those before it. Slender ones are braced
    /// to neighbours where a brace is clear.
    /// </summary>
    /// <param name="scene">What to keep clear of and stand on.</param>
    /// <param name="struts">The struts that are there.</param>
    /// <param name="spots">The contacts wanted.</param>
    /// <param name="sizes">Sizes of new struts.</param>
    /// <param name="lattice">Lattice of the set.</param>
    /// <param name="cancel">Stops the work.</param>
    /// <param name="before">What grew in the same surroundings before: a spot that is still wanted as it was keeps its way where no other strut has come into it.</param>
    public static GrowthResult Grow(
        GrowthScene scene, StrutGraph struts, IReadOnlyList<GrowthSpot> spots, GrowthSizes sizes, Lattice lattice, CancellationToken cancel, GrowthResult? before = null)
    {
        ArgumentNullException.ThrowIfNull(scene);
        ArgumentNullException.ThrowIfNull(struts);
        ArgumentNullException.ThrowIfNull(spots);
        var segments = struts.Segments.ToList();
        var shells = struts.Shells.ToList();
        var grown = new List<GrownStrut>();
        var blocked = new List<NoPath>();
        var chain = segments.Count == 0 ? 0 : segments.Max(s => s.Chain) + 1;
        var boxes = new StrutBoxes(segments);
        var known = new Dictionary<GrowthSpot, StrutPath>();
        foreach (var g in before?.Grown ?? [])
            if (g.Path is { } way) known[g.Spot] = way;
        foreach (var spot in spots)
        {
            cancel.ThrowIfCancellationRequested();
            var finder = new PathFinder(scene, segments, boxes, sizes);
            var (path, why) = known.TryGetValue(spot, out var old) && finder.Free(old, spot) ? (old, "") : finder.Find(spot);
            if (path is null) { blocked.Add(new NoPath(spot, why)); continue; }
            var ids = Add(path, spot, chain, segments, shells, lattice);
            foreach (var i in ids) boxes.Add(segments[i]);
            grown.Add(new GrownStrut(spot, ids, chain++, path.Points[0], path.HeldBy, 0) { Path = path });
        }
        // Braces last, since a new strut may be the neighbour of another.
        for (var i = 0; i < grown.Count; i++)
        {
            cancel.ThrowIfCancellationRequested();
            var braces = Bracing.Add(scene, grown[i], segments, shells, ref chain, lattice);
            if (braces > 0) grown[i] = grown[i] with { Braces = braces };
        }
        return new GrowthResult(new StrutGraph(segments, shells), grown, blocked);
    }

    /// <summary>
    /// Supports every part of the figure that begins in mid-air and that no contact holds within its first layers, and tells
    /// for which no path exists.
    /// </summary>
    /// <param name="scene">What to keep clear of and stand on.</param>
    /// <param name="figure">Layers of the figure without struts and raft.</param>
    /// <param name="struts">The struts that are there.</param>
    /// <param name="sizes">Sizes of new struts.</param>
    /// <param name="lattice">Lattice of the set.</param>
    /// <param name="cancel">Stops the work.</param>
    public static GrowthResult SupportSpots(
        GrowthScene scene, FigureLayers figure, StrutGraph struts, GrowthSizes sizes, Lattice lattice, CancellationToken cancel)
    {
        ArgumentNullException.ThrowIfNull(scene);
        return Grow(scene, struts, UnheldSpots.Find(scene, figure, struts), sizes, lattice, cancel);
    }

    /// <summary>The segments and the shell of a path, appended; the pillar that a branch begins on is not touched.</summary>
    private static List<int> Add(StrutPath path, GrowthSpot spot, int chain, List<StrutSegment> segments, List<StrutShell> shells, Lattice lattice)
    {
        var z = path.Sizes;
        var points = path.Points;
        var radii = new double[points.Count];
        var roles = new Role[points.Count - 1];
        Array.Fill(radii, z.ShaftRadius);
        Array.Fill(roles, Role.Pillar);
        if (path.Base is not null) (radii[0], roles[0]) = (path.BaseRadius, Role.Foot);
        else if (!path.Branch) (radii[0], roles[0]) = (z.FootRadius, Role.Foot);
        // The tip's radius is that at the surface; a little further in it goes on at the same taper.
        (radii[^1], roles[^1]) = (z.ContactRadius, Role.Tip);
        var area = z.Sides * Math.Sin(2 * Math.PI / z.Sides) / (2 * Math.PI);
        var ids = new List<int>();
        for (var i = 0; i < roles.Length; i++)
        {
            bool first = i == 0, last = i == roles.Length - 1;
            ids.Add(segments.Count);
            segments.Add(new StrutSegment
            {
                Id = segments.Count,
                Chain = chain,
                Role = roles[i],
                From = points[i],
                To = points[i + 1],
                RadiusFrom = radii[i],
                RadiusTo = radii[i + 1],
                Sides = z.Sides,
                AreaShare = area,
                // Second moment of a regular polygon over that of the circle through its corners (handbook): A (2 + cos(2 pi / n)) / 3.
                InertiaShare = area * (2 + Math.Cos(2 * Math.PI / z.Sides)) / 3,
                Confidence = 1,
                Shell = shells.Count,
                FromHeldBy = first ? path.HeldBy : EndHeldBy.Strut,
                ToHeldBy = last ? EndHeldBy.Figure : EndHeldBy.Strut,
                FromJoins = first ? path.Branch ? [path.OnSegment] : [] : [segments.Count - 1],
                ToJoins = last ? [] : [segments.Count + 1],
                Contact = last ? spot.At : first ? path.Base?.At : null,
                ContactNormal = last ? spot.Normal : first ? path.Base?.Normal : null,
                Added = true,
            });
        }
        shells.Add(new StrutShell(StrutTube.Build(lattice, points, radii, z.Sides), ids, []));
        return ids;
    }
}
