namespace Stiltwright.Geometry;

/// <summary>
/// Area of the section of closed shells by a plane, without building the section's outlines: each triangle crossed gives
/// one directed segment, and Green's theorem sums them (area = half the sum of cross products). Overlapping shells count
/// as often as they overlap, inner (negative) shells are taken off. One pass, linear time.
/// </summary>
public static class SectionArea
{
    /// <summary>Area in mm2 of the section at n.p = offset (n need not be a unit vector; the offset is for the unit normal), and its centroid.</summary>
    public static (double AreaMm2, Vec3 Centroid) Of(Mesh mesh, Vec3 normal, double offsetMm)
    {
        var n = normal.Unit();
        var u = n.AnyPerpendicular();
        var v = n.Cross(u);
        double twice = 0, mx = 0, my = 0;
        var corners = mesh.Corners;
        Span<Vec3> p = stackalloc Vec3[3];
        Span<double> d = stackalloc double[3];
        for (var t = 0; t < corners.Length; t += 3)
        {
            for (var k = 0; k < 3; k++)
            {
                p[k] = mesh.Vertex(corners[t + k]);
                d[k] = n.Dot(p[k]) - offsetMm;
            }
            bool a = d[0] >= 0, b = d[1] >= 0, c = d[2] >= 0; // a point on the plane counts as above: every shell still gives closed outlines
            if (a == b && b == c) continue;
            Vec3 into = default, outOf = default; // where the boundary of the triangle goes up through the plane, and where down
            for (var k = 0; k < 3; k++)
            {
                var m = (k + 1) % 3;
                if (d[k] < 0 && d[m] >= 0) into = p[k] + (p[m] - p[k]) * (d[k] / (d[k] - d[m]));
                if (d[k] >= 0 && d[m] < 0) outOf = p[m] + (p[k] - p[m]) * (d[m] / (d[m] - d[k]));
            }
            // Seen from above the plane, the solid lies left of the way from 'outOf' to 'into' for outward triangles.
            double x0 = u.Dot(outOf), y0 = v.Dot(outOf), x1 = u.Dot(into), y1 = v.Dot(into);
            var w = x0 * y1 - x1 * y0;
            twice += w;
            mx += w * (x0 + x1);
            my += w * (y0 + y1);
        }
        if (Math.Abs(twice) < 1e-12) return (0, n * offsetMm);
        return (twice / 2, n * offsetMm + u * (mx / (3 * twice)) + v * (my / (3 * twice)));
    }
}
