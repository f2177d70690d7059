using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>A ring of corners around a tube's axis; a single corner for a point.</summary>
internal readonly record struct Ring(Vec3 Centre, Vec3[] Corners)
{
    public static Ring Of(Vec3[] corners)
    {
        var centre = Vec3.Zero;
        foreach (var c in corners) centre += c;
        return new Ring(centre / corners.Length, corners);
    }

    /// <summary>Mean distance of the corners to the line through the centre, and the largest relative departure from it.</summary>
    public (double Radius, double Departure) Around(Vec3 axis)
    {
        if (Corners.Length < 3) return (0, 0);
        double mean = 0, least = double.MaxValue, most = 0;
        foreach (var p in Corners)
        {
            var d = (p - Centre).Cross(axis).Length;
            mean += d / Corners.Length;
            least = Math.Min(least, d);
            most = Math.Max(most, d);
        }
        return mean > 0 ? (mean, Math.Max(most - mean, mean - least) / mean) : (0, 0);
    }

    /// <summary>Normal of the plane that fits the corners best (zero for a point), by the sum of corner cross products.</summary>
    public Vec3 Normal(Vec3 along)
    {
        if (Corners.Length < 3) return along;
        // Sort by angle around the expected direction so that the cross products add up.
        var u = along.AnyPerpendicular();
        var w = along.Cross(u);
        var angle = new double[Corners.Length];
        for (var i = 0; i < angle.Length; i++) angle[i] = Math.Atan2((Corners[i] - Centre).Dot(w), (Corners[i] - Centre).Dot(u));
        var sorted = (Vec3[])Corners.Clone();
        Array.Sort(angle, sorted);
        var sum = Vec3.Zero;
        for (var i = 0; i < sorted.Length; i++) sum += (sorted[i] - Centre).Cross(sorted[(i + 1) % sorted.Length] - Centre);
        return sum.Unit();
    }
}
