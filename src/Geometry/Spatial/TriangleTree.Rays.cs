using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;

namespace Stiltwright.Geometry.Spatial;

public sealed partial class TriangleTree
{
    // Points are rounded to 1/256 lattice unit (0.06 nm at most) for exact integer tests.
    internal const int Finer = 8;

    /// <summary>
    /// How many times the mesh winds around p: 1 inside one closed shell that is turned outwards, 2 where two overlap, -1 inside
    /// one turned inwards, 0 outside. It is counted exactly, in integers, along a ray straight up; where p lies on the surface
    /// or the ray passes through an edge or a corner, p counts as moved by an infinitely small step (down, then along x, then along
    /// y), so the answer is that of a true neighbour of p and always the same. On open meshes it is only what the ray sees.
    /// </summary>
    public int Winding(Vec3 p)
    {
        if (_children.Length == 0 || !_bounds.Grown(Mesh.Lattice.UnitMm).Holds(p)) return 0;
        double scale = (double)Mesh.Lattice.UnitsPerMm * (1 << Finer);
        return WindingFine((long)Math.Round(p.X * scale), (long)Math.Round(p.Y * scale), (long)Math.Round(p.Z * scale), null);
    }

    /// <summary>As <see cref="Winding(Vec3)"/>, of the triangles that a filter lets through (one shell of several, for instance).</summary>
    public int Winding(Vec3 p, Func<int, bool> keep)
    {
        ArgumentNullException.ThrowIfNull(keep);
        if (_children.Length == 0 || !_bounds.Grown(Mesh.Lattice.UnitMm).Holds(p)) return 0;
        double scale = (double)Mesh.Lattice.UnitsPerMm * (1 << Finer);
        return WindingFine((long)Math.Round(p.X * scale), (long)Math.Round(p.Y * scale), (long)Math.Round(p.Z * scale), keep);
    }

    /// <summary>Winding numbers of many points, in order, on several threads. Very many are counted without walking the tree (see <see cref="Windings(Mesh, Vec3[], int)"/>).</summary>
    public int[] Windings(Vec3[] points, int maxThreads = 0)
    {
        ArgumentNullException.ThrowIfNull(points);
        if (points.Length > Math.Max(256, Count / 50)) return PointColumns.Windings(Mesh, points, maxThreads);
        var results = new int[points.Length];
        Parallel.For(0, (points.Length + 1023) / 1024, Threads(maxThreads), block =>
        {
            for (var i = block * 1024; i < Math.Min(points.Length, (block + 1) * 1024); i++) results[i] = Winding(points[i]);
        });
        return results;
    }

    /// <summary>
    /// Winding numbers of many points (as <see cref="Winding(Vec3)"/> gives them, one by one), without a tree: the way for a mesh that
    /// is asked once. The work is in proportion to the triangles, the points, and the points that lie below a triangle's box.
    /// </summary>
    public static int[] Windings(Mesh mesh, Vec3[] points, int maxThreads = 0)
    {
        ArgumentNullException.ThrowIfNull(mesh);
        ArgumentNullException.ThrowIfNull(points);
        return PointColumns.Windings(mesh, points, maxThreads);
    }

