using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>
/// Makes a small shell that lacks its end caps, or is inside out, fit to be looked at as a rod: each open border that is a flat,
/// regular ring gets a cap of its own corners. Whether it is a rod, and a strut, is for the others to say.
/// </summary>
internal static class OpenRod
{
    /// <summary>Most borders: a rod has two ends.</summary>
    private const int MostBorders = 2;

    private const int MostCorners = 64;

    /// <summary>Departure of a border from a regular polygon, and from a plane as a share of its radius.</summary>
    private const double MostIrregular = 0.25, FlatShare = 0.05;

    /// <summary>The shell's corners, closed and outwards; null where a border is none of a rod's end.</summary>
    public static LocalShell? Mend(LocalShell shell)
    {
        if (Caps(shell) is not { } caps) return null;
        int[] corners = [.. shell.Corners, .. caps];
        double volume = 0;
        for (var t = 0; t < corners.Length; t += 3)
            volume += (shell.Points[corners[t]] - shell.Centre).Dot((shell.Points[corners[t + 1]] - shell.Centre).Cross(shell.Points[corners[t + 2]] - shell.Centre));
        if (volume < 0)
            for (var t = 0; t < corners.Length; t += 3) (corners[t], corners[t + 1]) = (corners[t + 1], corners[t]);
        return new LocalShell(shell.Points, corners);
    }

    private static List<int>? Caps(LocalShell shell)
    {
        var next = new Dictionary<int, int>();
        for (var t = 0; t < shell.TriangleCount; t++)
            for (var k = 0; k < 3; k++)
                if (shell.Neighbours[3 * t + k] < 0 && !next.TryAdd(shell.Corners[3 * t + k], shell.Corners[3 * t + (k + 1) % 3])) return null;
        var caps = new List<int>();
        var borders = 0;
        while (next.Count > 0)
        {
            if (++borders > MostBorders) return null;
            var loop = new List<int>();
            var at = next.Keys.Min();
            while (next.Remove(at, out var to))
            {
                loop.Add(at);
                at = to;
            }
            if (at != loop[0] || loop.Count is < 3 or > MostCorners) return null;
            var ring = Ring.Of([.. loop.Select(v => shell.Points[v])]);
            var normal = Vec3.Zero;
            for (var i = 0; i < loop.Count; i++) normal += (ring.Corners[i] - ring.Centre).Cross(ring.Corners[(i + 1) % loop.Count] - ring.Centre);
            normal = normal.Unit();
            var (radius, _) = ring.Around(normal);
            if (SectionPolygon.Of(ring.Corners, ring.Centre, normal).Irregularity > MostIrregular) return null;
            foreach (var p in ring.Corners)
                if (Math.Abs((p - ring.Centre).Dot(normal)) > FlatShare * radius) return null;
            // The cap runs against the border.
            for (var i = 1; i + 1 < loop.Count; i++) caps.AddRange([loop[0], loop[i + 1], loop[i]]);
        }
        return caps;
    }
}
