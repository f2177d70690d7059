using Stiltwright.Geometry;

namespace Stiltwright.Printing.Growing;

/// <summary>Distances between line segments (closest points of two segments; Ericson, Real-Time Collision Detection, 5.1.9).</summary>
internal static class Segments
{
    /// <summary>Least distance between segments a-b and c-d, mm.</summary>
    public static double Distance(Vec3 a, Vec3 b, Vec3 c, Vec3 d)
    {
        Vec3 u = b - a, v = d - c, w = a - c;
        double uu = u.Dot(u), vv = v.Dot(v), uv = u.Dot(v), uw = u.Dot(w), vw = v.Dot(w);
        double s, t;
        if (uu <= 0 && vv <= 0) return w.Length;
        if (uu <= 0) (s, t) = (0, Math.Clamp(vw / vv, 0, 1));
        else if (vv <= 0) (s, t) = (Math.Clamp(-uw / uu, 0, 1), 0);
        else
        {
            var den = uu * vv - uv * uv;
            s = den > 1e-12 * uu * vv ? Math.Clamp((uv * vw - uw * vv) / den, 0, 1) : 0;
            t = (uv * s + vw) / vv;
            if (t < 0) (s, t) = (Math.Clamp(-uw / uu, 0, 1), 0);
            else if (t > 1) (s, t) = (Math.Clamp((uv - uw) / uu, 0, 1), 1);
        }
        return (a + u * s).DistanceTo(c + v * t);
    }
}