    [SkipLocalsInit]
    private int WindingFine(long x, long y, long z, Func<int, bool>? keep)
    {
        var unit = Mesh.Lattice.UnitMm / (1 << Finer);
        float fx = (float)(x * unit), fy = (float)(y * unit), fz = (float)(z * unit), s = _slack;
        Vector256<float> xLow = Vector256.Create(fx - s), xHigh = Vector256.Create(fx + s), yLow = Vector256.Create(fy - s), yHigh = Vector256.Create(fy + s), zLow = Vector256.Create(fz - s);
        var xyz = Mesh.XyzArray;
        var corners = Mesh.CornersArray;
        Span<int> stack = stackalloc int[StackSize];
        stack[0] = 0;
        var top = 1;
        var winding = 0;
        while (top > 0)
        {
            var node = stack[--top];
            ref var b = ref _boxes[BoxFloats * node];
            var hit = (Vector256.LessThanOrEqual(Vector256.LoadUnsafe(ref b), xHigh) & Vector256.GreaterThanOrEqual(Vector256.LoadUnsafe(ref b, 3 * Wide), xLow)
                & Vector256.LessThanOrEqual(Vector256.LoadUnsafe(ref b, Wide), yHigh) & Vector256.GreaterThanOrEqual(Vector256.LoadUnsafe(ref b, 4 * Wide), yLow)
                & Vector256.GreaterThanOrEqual(Vector256.LoadUnsafe(ref b, 5 * Wide), zLow)).ExtractMostSignificantBits();
            for (; hit != 0; hit &= hit - 1)
            {
                var code = _children[Wide * node + System.Numerics.BitOperations.TrailingZeroCount(hit)];
                if (code >= 0) { stack[top++] = code; continue; }
                if (code == Empty) continue;
                for (var i = Wide * ~code; i < Wide * ~code + Wide && _ids[i] >= 0; i++)
                {
                    var t = _ids[i];
                    if (keep is null || keep(t)) winding += Above(xyz, 3 * corners[3 * t], 3 * corners[3 * t + 1], 3 * corners[3 * t + 2], x, y, z);
                }
            }
        }
        return winding;
    }

    /// <summary>+1 where the triangle lies above the point and faces up, -1 where it faces down, 0 where the ray up misses it.</summary>
    internal static int Above(int[] xyz, int a, int b, int c, long x, long y, long z)
    {
        long ax = ((long)xyz[a] << Finer) - x, bx = ((long)xyz[b] << Finer) - x, cx = ((long)xyz[c] << Finer) - x;
        if (ax > 0 && bx > 0 && cx > 0 || ax < 0 && bx < 0 && cx < 0) return 0;
        long ay = ((long)xyz[a + 1] << Finer) - y, by = ((long)xyz[b + 1] << Finer) - y, cy = ((long)xyz[c + 1] << Finer) - y;
        if (ay > 0 && by > 0 && cy > 0 || ay < 0 && by < 0 && cy < 0) return 0;
        long az = ((long)xyz[a + 2] << Finer) - z, bz = ((long)xyz[b + 2] << Finer) - z, cz = ((long)xyz[c + 2] << Finer) - z;
        if (az < 0 && bz < 0 && cz < 0) return 0;
        var side = Side(ax, ay, bx, by);
        if (side == 0 || Side(bx, by, cx, cy) != side || Side(cx, cy, ax, ay) != side) return 0;
        if (az > 0 && bz > 0 && cz > 0) return side;
        // Which side of the triangle's plane is the point on? Exact; differences are below 2^35, the sum below 2^108.
        var det = (Int128)az * ((Int128)bx * cy - (Int128)by * cx)
            + (Int128)bz * ((Int128)cx * ay - (Int128)cy * ax)
            + (Int128)cz * ((Int128)ax * by - (Int128)ay * bx);
        // det = n.(a - p); the plane is above p where it has the sign of n.z, which is `side`. On the plane: p counts as below it.
        var sign = Int128.Sign(det);
        return sign == 0 || sign == side ? side : 0;
    }

    // The side of the origin as seen along u -> v in the plane. On the line, the origin counts as moved a very small step along +x
    // and a far smaller one along +y, the same for both triangles at an edge, so that the ray passes exactly one of them.
    private static int Side(long ux, long uy, long vx, long vy)
    {
        var cross = (Int128)ux * vy - (Int128)uy * vx;
        var sign = Int128.Sign(cross);
        if (sign != 0) return sign;
        if (vy != uy) return vy > uy ? -1 : 1;
        return vx == ux ? 0 : vx > ux ? 1 : -1;
    }

    /// <summary>All places where a ray meets the mesh, nearest first (equal distances: by triangle number). Triangles that the ray only grazes along their plane are not named; a ray through an edge meets exactly one of its triangles.</summary>
    /// <param name="origin">Start, mm.</param>
    /// <param name="direction">Direction; its length does not matter, zero is refused.</param>
    /// <param name="hits">Cleared and filled.</param>
    public void RayHits(Vec3 origin, Vec3 direction, List<RayHit> hits) => RayHits(origin, direction, double.PositiveInfinity, hits);

