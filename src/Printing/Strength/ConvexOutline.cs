namespace Stiltwright.Printing.Strength;

/// <summary>The convex outline of a base, for standing and tipping.</summary>
public static class ConvexOutline
{
    /// <summary>
    /// Distance from a point to the nearest edge of the convex hull of points, mm: positive inside, negative outside; null for
    /// fewer than three points or a hull without area.
    /// </summary>
    public static double? DistanceToEdge(IEnumerable<(double X, double Y)> points, (double X, double Y) at)
    {
        var hull = Hull(points);
        if (hull.Count < 3) return null;
        var least = double.PositiveInfinity;
        for (var i = 0; i < hull.Count; i++)
        {
            var (a, b) = (hull[i], hull[(i + 1) % hull.Count]);
            double dx = b.X - a.X, dy = b.Y - a.Y;
            var length = Math.Sqrt(dx * dx + dy * dy);
            if (length > 0) least = Math.Min(least, (dx * (at.Y - a.Y) - dy * (at.X - a.X)) / length);
        }
        return least;
    }

    /// <summary>Convex hull, counter-clockwise, without points on its edges (monotone chains, Andrew 1979).</summary>
    public static IReadOnlyList<(double X, double Y)> Hull(IEnumerable<(double X, double Y)> points)
    {
        var sorted = points.Distinct().Order().ToList();
        if (sorted.Count < 3) return sorted;
        var hull = new List<(double X, double Y)>();
        for (var pass = 0; pass < 2; pass++)
        {
            var start = hull.Count;
            for (var i = 0; i < sorted.Count; i++)
            {
                var p = pass == 0 ? sorted[i] : sorted[sorted.Count - 1 - i];
                while (hull.Count >= start + 2 && Cross(hull[^2], hull[^1], p) <= 0) hull.RemoveAt(hull.Count - 1);
                hull.Add(p);
            }
            hull.RemoveAt(hull.Count - 1);
        }
        return hull;

        static double Cross((double X, double Y) o, (double X, double Y) a, (double X, double Y) b) => (a.X - o.X) * (b.Y - o.Y) - (a.Y - o.Y) * (b.X - o.X);
    }
}
