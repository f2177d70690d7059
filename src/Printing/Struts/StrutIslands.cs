using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;

namespace Stiltwright.Printing.Struts;

/// <summary>
/// Spots that begin in mid-air once struts were made thinner: a joint that no longer closes, a contact that no longer
/// touches. Found by comparing the layers of what will be printed, with the struts as plain enlarging makes them and as
/// they are now. Lengths mm.
/// </summary>
public static class StrutIslands
{
    /// <summary>Smallest spot that counts, mm2: anything smaller is a pixel's rounding.</summary>
    public const double LeastMm2 = 0.05;

    /// <summary>Edge of a pixel at which spots are looked for, mm: much less than any strut.</summary>
    public const double PixelMm = 0.15;

    // Spots this near to one another, in plan and in height, are the same one: thinner struts shift a spot's middle a little.
    private const double SameMm = 1.0;

    /// <summary>Places of the spots of <paramref name="after"/> that <paramref name="before"/> lacks, in order of layer, mm. Both are scans at <see cref="PixelMm"/>.</summary>
    public static IReadOnlyList<Vec3> Added(LayerScan before, LayerScan after)
    {
        ArgumentNullException.ThrowIfNull(before);
        var known = before.Islands.Select(i => i.At).ToLookup(Cell);
        return [.. Of(after).Where(at => !Near(known, at))];
    }

    /// <summary>Places of all spots large enough to count, in order of layer, mm.</summary>
    public static IReadOnlyList<Vec3> Of(LayerScan scan)
    {
        ArgumentNullException.ThrowIfNull(scan);
        return [.. scan.Islands.Where(i => i.Pixels * scan.PixelMm * scan.PixelMm >= LeastMm2).Select(i => i.At)];
    }

    /// <summary>
    /// Segments that a spot belongs to: those whose axis passes it within their radius as enlarged and a little more
    /// (<paramref name="slackMm"/>), all of their chains, and what these end on.
    /// </summary>
    public static IReadOnlySet<int> SegmentsAt(StrutGraph asEnlarged, Vec3 at, double slackMm)
    {
        ArgumentNullException.ThrowIfNull(asEnlarged);
        var segments = asEnlarged.Segments;
        var found = new HashSet<int>();
        foreach (var g in segments)
        {
            var d = g.To - g.From;
            var t = d.LengthSquared > 0 ? Math.Clamp((at - g.From).Dot(d) / d.LengthSquared, 0, 1) : 0;
            if (at.DistanceTo(g.From + d * t) <= g.RadiusFrom + (g.RadiusTo - g.RadiusFrom) * t + slackMm) found.Add(g.Id);
        }
        var chains = found.Select(i => segments[i].Chain).ToHashSet();
        foreach (var g in segments)
            if (chains.Contains(g.Chain)) found.Add(g.Id);
        foreach (var i in found.ToArray())
            foreach (var j in segments[i].FromJoins.Concat(segments[i].ToJoins))
                if ((uint)j < (uint)segments.Count && at.DistanceTo(segments[i].From) <= at.DistanceTo(segments[i].To) == segments[i].FromJoins.Contains(j)) found.Add(j);
        return found;
    }

    private static (long X, long Y, long Z) Cell(Vec3 p) => ((long)Math.Floor(p.X / SameMm), (long)Math.Floor(p.Y / SameMm), (long)Math.Floor(p.Z / SameMm));

    private static bool Near(ILookup<(long X, long Y, long Z), Vec3> known, Vec3 at)
    {
        var c = Cell(at);
        for (var x = -1; x <= 1; x++)
            for (var y = -1; y <= 1; y++)
                for (var z = -1; z <= 1; z++)
                    foreach (var i in known[(c.X + x, c.Y + y, c.Z + z)])
                        if (i.DistanceTo(at) <= SameMm) return true;
        return false;
    }
}
