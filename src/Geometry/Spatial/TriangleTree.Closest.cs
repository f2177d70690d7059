using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;

namespace Stiltwright.Geometry.Spatial;

public sealed partial class TriangleTree
{
    /// <summary>
    /// The point of the mesh nearest to p, exact to double precision. Of several equally near triangles the one met first
    /// is named, always the same one for the same mesh and point.
    /// </summary>
    /// <param name="p">The point, mm.</param>
    /// <param name="within">Only triangles nearer than this count, mm.</param>
    public Nearest Closest(Vec3 p, double within = double.PositiveInfinity) => Closest(p, null, within);

    /// <summary>As <see cref="Closest(Vec3, double)"/>, among the triangles that a filter lets through (null: all).</summary>
    public Nearest Closest(Vec3 p, Func<int, bool>? keep, double within = double.PositiveInfinity)
    {
        if (!(within > 0)) return Nearest.None;
        var best2 = within * within;
        var place = ClosestPlace(p, keep, ref best2);
        return place < 0 ? Nearest.None : At(place, p);
    }

    /// <summary>Nearest points of many points, in order, on several threads; the result does not depend on their number.</summary>
    public Nearest[] Closest(Vec3[] points, double within = double.PositiveInfinity, int maxThreads = 0)
    {
        ArgumentNullException.ThrowIfNull(points);
        var results = new Nearest[points.Length];
        // Along a curve through space, so that each point finds in the caches what its neighbour has just used, and starts with a
        // bound: the distance to the neighbour's nearest triangle. That only leaves out what is farther; the answer stays the same.
        var order = points.Length < 64 ? null : MortonOrder.Of(points, maxThreads);
        Parallel.For(0, (points.Length + 1023) / 1024, Threads(maxThreads), block =>
        {
            var seed = -1;
            for (var i = block * 1024; i < Math.Min(points.Length, (block + 1) * 1024); i++)
            {
                var n = order is null ? i : order[i];
                if (!(within > 0)) { results[n] = Nearest.None; continue; }
                var best2 = within * within;
                var place = ClosestPlace(points[n], null, ref best2, seed);
                results[n] = place < 0 ? Nearest.None : At(place, points[n]);
                seed = place;
            }
        });
        return results;
    }

    internal Nearest At(int place, Vec3 p)
    {
        var nearest = TriangleDistance.ClosestPoint(p, Corner(place, 0), Corner(place, 1), Corner(place, 2));
        return new Nearest(nearest.DistanceTo(p), _ids[place], nearest);
    }

