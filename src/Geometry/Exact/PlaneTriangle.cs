namespace Stiltwright.Geometry.Exact;

/// <summary>Begins an arrangement in a whole plane: with a triangle that holds every lattice point's projection along the normal's largest part.</summary>
internal static class PlaneTriangle
{
    /// <summary>The plane is n.p = d (both times <paramref name="scale"/> on the left where d was doubled).</summary>
    public static void Start(Arrangement plane, (long X, long Y, long Z) n, Int128 d, int scale = 1)
    {
        const int m = 1 << 25;
        double ax = Math.Abs((double)n.X), ay = Math.Abs((double)n.Y), az = Math.Abs((double)n.Z);
        var w = ax >= ay && ax >= az ? 0 : ay >= az ? 1 : 2;
        var (u, v) = ((w + 1) % 3, (w + 2) % 3);
        if ((w == 0 ? n.X : w == 1 ? n.Y : n.Z) < 0) (u, v) = (v, u);
        Span<int> corners = stackalloc int[9];
        corners.Clear();
        (corners[u], corners[v]) = (-m, -m);
        (corners[3 + u], corners[3 + v]) = (3 * m, -m);
        (corners[6 + u], corners[6 + v]) = (-m, 3 * m);
        plane.Start(corners, n, d, scale);
    }
}
