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
        var sorted = Outer([.. points]).Distinct().Order().ToList();
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

    // Most points of a figure lie well inside the octagon of the outermost points in eight directions, and are no corners of
    // the hull: sorting a million of them would cost more than all the rest (Akl and Toussaint 1978).
    private static List<(double X, double Y)> Outer(List<(double X, double Y)> points)
    {
        if (points.Count < 64) return points;
        Span<(double X, double Y)> corner = stackalloc (double, double)[8];
        Span<double> reach = stackalloc double[8];
        reach.Fill(double.NegativeInfinity);
        Span<(double X, double Y)> way = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1)];
        foreach (var p in points)
            for (var i = 0; i < 8; i++)
                if (way[i].X * p.X + way[i].Y * p.Y is var along && along > reach[i]) (reach[i], corner[i]) = (along, p);
        var size = reach[0] + reach[4] + reach[2] + reach[6];
        if (size == 0) return points; // all in one place
        var slack = 1e-9 * size * size; // far above the rounding of a cross product
        var outer = new List<(double X, double Y)>();
        foreach (var p in points)
        {
            var inside = true;
            for (var i = 0; i < 8 && inside; i++)
            {
                var (a, b) = (corner[i], corner[(i + 1) & 7]);
                if (a == b) continue;
                inside = (b.X - a.X) * (p.Y - a.Y) - (b.Y - a.Y) * (p.X - a.X) > slack;
            }
            if (!inside) outer.Add(p);
        }
        return outer;
    }
}