    /// <summary>
    /// The place in the leaves (not the number) of the nearest triangle, -1 where none is nearer than the root of
    /// <paramref name="best2"/>, which afterwards holds its squared distance, mm2.
    /// </summary>
    /// <param name="p">The point, mm.</param>
    /// <param name="keep">Lets triangles through; null: all.</param>
    /// <param name="best2">Squared distance below which a triangle counts.</param>
    /// <param name="seed">A place that is likely near, or -1: its distance bounds the search, no more.</param>
    /// <param name="enough">Nearer than this it does not matter which is the nearest: the first one met ends the search, mm.</param>
    [SkipLocalsInit]
    internal int ClosestPlace(Vec3 p, Func<int, bool>? keep, ref double best2, int seed = -1, double enough = 0)
    {
        if (_children.Length == 0) return -1;
        if (seed >= 0)
        {
            var d2 = (TriangleDistance.ClosestPoint(p, Corner(seed, 0), Corner(seed, 1), Corner(seed, 2)) - p).LengthSquared;
            best2 = Math.Min(best2, d2 * (1 + 1e-9) + 1e-300);
        }
        var found = -1;
        var enough2 = enough * enough;
        Span<int> stack = stackalloc int[StackSize];
        Span<float> bound = stackalloc float[StackSize];
        Vector256<float> px = Vector256.Create((float)p.X), py = Vector256.Create((float)p.Y), pz = Vector256.Create((float)p.Z);
        var limit = Limit(Math.Sqrt(best2), p);
        stack[0] = 0;
        bound[0] = 0;
        var top = 1;
        while (top > 0)
        {
            var code = stack[--top];
            if (bound[top] > limit) continue;
            if (code < 0)
            {
                var leaf = ~code;
                var eight = LeafDistances(leaf, px, py, pz);
                for (var mask = Vector256.LessThanOrEqual(eight, Vector256.Create(limit)).ExtractMostSignificantBits(); mask != 0; mask &= mask - 1)
                {
                    var place = Wide * leaf + System.Numerics.BitOperations.TrailingZeroCount(mask);
                    if (_ids[place] < 0 || keep is not null && !keep(_ids[place])) continue;
                    var d2 = (TriangleDistance.ClosestPoint(p, Corner(place, 0), Corner(place, 1), Corner(place, 2)) - p).LengthSquared;
                    if (!(d2 < best2)) continue;
                    best2 = d2;
                    found = place;
                    if (best2 < enough2) return found;
                    limit = Limit(Math.Sqrt(best2), p);
                }
                continue;
            }
            var d = BoxDistances(code, px, py, pz);
            if (_discs.Has(code)) d = Vector256.Max(d, _discs.Distances(code, px, py, pz));
            var near = Vector256.LessThanOrEqual(d, Vector256.Create(limit)).ExtractMostSignificantBits();
            var first = top;
            for (; near != 0; near &= near - 1)
            {
                var k = System.Numerics.BitOperations.TrailingZeroCount(near);
                Push(_children[Wide * code + k], d.GetElement(k), first, stack, bound, ref top);
            }
        }
        return found;
    }

    /// <summary>Distance of a point from the triangle at a place in the leaves, mm.</summary>
    internal double DistanceTo(int place, Vec3 p) => (TriangleDistance.ClosestPoint(p, Corner(place, 0), Corner(place, 1), Corner(place, 2)) - p).Length;

    /// <summary>
    /// Distance of the segment ab (the axis of a capsule) to the mesh, mm: zero where they cross. Subtract the capsule's radius
    /// for its clearance. Infinity where the distance is not below <paramref name="within"/>.
    /// </summary>
    public double ClearanceOfCapsule(Vec3 a, Vec3 b, double within = double.PositiveInfinity) => ClosestToSegment(a, b, null, within).Distance;

    /// <summary>True if some point of the mesh lies nearer than a distance to the segment ab, mm. It stops at the first it meets.</summary>
    [SkipLocalsInit]
    public bool AnyWithin(Vec3 a, Vec3 b, double distance)
    {
        if (_children.Length == 0 || !(distance > 0)) return false;
        Vec3 least = Vec3.Min(a, b), most = Vec3.Max(a, b);
        var within = distance * distance;
        Span<int> stack = stackalloc int[StackSize];
        Span<float> bound = stackalloc float[StackSize];
        (bound[0], stack[0]) = (0, 0);
        var limit = Limit(distance, a);
        var top = 1;
        while (top > 0)
        {
            var code = stack[--top];
            if (code < 0)
            {
                for (var i = Wide * ~code; i < Wide * ~code + Wide && _ids[i] >= 0; i++)
                    if (TriangleDistance.SegmentTriangleSquared(a, b, Corner(i, 0), Corner(i, 1), Corner(i, 2), out _) < within) return true;
                continue;
            }
            var f = _boxes.AsSpan(BoxFloats * code, BoxFloats);
            var first = top;
            for (var k = 0; k < Wide; k++)
            {
                if (_children[Wide * code + k] == Empty) continue;
                double lx = f[k], ly = f[Wide + k], lz = f[2 * Wide + k], hx = f[3 * Wide + k], hy = f[4 * Wide + k], hz = f[5 * Wide + k];
                double gx = Math.Max(0, Math.Max(lx - most.X, least.X - hx)), gy = Math.Max(0, Math.Max(ly - most.Y, least.Y - hy)), gz = Math.Max(0, Math.Max(lz - most.Z, least.Z - hz));
                var gap = gx * gx + gy * gy + gz * gz;
                if (gap * 0.999999 > limit) continue;
                var centre = new Vec3((lx + hx) / 2, (ly + hy) / 2, (lz + hz) / 2);
                var round = Math.Max(0, centre.DistanceTo(TriangleDistance.ClosestOnSegment(centre, a, b)) - new Vec3(hx - lx, hy - ly, hz - lz).Length / 2);
                var d = (float)(Math.Max(gap, round * round) * 0.999999);
                if (d <= limit) Push(_children[Wide * code + k], d, first, stack, bound, ref top);
            }
        }
        return false;
    }

