namespace Stiltwright.Printing.Struts;

/// <summary>
/// Whether upright rods stand in an order that somebody drew, seen from above: in a row, in a ring, at even steps, or mirrored. So stand
/// the bars of a gate, the pipes of an organ and the bars of a cage; props stand where the figure above hangs over. Under a figure with two
/// like halves they may be mirrored, too: nothing tells these from a gate's.
/// </summary>
internal static class PlanOrder
{
    /// <summary>Share of the rods that must stand in one row, in one ring, or opposite another one, for an order.</summary>
    private const double LeastInOrder = 0.6, LeastMirrored = 0.8;

    /// <summary>A rod stands in its place within this share of the middle distance to the next one.</summary>
    private const double PlaceShare = 0.08;

    /// <summary>Distances to the next rod that are this near the middle one are even, and so many must be for an order.</summary>
    private const double EvenShare = 0.05, LeastEven = 0.8;

    /// <summary>A ring is no wider than this, as a multiple of the rods' spread: a wider one is no ring.</summary>
    private const double WidestRing = 2;

    /// <summary>Rods through which rows and rings are laid; of more, evenly chosen ones.</summary>
    private const int Tried = 36;

    /// <summary>Rods whose images are looked for: one or two may stand on the mirror or in no place of the order.</summary>
    private const int MirrorsOf = 4;

    /// <summary>True if the places show an order. Fewer than four always do.</summary>
    public static bool Ordered(IReadOnlyList<(double X, double Y)> places)
    {
        if (places.Count < 4) return true;
        var next = places.Select(p => places.Min(q => q == p ? double.MaxValue : Distance(p, q))).Order().ToArray();
        var middle = next[next.Length / 2];
        if (next.Count(d => Math.Abs(d - middle) <= EvenShare * middle) >= LeastEven * next.Length) return true;
        var near = PlaceShare * middle;
        var spread = Math.Max(places.Max(p => p.X) - places.Min(p => p.X), places.Max(p => p.Y) - places.Min(p => p.Y));
        var stride = Math.Max(1, (places.Count + Tried - 1) / Tried);
        var some = Enumerable.Range(0, places.Count).Where(i => i % stride == 0).Select(i => places[i]).ToArray();
        for (var i = 0; i < some.Length; i++)
            for (var k = i + 1; k < some.Length; k++)
            {
                var (a, b) = (some[i], some[k]);
                var apart = Distance(a, b);
                if (apart < near) continue;
                var (ux, uy) = ((b.X - a.X) / apart, (b.Y - a.Y) / apart);
                if (Share(p => Math.Abs((p.X - a.X) * uy - (p.Y - a.Y) * ux) <= near) >= LeastInOrder) return true;
                for (var l = k + 1; l < some.Length; l++)
                    if (Ring(a, b, some[l]) is var (x, y, r) && r <= WidestRing * spread && Share(p => Math.Abs(Distance(p, (x, y)) - r) <= near) >= LeastInOrder) return true;
            }
        // A mirror puts each of a few rods where another stands.
        return places.Take(MirrorsOf).Any(a => places.Any(b => b != a && Mirrored(places, a, b, 2 * near)));

        double Share(Func<(double X, double Y), bool> holds) => (double)places.Count(holds) / places.Count;
    }

    /// <summary>Nearly all places have one opposite them, over the plane half-way between two.</summary>
    private static bool Mirrored(IReadOnlyList<(double X, double Y)> places, (double X, double Y) a, (double X, double Y) b, double near)
    {
        var apart = Distance(a, b);
        double ux = (b.X - a.X) / apart, uy = (b.Y - a.Y) / apart, mx = (a.X + b.X) / 2, my = (a.Y + b.Y) / 2;
        var alone = 0;
        foreach (var p in places)
        {
            var over = 2 * ((p.X - mx) * ux + (p.Y - my) * uy);
            var image = (X: p.X - over * ux, Y: p.Y - over * uy);
            if (!places.Any(q => Distance(q, image) <= near) && ++alone > (1 - LeastMirrored) * places.Count) return false;
        }
        return true;
    }

    private static double Distance((double X, double Y) a, (double X, double Y) b) => Math.Sqrt((a.X - b.X) * (a.X - b.X) + (a.Y - b.Y) * (a.Y - b.Y));

    /// <summary>The circle through three places; null where they lie in a row.</summary>
    private static (double X, double Y, double Radius)? Ring((double X, double Y) a, (double X, double Y) b, (double X, double Y) c)
    {
        double bx = b.X - a.X, by = b.Y - a.Y, cx = c.X - a.X, cy = c.Y - a.Y;
        var d = 2 * (bx * cy - by * cx);
        if (Math.Abs(d) < 1e-9) return null;
        double bb = bx * bx + by * by, cc = cx * cx + cy * cy;
        double x = (cy * bb - by * cc) / d, y = (bx * cc - cx * bb) / d;
        return (a.X + x, a.Y + y, Math.Sqrt(x * x + y * y));
    }
}
