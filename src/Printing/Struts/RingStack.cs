using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>
/// Reads a tube straight off its mesh: generators draw struts as rings of corners joined by strips. From a flat cap (or a
/// pole) the rings are the layers of a breadth-first walk over edges, whatever the bends, tapers and changes in corners.
/// </summary>
internal static class RingStack
{
    private const int MostStarts = 4;

    /// <summary>Corners of a ring beyond which a walk is given up.</summary>
    private const int MostCorners = 256;

    /// <summary>Rings beyond which a walk is given up.</summary>
    private const int MostRings = 1500;

    public static TubeShape? Fit(LocalShell shell)
    {
        var caps = new List<(FlatPatch Patch, double Irregular)>();
        foreach (var patch in shell.FlatPatches())
        {
            var ring = Corners(shell, patch.Loop);
            var section = SectionPolygon.Of(ring, Ring.Of(ring).Centre, patch.Normal);
            if (section.Irregularity < 0.6) caps.Add((patch, section.Irregularity));
        }
        // Regular caps first, many-sided before few-sided (the sides of a square bar are squares too), then by first corner.
        caps.Sort((a, b) =>
        {
            var regular = (a.Irregular > 0.12).CompareTo(b.Irregular > 0.12);
            if (regular != 0) return regular;
            var sides = b.Patch.Loop.Length.CompareTo(a.Patch.Loop.Length);
            if (sides != 0) return sides;
            var area = a.Patch.Area.CompareTo(b.Patch.Area);
            return area != 0 ? area : a.Patch.Loop[0].CompareTo(b.Patch.Loop[0]);
        });
        var links = shell.VertexLinks();
        TubeShape? best = null;
        var tried = 0;
        foreach (var (patch, _) in caps)
        {
            if (tried++ == MostStarts) break;
            var tube = From(shell, links, patch.Loop, patch.Inside);
            if (Better(tube, best)) best = tube;
            if (best is { Residual: < 0.01 }) return best;
        }
        if (best is { Residual: < 0.03 } || shell.Points.Length > 4000) return best;
        // No flat cap: a pole. The two corners farthest apart along the surface's own length.
        var a = Farthest(shell, shell.Centre);
        var b = Farthest(shell, shell.Points[a]);
        foreach (var pole in new[] { b, a })
        {
            var tube = From(shell, links, [pole], []);
            if (Better(tube, best)) best = tube;
            if (best is { Residual: < 0.01 }) break;
        }
        return best;
    }

    private static bool Better(TubeShape? tube, TubeShape? best) => tube is not null && (best is null || tube.Residual < best.Residual - 1e-6);

    private static int Farthest(LocalShell shell, Vec3 from)
    {
        var best = 0;
        for (var v = 1; v < shell.Points.Length; v++)
            if (shell.Points[v].DistanceTo(from) > shell.Points[best].DistanceTo(from) + 1e-9) best = v;
        return best;
    }

    private static Vec3[] Corners(LocalShell shell, int[] vertices)
    {
        var result = new Vec3[vertices.Length];
        for (var i = 0; i < vertices.Length; i++) result[i] = shell.Points[vertices[i]];
        return result;
    }

    private static TubeShape? From(LocalShell shell, (int[] Start, int[] List) links, int[] start, int[] skip)
    {
        var seen = new bool[shell.Points.Length];
        foreach (var v in skip) seen[v] = true;
        foreach (var v in start) seen[v] = true;
        var rings = new List<Ring>();
        var layer = start;
        var next = new List<int>();
        while (layer.Length > 0)
        {
            // Two corners are no ring; a single one only at an end.
            if (layer.Length > MostCorners || rings.Count > MostRings) return null;
            if (layer.Length == 2 || layer.Length == 1 && rings.Count > 0 && next.Count > 1) return null;
            var ring = Ring.Of(Corners(shell, layer));
            if (!Compact(ring)) return null;
            rings.Add(ring);
            next.Clear();
            foreach (var v in layer)
                for (var i = links.Start[v]; i < links.Start[v + 1]; i++)
                {
                    var o = links.List[i];
                    if (seen[o]) continue;
                    seen[o] = true;
                    next.Add(o);
                }
            if (layer.Length == 1 && rings.Count > 1 && next.Count > 0) return null;
            layer = [.. next];
        }
        // A walk that does not reach every corner has not seen the whole shell.
        if (Array.IndexOf(seen, false) >= 0) return null;
        // The far cap may have corners of its own in its plane: they are no rings.
        while (rings.Count > 2 && InPlane(rings[^1], rings[^2])) rings.RemoveAt(rings.Count - 1);
        return RingChain.Build(rings, 0.03, 0.025, true);
    }

    /// <summary>No corner is much farther from the centre than another: true of any ring, even an oblique one.</summary>
    private static bool Compact(Ring ring)
    {
        if (ring.Corners.Length < 3) return true;
        double least = double.MaxValue, most = 0;
        foreach (var c in ring.Corners)
        {
            var d = c.DistanceTo(ring.Centre);
            least = Math.Min(least, d);
            most = Math.Max(most, d);
        }
        return most <= 4 * least;
    }

    private static bool InPlane(Ring ring, Ring of)
    {
        if (of.Corners.Length < 3) return false;
        var radius = of.Corners[0].DistanceTo(of.Centre);
        var along = (of.Corners[0] - of.Centre).Cross(of.Corners[1] - of.Centre).Unit();
        var normal = of.Normal(along);
        foreach (var p in ring.Corners)
            if (Math.Abs((p - of.Centre).Dot(normal)) > 0.02 * radius || p.DistanceTo(of.Centre) > radius * 0.98) return false;
        return true;
    }
}
