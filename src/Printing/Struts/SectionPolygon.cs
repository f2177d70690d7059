using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>
/// What the loads need of a strut's section, relative to the circle through its corners: area and least second moment of
/// area. Formulas for a polygon from its corners (shoelace and its second-order sisters: common handbook formulas).
/// </summary>
internal readonly record struct SectionPolygon(int Sides, double AreaShare, double InertiaShare, double Irregularity)
{
    /// <summary>A section that could not be measured: taken as a circle.</summary>
    public static readonly SectionPolygon Round = new(0, 1, 1, 1);

    /// <summary>Largest deviation of a corner's angle from the even spacing, as a share of that spacing, that still counts as regular.</summary>
    private const double AngleTolerance = 0.12;

    /// <summary>The section of a ring of corners seen along an axis.</summary>
    public static SectionPolygon Of(ReadOnlySpan<Vec3> ring, Vec3 centre, Vec3 axis)
    {
        if (ring.Length < 3) return Round;
        var u = axis.AnyPerpendicular();
        var w = axis.Cross(u).Unit();
        var n = ring.Length;
        var x = new double[n];
        var y = new double[n];
        var angle = new double[n];
        double radius = 0;
        for (var i = 0; i < n; i++)
        {
            var d = ring[i] - centre;
            x[i] = d.Dot(u);
            y[i] = d.Dot(w);
            angle[i] = Math.Atan2(y[i], x[i]);
            radius += Math.Sqrt(x[i] * x[i] + y[i] * y[i]) / n;
        }
        if (!(radius > 0)) return Round;
        var order = Enumerable.Range(0, n).ToArray();
        Array.Sort(angle, order);
        double area = 0, ixx = 0, iyy = 0, ixy = 0, worst = 0;
        for (var i = 0; i < n; i++)
        {
            int a = order[i], b = order[(i + 1) % n];
            var cross = x[a] * y[b] - x[b] * y[a];
            area += cross / 2;
            ixx += cross * (y[a] * y[a] + y[a] * y[b] + y[b] * y[b]) / 12;
            iyy += cross * (x[a] * x[a] + x[a] * x[b] + x[b] * x[b]) / 12;
            ixy += cross * (x[a] * y[b] + 2 * x[a] * y[a] + 2 * x[b] * y[b] + x[b] * y[a]) / 24;
            var step = angle[(i + 1) % n] - angle[i] + (i + 1 == n ? 2 * Math.PI : 0);
            worst = Math.Max(worst, Math.Abs(step * n / (2 * Math.PI) - 1));
            worst = Math.Max(worst, Math.Abs(Math.Sqrt(x[a] * x[a] + y[a] * y[a]) / radius - 1));
        }
        var least = (ixx + iyy) / 2 - Math.Sqrt((ixx - iyy) * (ixx - iyy) / 4 + ixy * ixy);
        var r2 = radius * radius;
        return new SectionPolygon(
            worst <= AngleTolerance ? n : 0,
            Math.Clamp(area / (Math.PI * r2), 0.05, 1),
            Math.Clamp(least / (Math.PI * r2 * r2 / 4), 0.01, 1),
            worst);
    }
}
