using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;

namespace Stiltwright.Geometry.Spatial;

public sealed partial class TriangleTree
{
    internal int[] Children => _children;

    internal int LeafCount => _ids.Length / Wide;

    internal (Vec3 A, Vec3 B, Vec3 C)[] LeafTriangles(int leaf)
    {
        var n = 0;
        while (n < Wide && _ids[Wide * leaf + n] >= 0) n++;
        var list = new (Vec3, Vec3, Vec3)[n];
        for (var i = 0; i < n; i++) list[i] = (Corner(Wide * leaf + i, 0), Corner(Wide * leaf + i, 1), Corner(Wide * leaf + i, 2));
        return list;
    }

    /// <summary>Half of the solid angles under which a point sees the triangles of a leaf, positive from behind; zero in empty places.</summary>
    internal Vector256<float> HalfSolidAngles(int leaf, Vector256<float> px, Vector256<float> py, Vector256<float> pz)
    {
        ref var f = ref _points[LeafFloats * leaf];
        Vector256<float> ax = Vector256.LoadUnsafe(ref f) - px, ay = Vector256.LoadUnsafe(ref f, 8) - py, az = Vector256.LoadUnsafe(ref f, 16) - pz;
        Vector256<float> bx = Vector256.LoadUnsafe(ref f, 24) - px, by = Vector256.LoadUnsafe(ref f, 32) - py, bz = Vector256.LoadUnsafe(ref f, 40) - pz;
        Vector256<float> cx = Vector256.LoadUnsafe(ref f, 48) - px, cy = Vector256.LoadUnsafe(ref f, 56) - py, cz = Vector256.LoadUnsafe(ref f, 64) - pz;
        Vector256<float> a = Vector256.Sqrt(ax * ax + ay * ay + az * az), b = Vector256.Sqrt(bx * bx + by * by + bz * bz), c = Vector256.Sqrt(cx * cx + cy * cy + cz * cz);
        var det = ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx);
        var over = a * b * c + (ax * bx + ay * by + az * bz) * c + (bx * cx + by * cy + bz * cz) * a + (cx * ax + cy * ay + cz * az) * b;
        var used = Vector256.GreaterThanOrEqual(Vector256.LoadUnsafe(ref _ids[Wide * leaf]), Vector256<int>.Zero).AsSingle();
        return Vector256.ConditionalSelect(used, Angle(det, over), Vector256<float>.Zero);
    }

    // The angle of the point (x, y): its tangent brought below tan(pi / 8), then the series of the arc tangent; good to 1e-6.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static Vector256<float> Angle(Vector256<float> y, Vector256<float> x)
    {
        Vector256<float> u = Vector256.Abs(x), v = Vector256.Abs(y), small = Vector256.Min(u, v), large = Vector256.Max(u, v);
        var turned = Vector256.GreaterThan(small, large * 0.41421357f);
        var t = Vector256.ConditionalSelect(turned, small - large, small) / Vector256.Max(Vector256.ConditionalSelect(turned, small + large, large), Vector256.Create(1e-37f));
        var s = t * t;
        var angle = t * (Vector256<float>.One + s * (-1 / 3f * Vector256<float>.One + s * (0.2f * Vector256<float>.One + s * (-1 / 7f * Vector256<float>.One
            + s * (1 / 9f * Vector256<float>.One + s * (-1 / 11f * Vector256<float>.One + s * (1 / 13f)))))));
        angle += Vector256.ConditionalSelect(turned, Vector256.Create(MathF.PI / 4), Vector256<float>.Zero);
        angle = Vector256.ConditionalSelect(Vector256.GreaterThan(v, u), Vector256.Create(MathF.PI / 2) - angle, angle);
        angle = Vector256.ConditionalSelect(Vector256.LessThan(x, Vector256<float>.Zero), Vector256.Create(MathF.PI) - angle, angle);
        return Vector256.ConditionalSelect(Vector256.LessThan(y, Vector256<float>.Zero), -angle, angle);
    }
}
