namespace Stiltwright.Geometry.Spatial;

/// <summary>Whether two triangles come nearer to one another than a distance.</summary>
public static class TriangleContact
{
    /// <summary>
    /// True if the triangles cross or come nearer than <paramref name="mm"/>: the least of the distances of each one's edges
    /// to the other triangle (two triangles that cross have an edge of one passing through the other).
    /// </summary>
    public static bool NearerThan(Vec3 a, Vec3 b, Vec3 c, Vec3 x, Vec3 y, Vec3 z, double mm)
    {
        Vec3 low = Vec3.Min(a, Vec3.Min(b, c)), high = Vec3.Max(a, Vec3.Max(b, c));
        Vec3 low2 = Vec3.Min(x, Vec3.Min(y, z)), high2 = Vec3.Max(x, Vec3.Max(y, z));
        if (low.X > high2.X + mm || low2.X > high.X + mm || low.Y > high2.Y + mm || low2.Y > high.Y + mm || low.Z > high2.Z + mm || low2.Z > high.Z + mm) return false;
        if (Apart(a, b, c, x, y, z, mm) || Apart(x, y, z, a, b, c, mm)) return false;
        var limit = mm * mm;
        return TriangleDistance.SegmentTriangleSquared(a, b, x, y, z, out _) < limit
            || TriangleDistance.SegmentTriangleSquared(b, c, x, y, z, out _) < limit
            || TriangleDistance.SegmentTriangleSquared(c, a, x, y, z, out _) < limit
            || TriangleDistance.SegmentTriangleSquared(x, y, a, b, c, out _) < limit
            || TriangleDistance.SegmentTriangleSquared(y, z, a, b, c, out _) < limit
            || TriangleDistance.SegmentTriangleSquared(z, x, a, b, c, out _) < limit;
    }

    // True if xyz lies wholly on one side of the plane of abc and farther from it than mm.
    private static bool Apart(Vec3 a, Vec3 b, Vec3 c, Vec3 x, Vec3 y, Vec3 z, double mm)
    {
        var n = (b - a).Cross(c - a);
        var far = mm * n.Length;
        if (far == 0) return false;
        double dx = n.Dot(x - a), dy = n.Dot(y - a), dz = n.Dot(z - a);
        return dx > far && dy > far && dz > far || dx < -far && dy < -far && dz < -far;
    }
}