    /// <summary>The point of the mesh nearest to the segment ab, among the triangles that a filter lets through (null: all).</summary>
    [SkipLocalsInit]
    public Nearest ClosestToSegment(Vec3 a, Vec3 b, Func<int, bool>? keep = null, double within = double.PositiveInfinity)
    {
        if (_children.Length == 0 || !(within > 0)) return Nearest.None;
        var segment = new Box3(Vec3.Min(a, b), Vec3.Max(a, b));
        double best = within, best2 = within * within;
        var nearest = Vec3.Zero;
        var found = -1;
        Span<int> stack = stackalloc int[StackSize];
        Span<float> bound = stackalloc float[StackSize];
        bound[0] = 0;
        stack[0] = 0;
        var limit = Limit(best, a);
        var top = 1;
        while (top > 0)
        {
            var code = stack[--top];
            if (bound[top] > limit) continue;
            if (code < 0)
            {
                for (var i = Wide * ~code; i < Wide * ~code + Wide && _ids[i] >= 0; i++)
                {
                    if (keep is not null && !keep(_ids[i])) continue;
                    var d2 = TriangleDistance.SegmentTriangleSquared(a, b, Corner(i, 0), Corner(i, 1), Corner(i, 2), out var q);
                    if (!(d2 < best2)) continue;
                    best2 = d2;
                    best = Math.Sqrt(d2);
                    limit = Limit(best, a);
                    nearest = q;
                    found = i;
                    if (best2 == 0) return new Nearest(0, _ids[i], q);
                }
                continue;
            }
            var f = _boxes.AsSpan(BoxFloats * code, BoxFloats);
            var first = top;
            for (var k = 0; k < Wide; k++)
            {
                if (_children[Wide * code + k] == Empty) continue;
                var box = new Box3(new Vec3(f[k], f[Wide + k], f[2 * Wide + k]), new Vec3(f[3 * Wide + k], f[4 * Wide + k], f[5 * Wide + k]));
                var gap = Vec3.Max(Vec3.Max(box.Min - segment.Max, segment.Min - box.Max), Vec3.Zero).Length;
                var centre = box.Center;
                var round = centre.DistanceTo(TriangleDistance.ClosestOnSegment(centre, a, b)) - box.Size.Length / 2;
                var low = Math.Max(gap, round);
                var d = (float)(low * low * 0.999999);
                if (d <= limit) Push(_children[Wide * code + k], d, first, stack, bound, ref top);
            }
        }
        return found < 0 ? Nearest.None : new Nearest(best, _ids[found], nearest);
    }

