using System.Numerics;
using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;

namespace Stiltwright.Geometry.Spatial;

/// <summary>
/// How many times a soup of triangles winds around a point when it is not closed: the sum of the solid angles of all triangles over
/// 4 pi (Jacobson, Kavan, Sorkine-Hornung 2013). A closed surface gives whole numbers; over a hole the value changes smoothly
/// from one to the other, so that one half is the border. Groups of triangles far from the point are summed as a dipole with its
/// first moments (Barill et al. 2018), near ones exactly (Van Oosterom, Strackee 1983); single precision. Groups count as far from three times
/// their radius on; the sum is then good to about 0.03.
/// </summary>
public sealed class SoupWinding
{
    private const int Wide = TreeBuilder.Wide;
    private const int Rows = 13;
    private const float FarRadii = 3;

    // Per node and row of eight children: centre x, y, z; area vector x, y, z; squared distance from which the child is far;
    // moments xx, yy, zz, xy, yz, zx (of area vector times way from the centre, symmetric part; mixed ones doubled).
    private readonly float[] _moments;
    private readonly TriangleTree _tree;

    private SoupWinding(TriangleTree tree, float[] moments)
    {
        _tree = tree;
        _moments = moments;
    }

    private struct Group
    {
        public Vec3 Centre, Normal;
        public double Area, Radius, Xx, Yy, Zz, Xy, Yz, Zx;
    }

    /// <summary>Sums the groups of a tree. Any mesh will do: open, crossing, unwelded, with triangles missing, doubled or turned.</summary>
    public static SoupWinding Build(TriangleTree tree, int maxThreads = 0)
    {
        ArgumentNullException.ThrowIfNull(tree);
        var children = tree.Children;
        var nodes = children.Length / Wide;
        var leaves = new Group[tree.LeafCount];
        Parallel.For(0, (leaves.Length + 2047) / 2048, TriangleTree.Threads(maxThreads), block =>
        {
            for (var l = block * 2048; l < Math.Min(leaves.Length, (block + 1) * 2048); l++) leaves[l] = OfLeaf(tree, l);
        });
        // Children have larger numbers than their parents.
        var moments = new float[Rows * Wide * nodes];
        var groups = new Group[nodes];
        for (var node = nodes - 1; node >= 0; node--)
        {
            for (var k = 0; k < Wide; k++)
            {
                var code = children[Wide * node + k];
                if (code != TriangleTree.Empty) Write(moments.AsSpan(Rows * Wide * node + k), code >= 0 ? groups[code] : leaves[~code]);
                else moments[Rows * Wide * node + 6 * Wide + k] = -1;
            }
            groups[node] = Sum(children.AsSpan(Wide * node, Wide), groups, leaves);
        }
        return new SoupWinding(tree, moments);
    }

    private static Group OfLeaf(TriangleTree tree, int leaf)
    {
        var g = new Group();
        Span<(Vec3 Middle, Vec3 Normal)> parts = stackalloc (Vec3, Vec3)[Wide];
        var n = 0;
        foreach (var (a, b, c) in tree.LeafTriangles(leaf))
        {
            var normal = (b - a).Cross(c - a) * 0.5;
            var middle = (a + b + c) / 3;
            parts[n++] = (middle, normal);
            var area = normal.Length;
            g.Normal += normal;
            g.Centre += middle * area;
            g.Area += area;
        }
        g.Centre = g.Area > 0 ? g.Centre / g.Area : parts[0].Middle;
        foreach (var (middle, normal) in parts[..n]) AddMoments(ref g, normal, middle - g.Centre);
        foreach (var (a, b, c) in tree.LeafTriangles(leaf))
            g.Radius = Math.Max(g.Radius, Math.Max((a - g.Centre).Length, Math.Max((b - g.Centre).Length, (c - g.Centre).Length)));
        return g;
    }

    private static Group Sum(ReadOnlySpan<int> children, Group[] groups, Group[] leaves)
    {
        var g = new Group();
        var last = Vec3.Zero;
        foreach (var code in children)
        {
            if (code == TriangleTree.Empty) continue;
            ref var c = ref code >= 0 ? ref groups[code] : ref leaves[~code];
            g.Normal += c.Normal;
            g.Centre += c.Centre * c.Area;
            g.Area += c.Area;
            last = c.Centre;
        }
        g.Centre = g.Area > 0 ? g.Centre / g.Area : last;
        foreach (var code in children)
        {
            if (code == TriangleTree.Empty) continue;
            ref var c = ref code >= 0 ? ref groups[code] : ref leaves[~code];
            var way = c.Centre - g.Centre;
            AddMoments(ref g, c.Normal, way);
            g.Xx += c.Xx;
            g.Yy += c.Yy;
            g.Zz += c.Zz;
            g.Xy += c.Xy;
            g.Yz += c.Yz;
            g.Zx += c.Zx;
            g.Radius = Math.Max(g.Radius, way.Length + c.Radius);
        }
        return g;
    }

