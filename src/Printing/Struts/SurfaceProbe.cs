using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>Point and line against a handful of triangles.</summary>
internal static class SurfaceProbe
{
    /// <summary>Nearest point of a triangle (Ericson's region test, a common textbook method).</summary>
    public static Vec3 Nearest(Vec3 p, Vec3 a, Vec3 b, Vec3 c)
    {
        Vec3 ab = b - a, ac = c - a, ap = p - a;
        double d1 = ab.Dot(ap), d2 = ac.Dot(ap);
        if (d1 <= 0 && d2 <= 0) return a;
        var bp = p - b;
        double d3 = ab.Dot(bp), d4 = ac.Dot(bp);
        if (d3 >= 0 && d4 <= d3) return b;
        var vc = d1 * d4 - d3 * d2;
        if (vc <= 0 && d1 >= 0 && d3 <= 0) return a + ab * (d1 / (d1 - d3));
        var cp = p - c;
        double d5 = ab.Dot(cp), d6 = ac.Dot(cp);
        if (d6 >= 0 && d5 <= d6) return c;
        var vb = d5 * d2 - d1 * d6;
        if (vb <= 0 && d2 >= 0 && d6 <= 0) return a + ac * (d2 / (d2 - d6));
        var va = d3 * d6 - d5 * d4;
        if (va <= 0 && d4 - d3 >= 0 && d5 - d6 >= 0) return b + (c - b) * ((d4 - d3) / (d4 - d3 + (d5 - d6)));
        var sum = va + vb + vc;
        return sum > 0 ? a + ab * (vb / sum) + ac * (vc / sum) : a;
    }

    /// <summary>Nearest point of the triangles: signed distance (negative inside, by the facet that faces the point most), triangle and point.</summary>
    public static (double Signed, int Triangle, Vec3 Point) Nearest(Mesh mesh, IReadOnlyList<int> triangles, Vec3 p)
    {
        var best = double.MaxValue;
        double facing = 0;
        var triangle = -1;
        Vec3 point = default;
        foreach (var t in triangles)
        {
            var (a, b, c) = mesh.Triangle(t);
            var q = Nearest(p, a, b, c);
            var d = p.DistanceTo(q);
            if (d > best + 1e-7) continue;
            // Ties at shared edges and corners: the facet seen most squarely tells the side.
            var side = (p - q).Dot((b - a).Cross(c - a).Unit());
            if (d < best - 1e-7 || Math.Abs(side) > Math.Abs(facing))
            {
                facing = side;
                triangle = t;
                point = q;
            }
            best = Math.Min(best, d);
        }
        return (facing < 0 ? -best : best, triangle, point);
    }

    /// <summary>Where a line meets a triangle: distance along the direction, or NaN.</summary>
    public static double Hit(Vec3 origin, Vec3 direction, Vec3 a, Vec3 b, Vec3 c)
    {
        Vec3 e1 = b - a, e2 = c - a;
        var h = direction.Cross(e2);
        var det = e1.Dot(h);
        if (Math.Abs(det) < 1e-14) return double.NaN;
        var s = origin - a;
        var u = s.Dot(h) / det;
        if (u < -1e-9 || u > 1 + 1e-9) return double.NaN;
        var q = s.Cross(e1);
        var v = direction.Dot(q) / det;
        if (v < -1e-9 || u + v > 1 + 1e-9) return double.NaN;
        return e2.Dot(q) / det;
    }
}