    // Squared distances of a point to the eight triangles of a leaf, in single precision. The nearest point of a triangle lies on one of
    // its edges or, where the point projects into it, in its plane. A needle's normal is poor, but then the plane's part is hardly
    // nearer than the edges: with e the relative rounding and L the longest edge, by less than 2 e L, which the limit allows for.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private Vector256<float> LeafDistances(int leaf, Vector256<float> px, Vector256<float> py, Vector256<float> pz)
    {
        ref var f = ref _points[LeafFloats * leaf];
        Vector256<float> ax = Vector256.LoadUnsafe(ref f), ay = Vector256.LoadUnsafe(ref f, 8), az = Vector256.LoadUnsafe(ref f, 16);
        Vector256<float> bx = Vector256.LoadUnsafe(ref f, 24), by = Vector256.LoadUnsafe(ref f, 32), bz = Vector256.LoadUnsafe(ref f, 40);
        Vector256<float> cx = Vector256.LoadUnsafe(ref f, 48), cy = Vector256.LoadUnsafe(ref f, 56), cz = Vector256.LoadUnsafe(ref f, 64);
        Vector256<float> abx = bx - ax, aby = by - ay, abz = bz - az, bcx = cx - bx, bcy = cy - by, bcz = cz - bz;
        Vector256<float> nx = aby * bcz - abz * bcy, ny = abz * bcx - abx * bcz, nz = abx * bcy - aby * bcx;
        var outside = Vector256<float>.Zero;
        var edges = ToEdge(px - ax, py - ay, pz - az, abx, aby, abz, nx, ny, nz, ref outside);
        edges = Vector256.Min(edges, ToEdge(px - bx, py - by, pz - bz, bcx, bcy, bcz, nx, ny, nz, ref outside));
        edges = Vector256.Min(edges, ToEdge(px - cx, py - cy, pz - cz, ax - cx, ay - cy, az - cz, nx, ny, nz, ref outside));
        var h = nx * (px - ax) + ny * (py - ay) + nz * (pz - az);
        var plane = h * h / Vector256.Max(nx * nx + ny * ny + nz * nz, Vector256.Create(float.Epsilon));
        return Vector256.ConditionalSelect(Vector256.LessThan(outside, Vector256<float>.Zero), edges, Vector256.Min(edges, plane));
    }

    // Squared distance to an edge; `outside` falls below zero where the point projects to the outer side of it.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static Vector256<float> ToEdge(
        Vector256<float> x, Vector256<float> y, Vector256<float> z, Vector256<float> ex, Vector256<float> ey, Vector256<float> ez,
        Vector256<float> nx, Vector256<float> ny, Vector256<float> nz, ref Vector256<float> outside)
    {
        outside = Vector256.Min(outside, nx * (ey * z - ez * y) + ny * (ez * x - ex * z) + nz * (ex * y - ey * x));
        var along = (x * ex + y * ey + z * ez) / Vector256.Max(ex * ex + ey * ey + ez * ez, Vector256.Create(1e-30f));
        var s = Vector256.Min(Vector256.Max(along, Vector256<float>.Zero), Vector256<float>.One);
        x -= ex * s;
        y -= ey * s;
        z -= ez * s;
        return x * x + y * y + z * z;
    }

    // The squared single-precision distance above which nothing can be nearer than `best`.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private float Limit(double best, Vec3 p)
    {
        var far = Math.Max(Math.Abs(p.X), Math.Max(Math.Abs(p.Y), Math.Abs(p.Z)));
        var l = best + 4 * _slack + far * 8e-7;
        return (float)(l * l * 1.00001);
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private Vector256<float> BoxDistances(int node, Vector256<float> px, Vector256<float> py, Vector256<float> pz)
    {
        ref var b = ref _boxes[BoxFloats * node];
        var x = Vector256.Max(Vector256.Max(Vector256.LoadUnsafe(ref b) - px, px - Vector256.LoadUnsafe(ref b, 3 * Wide)), Vector256<float>.Zero);
        var y = Vector256.Max(Vector256.Max(Vector256.LoadUnsafe(ref b, Wide) - py, py - Vector256.LoadUnsafe(ref b, 4 * Wide)), Vector256<float>.Zero);
        var z = Vector256.Max(Vector256.Max(Vector256.LoadUnsafe(ref b, 2 * Wide) - pz, pz - Vector256.LoadUnsafe(ref b, 5 * Wide)), Vector256<float>.Zero);
        return x * x + y * y + z * z;
    }

    // Pushes a child so that of those pushed since `first` the nearest one is taken next.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static void Push(int code, float distance, int first, Span<int> stack, Span<float> bound, ref int top)
    {
        var j = top++;
        while (j > first && bound[j - 1] < distance)
        {
            bound[j] = bound[j - 1];
            stack[j] = stack[j - 1];
            j--;
        }
        bound[j] = distance;
        stack[j] = code;
    }
}
