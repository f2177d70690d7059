using Stiltwright.Geometry;

namespace Stiltwright.Samples;

/// <summary>Distance-like functions (mm, negative inside) from which the figures are modelled.</summary>
internal static class Sdf
{
    public static double Ball(Vec3 p, Vec3 c, double r) => (p - c).Length - r;

    /// <summary>Close to a distance for ellipsoids that are not too flat.</summary>
    public static double Ellipsoid(Vec3 p, Vec3 c, Vec3 r)
    {
        var d = p - c;
        var k0 = new Vec3(d.X / r.X, d.Y / r.Y, d.Z / r.Z).Length;
        var k1 = new Vec3(d.X / (r.X * r.X), d.Y / (r.Y * r.Y), d.Z / (r.Z * r.Z)).Length;
        return k1 < 1e-9 ? -Math.Min(r.X, Math.Min(r.Y, r.Z)) : k0 * (k0 - 1) / k1;
    }

    /// <summary>A limb that tapers from ra at a to rb at b.</summary>
    public static double Limb(Vec3 p, Vec3 a, Vec3 b, double ra, double rb)
    {
        var ab = b - a;
        var t = Math.Clamp((p - a).Dot(ab) / Math.Max(1e-12, ab.LengthSquared), 0, 1);
        return (p - (a + ab * t)).Length - (ra + (rb - ra) * t);
    }

    /// <summary>Limbs along a row of points, joined smoothly.</summary>
    public static double Tube(Vec3 p, IReadOnlyList<Vec3> points, Func<double, double> radius)
    {
        var best = double.PositiveInfinity;
        var n = points.Count - 1;
        for (var i = 0; i < n; i++)
            best = Math.Min(best, Limb(p, points[i], points[i + 1], radius((double)i / n), radius((double)(i + 1) / n)));
        return best;
    }

    /// <summary>A fan with rounded edge and ribs: points within a sector of a disc, of a given thickness.</summary>
    public static double Fan(Vec3 p, Vec3 root, Vec3 out1, Vec3 normal, double length, double halfAngle, double thickness, int ribs)
    {
        var n = normal.Unit();
        var u = (out1 - n * out1.Dot(n)).Unit();
        var v = n.Cross(u);
        var d = p - root;
        double x = d.Dot(u), y = d.Dot(v), z = d.Dot(n);
        var r = Math.Sqrt(x * x + y * y);
        var angle = Math.Atan2(y, x);
        var scallop = length * (0.97 + 0.03 * Math.Cos(ribs * Math.PI * angle / halfAngle));
        var side = (Math.Abs(angle) - halfAngle) * Math.Max(r, 0.5);
        var rib = 0.35 * thickness * Math.Cos(ribs * Math.PI * angle / halfAngle);
        var flat = Math.Max(Math.Max(r - scallop, side), -r);
        var half = thickness * (0.8 - 0.35 * Math.Clamp(r / length, 0, 1)) / 2 + rib / 2;
        var q = Math.Abs(z) - Math.Max(0.28, half);
        var a = Math.Max(flat, 0);
        var b = Math.Max(q, 0);
        return Math.Sqrt(a * a + b * b) + Math.Min(Math.Max(flat, q), 0) - 0.22;
    }

    public static double Union(double a, double b, double k)
    {
        var h = Math.Max(k - Math.Abs(a - b), 0) / k;
        return Math.Min(a, b) - h * h * k * 0.25;
    }

    public static double Cut(double a, double b, double k) => -Union(-a, b, k);

    /// <summary>Smooth noise in -1..1 with features of about the given size.</summary>
    public static double Noise(Vec3 p, double size)
    {
        var q = p * (2 * Math.PI / size);
        return (Math.Sin(q.X + 1.7 * Math.Sin(0.71 * q.Y + 0.3)) + Math.Sin(q.Y + 1.7 * Math.Sin(0.67 * q.Z + 1.1)) + Math.Sin(q.Z + 1.7 * Math.Sin(0.73 * q.X + 2.2))) / 3;
    }

    /// <summary>A rough plinth: flat below z = 0 is cut off, rocky above.</summary>
    public static double Rock(Vec3 p, double radius, double height)
    {
        var bump = 0.9 * Noise(p, 17) + 0.45 * Noise(p + new Vec3(3, 9, 1), 7) + 0.2 * Noise(p, 2.6);
        var d = Ellipsoid(p, new Vec3(0, 0, -0.2 * height), new Vec3(radius, radius * 0.86, height * 1.2)) - bump;
        return Math.Max(d * 0.7, -p.Z);
    }
}
