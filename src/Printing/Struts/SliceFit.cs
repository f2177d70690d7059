using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>
/// Fits a tube to a slender shell whose mesh is no stack of rings (cut by booleans, remeshed): plane sections across its
/// long axis, or across z for bent struts, give centres, polygons and radii.
/// </summary>
internal static class SliceFit
{
    private const int Slices = 16;

    public static TubeShape? Fit(LocalShell shell)
    {
        var axis = LongAxis(shell, out var slenderness);
        if (slenderness < 1.6) return null;
        var a = Along(shell, axis);
        if (a is { Residual: < 0.05 }) return a;
        var b = Math.Abs(axis.Z) is > 0.3 and < 0.9999 ? Along(shell, Vec3.Up) : null;
        return a is null ? b : b is null || a.Residual <= b.Residual ? a : b;
    }

    private static TubeShape? Along(LocalShell shell, Vec3 axis)
    {
        double low = double.MaxValue, high = double.MinValue;
        foreach (var p in shell.Points)
        {
            low = Math.Min(low, p.Dot(axis));
            high = Math.Max(high, p.Dot(axis));
        }
        var rings = new List<Ring>();
        for (var i = 0; i < Slices; i++)
        {
            // Closer together near the ends, where tips are.
            var f = 0.5 - 0.5 * Math.Cos(Math.PI * (i + 0.6) / (Slices + 0.2));
            var loop = Section(shell, axis, low + f * (high - low));
            if (loop is null) return null;
            rings.Add(loop.Value);
        }
        // The ends: the last sections carried on to the outermost points.
        rings.Insert(0, Carried(rings[0], rings[1], axis, low));
        rings.Add(Carried(rings[^1], rings[^2], axis, high));
        return RingChain.Build(rings, 0.06, 0.05, false);
    }

    private static Ring Carried(Ring end, Ring before, Vec3 axis, double level)
    {
        var d = end.Centre - before.Centre;
        var step = d.Dot(axis);
        if (Math.Abs(step) < 1e-12) return end;
        var f = (level - end.Centre.Dot(axis)) / step;
        var shift = d * f;
        double re = Mean(end), rb = Mean(before);
        var k = Math.Clamp((re + (re - rb) * f) / re, 0.3, 1.5);
        var corners = new Vec3[end.Corners.Length];
        for (var i = 0; i < corners.Length; i++) corners[i] = end.Centre + shift + (end.Corners[i] - end.Centre) * k;
        return new Ring(end.Centre + shift, corners);
    }

    private static double Mean(Ring r)
    {
        double sum = 0;
        foreach (var c in r.Corners) sum += c.DistanceTo(r.Centre) / r.Corners.Length;
        return sum;
    }

    /// <summary>The one loop in which a plane cuts the shell, its straight runs joined; null if it is not one.</summary>
    private static Ring? Section(LocalShell shell, Vec3 axis, double level)
    {
        var next = new Dictionary<long, (long To, Vec3 At)>();
        for (var t = 0; t < shell.TriangleCount; t++)
        {
            long enter = -1, leave = -1;
            Vec3 at = default;
            for (var k = 0; k < 3; k++)
            {
                int u = shell.Corners[3 * t + k], v = shell.Corners[3 * t + (k + 1) % 3];
                var hu = shell.Points[u].Dot(axis) - level;
                var hv = shell.Points[v].Dot(axis) - level;
                if (hu < 0 == hv < 0) continue;
                var key = (long)Math.Min(u, v) * shell.Points.Length + Math.Max(u, v);
                if (hu < 0)
                {
                    enter = key;
                    at = shell.Points[u] + (shell.Points[v] - shell.Points[u]) * (hu / (hu - hv));
                }
                else
                {
                    leave = key;
                }
            }
            if (enter >= 0 && !next.TryAdd(enter, (leave, at))) return null;
        }
        if (next.Count < 3) return null;
        var points = new List<Vec3>(next.Count);
        var first = next.Keys.First();
        var key0 = first;
        do
        {
            if (!next.TryGetValue(key0, out var step) || points.Count > next.Count) return null;
            points.Add(step.At);
            key0 = step.To;
        }
        while (key0 != first);
        if (points.Count != next.Count) return null;

        // Area and centroid, then the corners that are left when straight runs are joined.
        var o = points[0];
        Vec3 areaVector = Vec3.Zero, moment = Vec3.Zero;
        for (var i = 1; i + 1 < points.Count; i++)
        {
            var c = (points[i] - o).Cross(points[i + 1] - o) * 0.5;
            areaVector += c;
            moment += (o + points[i] + points[i + 1]) * (c.Dot(axis) / 3);
        }
        var area = areaVector.Dot(axis);
        if (Math.Abs(area) < 1e-12) return null;
        var centre = moment / area;
        var corners = new List<Vec3>();
        var size = Math.Sqrt(Math.Abs(area));
        for (var i = 0; i < points.Count; i++)
        {
            Vec3 p = corners.Count > 0 ? corners[^1] : points[^1], q = points[i], r = points[(i + 1) % points.Count];
            if (q.DistanceTo(r) < 1e-6 * size) continue;
            var turn = (q - p).Unit().Cross((r - q).Unit()).Length;
            if (turn > 0.05) corners.Add(q);
        }
        if (corners.Count is >= 3 and <= 48)
        {
            var section = SectionPolygon.Of([.. corners], centre, axis);
            if (section.Sides > 0) return new Ring(centre, [.. corners]);
        }
        // No regular polygon: as a circle of the same area.
        var radius = Math.Sqrt(Math.Abs(area) / Math.PI);
        double spread = 0;
        foreach (var p in points) spread = Math.Max(spread, Math.Abs(p.DistanceTo(centre) / radius - 1));
        if (spread > 0.35) return null;
        return new Ring(centre, [.. points]);
    }

    /// <summary>Longest inertia axis of the surface, and how much longer it is than the middle one (standard deviations).</summary>
    private static Vec3 LongAxis(LocalShell shell, out double slenderness)
    {
        double xx = 0, xy = 0, xz = 0, yy = 0, yz = 0, zz = 0;
        for (var t = 0; t < shell.TriangleCount; t++)
            for (var k = 0; k < 3; k++)
            {
                var d = shell.Points[shell.Corners[3 * t + k]] - shell.Centre;
                var w = shell.Areas[t];
                xx += w * d.X * d.X;
                xy += w * d.X * d.Y;
                xz += w * d.X * d.Z;
                yy += w * d.Y * d.Y;
                yz += w * d.Y * d.Z;
                zz += w * d.Z * d.Z;
            }
        var trace = xx + yy + zz;
        // Power iteration is enough: only clearly slender shells are used.
        var axis = xx >= yy && xx >= zz ? new Vec3(1, 0.1, 0.1) : yy >= zz ? new Vec3(0.1, 1, 0.1) : new Vec3(0.1, 0.1, 1);
        double value = 0;
        for (var i = 0; i < 60; i++)
        {
            var m = new Vec3(xx * axis.X + xy * axis.Y + xz * axis.Z, xy * axis.X + yy * axis.Y + yz * axis.Z, xz * axis.X + yz * axis.Y + zz * axis.Z);
            value = m.Length;
            axis = m.Unit();
        }
        slenderness = trace > value ? Math.Sqrt(value / Math.Max((trace - value) / 2, 1e-300)) : 1000;
        return axis;
    }
}