    private static void AddMoments(ref Group g, Vec3 n, Vec3 d)
    {
        g.Xx += n.X * d.X;
        g.Yy += n.Y * d.Y;
        g.Zz += n.Z * d.Z;
        g.Xy += n.X * d.Y + n.Y * d.X;
        g.Yz += n.Y * d.Z + n.Z * d.Y;
        g.Zx += n.Z * d.X + n.X * d.Z;
    }

    private static void Write(Span<float> to, in Group g)
    {
        ReadOnlySpan<double> rows = [g.Centre.X, g.Centre.Y, g.Centre.Z, g.Normal.X, g.Normal.Y, g.Normal.Z, FarRadii * FarRadii * g.Radius * g.Radius, g.Xx, g.Yy, g.Zz, g.Xy, g.Yz, g.Zx];
        for (var r = 0; r < Rows; r++) to[r * Wide] = (float)rows[r];
    }

    /// <summary>The winding number at a point, mm.</summary>
    [SkipLocalsInit]
    public double At(Vec3 p)
    {
        if (_moments.Length == 0) return 0;
        Span<int> stack = stackalloc int[512];
        stack[0] = 0;
        var top = 1;
        Vector256<float> px = Vector256.Create((float)p.X), py = Vector256.Create((float)p.Y), pz = Vector256.Create((float)p.Z);
        Vector256<float> far = Vector256<float>.Zero, near = Vector256<float>.Zero;
        var children = _tree.Children;
        while (top > 0)
        {
            var node = stack[--top];
            ref var m = ref _moments[Rows * Wide * node];
            Vector256<float> x = Vector256.LoadUnsafe(ref m) - px, y = Vector256.LoadUnsafe(ref m, 8) - py, z = Vector256.LoadUnsafe(ref m, 16) - pz;
            Vector256<float> r2 = x * x + y * y + z * z, limit = Vector256.LoadUnsafe(ref m, 48);
            Vector256<float> xx = Vector256.LoadUnsafe(ref m, 56), yy = Vector256.LoadUnsafe(ref m, 64), zz = Vector256.LoadUnsafe(ref m, 72);
            var dipole = x * Vector256.LoadUnsafe(ref m, 24) + y * Vector256.LoadUnsafe(ref m, 32) + z * Vector256.LoadUnsafe(ref m, 40) + xx + yy + zz;
            var bent = xx * x * x + yy * y * y + zz * z * z
                + x * y * Vector256.LoadUnsafe(ref m, 80) + y * z * Vector256.LoadUnsafe(ref m, 88) + z * x * Vector256.LoadUnsafe(ref m, 96);
            var angle = (dipole - 3f * bent / r2) / (r2 * Vector256.Sqrt(r2));
            // Empty places have a limit below zero and sums of zero.
            var isFar = Vector256.GreaterThan(r2, Vector256.Max(limit, Vector256<float>.Zero));
            far += Vector256.ConditionalSelect(isFar, angle, Vector256<float>.Zero);
            for (var open = (~isFar & Vector256.GreaterThanOrEqual(limit, Vector256<float>.Zero)).ExtractMostSignificantBits(); open != 0; open &= open - 1)
            {
                var code = children[Wide * node + BitOperations.TrailingZeroCount(open)];
                if (code >= 0) stack[top++] = code;
                else near += _tree.HalfSolidAngles(~code, px, py, pz);
            }
        }
        return (Vector256.Sum(far) + 2.0 * Vector256.Sum(near)) / (4 * Math.PI);
    }

    /// <summary>Winding numbers of many points, in order, on several threads; the result does not depend on their number.</summary>
    public double[] At(Vec3[] points, int maxThreads = 0)
    {
        ArgumentNullException.ThrowIfNull(points);
        var results = new double[points.Length];
        var order = MortonOrder.Of(points, maxThreads);
        Parallel.For(0, (points.Length + 1023) / 1024, TriangleTree.Threads(maxThreads), block =>
        {
            for (var i = block * 1024; i < Math.Min(points.Length, (block + 1) * 1024); i++) results[order[i]] = At(points[order[i]]);
        });
        return results;
    }
}
