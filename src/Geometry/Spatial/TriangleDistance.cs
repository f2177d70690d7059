namespace Stiltwright.Geometry.Spatial;

/// <summary>Nearest points between points, segments and triangles, in double precision; triangles may be degenerate.</summary>
public static class TriangleDistance
{
    /// <summary>The point of triangle abc nearest to p (regions of the plane by signed products; Ericson 2005, chapter 5.1.5).</summary>
    public static Vec3 ClosestPoint(Vec3 p, Vec3 a, Vec3 b, Vec3 c)
    {
        Vec3 ab = b - a, ac = c - a, ap = p - a;
        double d1 = ab.Dot(ap), d2 = ac.Dot(ap);
        if (d1 <= 0 && d2 <= 0) return a;
        var bp = p - b;
        double d3 = ab.Dot(bp), d4 = ac.Dot(bp);
        if (d3 >= 0 && d4 <= d3) return b;
        var vc = d1 * d4 - d3 * d2;
        if (vc <= 0 && d1 >= 0 && d3 <= 0 && d1 - d3 > 0) return a + ab * (d1 / (d1 - d3));
        var cp = p - c;
        double d5 = ab.Dot(cp), d6 = ac.Dot(cp);
        if (d6 >= 0 && d5 <= d6) return c;
        var vb = d5 * d2 - d1 * d6;
        if (vb <= 0 && d2 >= 0 && d6 <= 0 && d2 - d6 > 0) return a + ac * (d2 / (d2 - d6));
        var va = d3 * d6 - d5 * d4;
        if (va <= 0 && d4 - d3 >= 0 && d5 - d6 >= 0 && d4 - d3 + (d5 - d6) > 0)
            return b + (c - b) * ((d4 - d3) / (d4 - d3 + (d5 - d6)));
        var sum = va + vb + vc;
        if (sum > 1e-9 * ab.LengthSquared * ac.LengthSquared && va > 0 && vb > 0 && vc > 0)
            return a + ab * (vb / sum) + ac * (vc / sum);
        // Needle-thin: the signs above are not to be trusted, the three edges are.
        Vec3 best = ClosestOnSegment(p, a, b), q = ClosestOnSegment(p, b, c);
        if ((q - p).LengthSquared < (best - p).LengthSquared) best = q;
        q = ClosestOnSegment(p, c, a);
        return (q - p).LengthSquared < (best - p).LengthSquared ? q : best;
    }

    /// <summary>The point of segment ab nearest to p.</summary>
    public static Vec3 ClosestOnSegment(Vec3 p, Vec3 a, Vec3 b)
    {
        var d = b - a;
        var l = d.LengthSquared;
        if (!(l > 0)) return a;
        return a + d * Math.Clamp((p - a).Dot(d) / l, 0, 1);
    }

    /// <summary>Squared distance of two segments, mm2, and the two nearest points (parallel segments give one of the nearest pairs).</summary>
    public static double SegmentSegmentSquared(Vec3 p1, Vec3 q1, Vec3 p2, Vec3 q2, out Vec3 on1, out Vec3 on2)
    {
        Vec3 d1 = q1 - p1, d2 = q2 - p2, r = p1 - p2;
        double a = d1.LengthSquared, e = d2.LengthSquared, f = d2.Dot(r), s, t;
        if (!(a > 0)) { s = 0; t = e > 0 ? Math.Clamp(f / e, 0, 1) : 0; }
        else
        {
            var c = d1.Dot(r);
            if (!(e > 0)) { t = 0; s = Math.Clamp(-c / a, 0, 1); }
            else
            {
                double b = d1.Dot(d2), det = a * e - b * b;
                s = det > 1e-14 * a * e ? Math.Clamp((b * f - c * e) / det, 0, 1) : 0;
                t = (b * s + f) / e;
                if (t < 0) { t = 0; s = Math.Clamp(-c / a, 0, 1); }
                else if (t > 1) { t = 1; s = Math.Clamp((b - c) / a, 0, 1); }
            }
        }
        on1 = p1 + d1 * s;
        on2 = p2 + d2 * t;
        return (on1 - on2).LengthSquared;
    }

    /// <summary>Squared distance of segment pq to triangle abc, mm2 (zero where they cross), and the nearest point of the triangle.</summary>
    public static double SegmentTriangleSquared(Vec3 p, Vec3 q, Vec3 a, Vec3 b, Vec3 c, out Vec3 nearest)
    {
        var n = (b - a).Cross(c - a);
        double hp = n.Dot(p - a), hq = n.Dot(q - a);
        if ((hp <= 0 && hq >= 0 || hp >= 0 && hq <= 0) && hp != hq)
        {
            var x = p + (q - p) * (hp / (hp - hq));
            if (n.Dot((b - a).Cross(x - a)) >= 0 && n.Dot((c - b).Cross(x - b)) >= 0 && n.Dot((a - c).Cross(x - c)) >= 0)
            {
                nearest = x;
                return 0;
            }
        }
        nearest = ClosestPoint(p, a, b, c);
        var best = (nearest - p).LengthSquared;
        var other = ClosestPoint(q, a, b, c);
        var d = (other - q).LengthSquared;
        if (d < best) { best = d; nearest = other; }
        d = SegmentSegmentSquared(p, q, a, b, out _, out other);
        if (d < best) { best = d; nearest = other; }
        d = SegmentSegmentSquared(p, q, b, c, out _, out other);
        if (d < best) { best = d; nearest = other; }
        d = SegmentSegmentSquared(p, q, c, a, out _, out other);
        if (d < best) { best = d; nearest = other; }
        return best;
    }
}
