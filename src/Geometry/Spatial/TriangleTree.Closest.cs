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
        if (_children.Length == 0 || !(within > 0)) return Nearest.None;
        var best2 = within * within;
        var found = -1;
        Span<int> stack = stackalloc int[StackSize];
        Span<float> bound = stackalloc float[StackSize];
        Span<float> d = stackalloc float[4];
        var wide = new Wide(Vector256.Create(p.X), Vector256.Create(p.Y), Vector256.Create(p.Z));
        Vector128<float> px = Vector128.Create((float)p.X), py = Vector128.Create((float)p.Y), pz = Vector128.Create((float)p.Z);
        var limit = Limit(within, p);
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
                var four = LeafDistances(leaf, wide);
                if (!Vector256.LessThanAny(four, Vector256.Create(best2))) continue;
                for (var i = 0; i < 4; i++)
                {
                    var q2 = four.GetElement(i);
                    if (!(q2 < best2) || _ids[4 * leaf + i] < 0 || keep is not null && !keep(_ids[4 * leaf + i])) continue;
                    best2 = q2;
                    found = 4 * leaf + i;
                    limit = Limit(Math.Sqrt(best2), p);
                }
                continue;
            }
            BoxDistances(code, px, py, pz).CopyTo(d);
            PushNearestLast(code, d, limit, stack, bound, ref top);
        }
        if (found < 0) return Nearest.None;
        var nearest = TriangleDistance.ClosestPoint(p, Corner(found, 0), Corner(found, 1), Corner(found, 2));
        return new Nearest(nearest.DistanceTo(p), _ids[found], nearest);
    }

    /// <summary>Nearest points of many points, in order, on several threads; the result does not depend on their number.</summary>
    public Nearest[] Closest(Vec3[] points, double within = double.PositiveInfinity, int maxThreads = 0)
    {
        ArgumentNullException.ThrowIfNull(points);
        var results = new Nearest[points.Length];
        Parallel.For(0, (points.Length + 1023) / 1024, Threads(maxThreads), block =>
        {
            for (var i = block * 1024; i < Math.Min(points.Length, (block + 1) * 1024); i++) results[i] = Closest(points[i], null, within);
        });
        return results;
    }

    /// <summary>
    /// Distance of the segment ab (the axis of a capsule) to the mesh, mm: zero where they cross. Subtract the capsule's radius
    /// for its clearance. Infinity where the distance is not below <paramref name="within"/>.
    /// </summary>
    public double ClearanceOfCapsule(Vec3 a, Vec3 b, double within = double.PositiveInfinity) => ClosestToSegment(a, b, null, within).Distance;

    /// <summary>The point of the mesh nearest to the segment ab, among the triangles that a filter lets through (null: all).</summary>
    public Nearest ClosestToSegment(Vec3 a, Vec3 b, Func<int, bool>? keep = null, double within = double.PositiveInfinity)
    {
        if (_children.Length == 0 || !(within > 0)) return Nearest.None;
        var segment = new Box3(Vec3.Min(a, b), Vec3.Max(a, b));
        double best = within, best2 = within * within;
        var nearest = Vec3.Zero;
        var found = -1;
        Span<int> stack = stackalloc int[StackSize];
        Span<float> bound = stackalloc float[StackSize];
        Span<float> d = stackalloc float[4];
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
                for (var i = 4 * ~code; i < 4 * ~code + 4 && _ids[i] >= 0; i++)
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
            var f = _boxes.AsSpan(24 * code, 24);
            for (var k = 0; k < 4; k++)
            {
                var box = new Box3(new Vec3(f[k], f[4 + k], f[8 + k]), new Vec3(f[12 + k], f[16 + k], f[20 + k]));
                if (_children[4 * code + k] == Empty) { d[k] = float.PositiveInfinity; continue; }
                var gap = Vec3.Max(Vec3.Max(box.Min - segment.Max, segment.Min - box.Max), Vec3.Zero).Length;
                var centre = box.Center;
                var round = centre.DistanceTo(TriangleDistance.ClosestOnSegment(centre, a, b)) - box.Size.Length / 2;
                var low = Math.Max(gap, round);
                d[k] = (float)(low * low * 0.999999);
            }
            PushNearestLast(code, d, limit, stack, bound, ref top);
        }
        return found < 0 ? Nearest.None : new Nearest(best, _ids[found], nearest);
    }

    // Three coordinates of four points (or four times the same one).
    private readonly struct Wide(Vector256<double> x, Vector256<double> y, Vector256<double> z)
    {
        public readonly Vector256<double> X = x, Y = y, Z = z;
        public static Wide operator -(in Wide a, in Wide b) => new(a.X - b.X, a.Y - b.Y, a.Z - b.Z);
        public Vector256<double> Dot(in Wide b) => X * b.X + Y * b.Y + Z * b.Z;
        public Wide Cross(in Wide b) => new(Y * b.Z - Z * b.Y, Z * b.X - X * b.Z, X * b.Y - Y * b.X);
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private Wide LeafCorner(int leaf, int k)
    {
        ref var at = ref _points[36 * leaf + 12 * k];
        return new Wide(
            Widened(Vector128.LoadUnsafe(ref at)), Widened(Vector128.LoadUnsafe(ref at, 4)), Widened(Vector128.LoadUnsafe(ref at, 8)));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static Vector256<double> Widened(Vector128<float> f)
    {
        if (System.Runtime.Intrinsics.X86.Avx.IsSupported) return System.Runtime.Intrinsics.X86.Avx.ConvertToVector256Double(f);
        var (lower, upper) = Vector128.Widen(f);
        return Vector256.Create(lower, upper);
    }

    /// <summary>
    /// Squared distances of a point to the four triangles of a leaf. The nearest point of a triangle lies on one of its edges or,
    /// where the point projects into it, in its plane; taking the least of these is safe for needles too, whose normals are poor.
    /// </summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private Vector256<double> LeafDistances(int leaf, in Wide p)
    {
        Wide a = LeafCorner(leaf, 0), b = LeafCorner(leaf, 1), c = LeafCorner(leaf, 2);
        Wide ap = p - a, bp = p - b, cp = p - c, ab = b - a, bc = c - b, ca = a - c;
        var edges = Vector256.Min(Vector256.Min(ToEdge(ap, ab), ToEdge(bp, bc)), ToEdge(cp, ca));
        var n = ab.Cross(bc);
        var nn = n.Dot(n);
        var h = n.Dot(ap);
        var inside = Vector256.GreaterThanOrEqual(n.Dot(ab.Cross(ap)), Vector256<double>.Zero)
            & Vector256.GreaterThanOrEqual(n.Dot(bc.Cross(bp)), Vector256<double>.Zero)
            & Vector256.GreaterThanOrEqual(n.Dot(ca.Cross(cp)), Vector256<double>.Zero)
            & Vector256.GreaterThan(nn, Vector256<double>.Zero);
        return Vector256.ConditionalSelect(inside, Vector256.Min(edges, h * h / nn), edges);
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static Vector256<double> ToEdge(in Wide ap, in Wide ab)
    {
        var length2 = Vector256.Max(ab.Dot(ab), Vector256.Create(1e-300));
        var s = Vector256.Min(Vector256.Max(ap.Dot(ab) / length2, Vector256<double>.Zero), Vector256<double>.One);
        Vector256<double> x = ap.X - ab.X * s, y = ap.Y - ab.Y * s, z = ap.Z - ab.Z * s;
        return x * x + y * y + z * z;
    }

    // The squared single-precision box distance above which a child cannot hold anything nearer than `best`.
    private float Limit(double best, Vec3 p)
    {
        var far = Math.Max(Math.Abs(p.X), Math.Max(Math.Abs(p.Y), Math.Abs(p.Z)));
        var l = best + 2 * _slack + far * 4e-7;
        return (float)(l * l * 1.000001);
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private Vector128<float> BoxDistances(int node, Vector128<float> px, Vector128<float> py, Vector128<float> pz)
    {
        ref var b = ref _boxes[24 * node];
        var x = Vector128.Max(Vector128.Max(Vector128.LoadUnsafe(ref b) - px, px - Vector128.LoadUnsafe(ref b, 12)), Vector128<float>.Zero);
        var y = Vector128.Max(Vector128.Max(Vector128.LoadUnsafe(ref b, 4) - py, py - Vector128.LoadUnsafe(ref b, 16)), Vector128<float>.Zero);
        var z = Vector128.Max(Vector128.Max(Vector128.LoadUnsafe(ref b, 8) - pz, pz - Vector128.LoadUnsafe(ref b, 20)), Vector128<float>.Zero);
        return x * x + y * y + z * z;
    }

    // Pushes the children within the limit so that the nearest one is taken next.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private void PushNearestLast(int node, Span<float> d, float limit, Span<int> stack, Span<float> bound, ref int top)
    {
        var first = top;
        for (var k = 0; k < 4; k++)
        {
            var dk = d[k];
            var code = _children[4 * node + k];
            if (code == Empty || !(dk <= limit)) continue;
            var j = top++;
            while (j > first && bound[j - 1] < dk)
            {
                bound[j] = bound[j - 1];
                stack[j] = stack[j - 1];
                j--;
            }
            bound[j] = dk;
            stack[j] = code;
        }
    }
}