    /// <summary>As <see cref="RayHits(Vec3, Vec3, List{RayHit})"/>, up to a distance in mm.</summary>
    public void RayHits(Vec3 origin, Vec3 direction, double within, List<RayHit> hits)
    {
        ArgumentNullException.ThrowIfNull(hits);
        hits.Clear();
        var dir = direction.Unit();
        if (dir.LengthSquared == 0) throw new ArgumentException("A ray needs a direction.", nameof(direction));
        if (_children.Length == 0) return;
        Span<int> stack = stackalloc int[StackSize];
        stack[0] = 0;
        var top = 1;
        // Shear so that the ray runs along the axis of its largest component (Woop, Benthin, Wald 2013, watertight intersection).
        int kz = Math.Abs(dir.X) >= Math.Abs(dir.Y) && Math.Abs(dir.X) >= Math.Abs(dir.Z) ? 0 : Math.Abs(dir.Y) >= Math.Abs(dir.Z) ? 1 : 2;
        int kx = (kz + 1) % 3, ky = (kz + 2) % 3;
        double shx = dir[kx] / dir[kz], shy = dir[ky] / dir[kz], shz = 1 / dir[kz];
        while (top > 0)
        {
            var node = stack[--top];
            var b = _boxes.AsSpan(BoxFloats * node, BoxFloats);
            for (var k = 0; k < Wide; k++)
            {
                var code = _children[Wide * node + k];
                if (code == Empty || !RayMeets(b, k, origin, dir, within)) continue;
                if (code >= 0) { stack[top++] = code; continue; }
                for (var i = Wide * ~code; i < Wide * ~code + Wide && _ids[i] >= 0; i++)
                {
                    Vec3 p = Corner(i, 0) - origin, q = Corner(i, 1) - origin, r = Corner(i, 2) - origin;
                    double px = p[kx] - shx * p[kz], py = p[ky] - shy * p[kz];
                    double qx = q[kx] - shx * q[kz], qy = q[ky] - shy * q[kz];
                    double rx = r[kx] - shx * r[kz], ry = r[ky] - shy * r[kz];
                    int side = SideOf(px, py, qx, qy);
                    if (side == 0 || SideOf(qx, qy, rx, ry) != side || SideOf(rx, ry, px, py) != side) continue;
                    double u = qx * ry - qy * rx, v = rx * py - ry * px, w = px * qy - py * qx, det = u + v + w;
                    if (det == 0) continue;
                    var distance = (u * p[kz] + v * q[kz] + w * r[kz]) * shz / det;
                    if (distance < 0 || distance > within) continue;
                    // Seen along the sheared axis, a counter-clockwise triangle faces along +axis: the ray leaves through it if it runs along +axis.
                    hits.Add(new RayHit(distance, _ids[i], side > 0 != dir[kz] > 0));
                }
            }
        }
        hits.Sort((p, q) =>
        {
            var c = p.Distance.CompareTo(q.Distance);
            return c != 0 ? c : p.Triangle.CompareTo(q.Triangle);
        });
    }

    private static int SideOf(double ux, double uy, double vx, double vy)
    {
        // Two plain products, no fused operation: the value for v -> u is exactly the negative of that for u -> v.
        double l = ux * vy, r = uy * vx;
        if (l != r) return l > r ? 1 : -1;
        if (vy != uy) return vy > uy ? -1 : 1;
        return vx == ux ? 0 : vx > ux ? 1 : -1;
    }

    private bool RayMeets(Span<float> b, int k, Vec3 o, Vec3 d, double within)
    {
        double t0 = 0, t1 = within, s = _slack;
        for (var axis = 0; axis < 3; axis++)
        {
            double lo = b[Wide * axis + k] - s, hi = b[Wide * (3 + axis) + k] + s;
            if (Math.Abs(d[axis]) < 1e-12)
            {
                if (o[axis] < lo || o[axis] > hi) return false;
                continue;
            }
            double a = (lo - o[axis]) / d[axis], c = (hi - o[axis]) / d[axis];
            if (a > c) (a, c) = (c, a);
            t0 = Math.Max(t0, a);
            t1 = Math.Min(t1, c);
        }
        return t0 <= t1 + s;
    }
}
