using System.Runtime.CompilerServices;

namespace Stiltwright.Geometry.Exact;

/// <summary>
/// Signs that are exact for lattice points (coordinates up to 2^25 units): first in double precision with a proven error
/// bound, then, where the bound does not decide, in 128-bit integers. Points are given as coordinate array and place of their x.
/// </summary>
public static class Predicates
{
    // Differences (<= 2^26) and 2x2 minors (<= 2^53) are exact in double; only three products and two sums round: at most
    // 3 * 2^-53 of the sum of absolute products. 4.5e-16 leaves room for the rounding of that sum itself.
    private const double Orient3DBound = 4.5e-16;

    /// <summary>
    /// Side of p to the plane of a triangle: +1 on the side its normal points to (corners seen counter-clockwise), -1 behind, 0 on it.
    /// </summary>
    public static int Orient3D(int[] points, int p, int[] triangle, int a, int b, int c)
    {
        double bx = triangle[b] - triangle[a], by = triangle[b + 1] - triangle[a + 1], bz = triangle[b + 2] - triangle[a + 2];
        double cx = triangle[c] - triangle[a], cy = triangle[c + 1] - triangle[a + 1], cz = triangle[c + 2] - triangle[a + 2];
        double px = points[p] - triangle[a], py = points[p + 1] - triangle[a + 1], pz = points[p + 2] - triangle[a + 2];
        double x = (by * cz - bz * cy) * px, y = (bz * cx - bx * cz) * py, z = (bx * cy - by * cx) * pz;
        var sum = x + y + z;
        var bound = Orient3DBound * (Math.Abs(x) + Math.Abs(y) + Math.Abs(z));
        if (sum > bound) return 1;
        if (sum < -bound) return -1;
        return Int128.Sign(Height(points, p, triangle, a, b, c));
    }

    /// <summary>Side of the line pq (of one array) to the line ab (of another): the sign of the volume of p, q, a, b.</summary>
    public static int OrientLines(int[] first, int p, int q, int[] second, int a, int b)
    {
        double bx = first[q] - first[p], by = first[q + 1] - first[p + 1], bz = first[q + 2] - first[p + 2];
        double cx = second[a] - first[p], cy = second[a + 1] - first[p + 1], cz = second[a + 2] - first[p + 2];
        double px = second[b] - first[p], py = second[b + 1] - first[p + 1], pz = second[b + 2] - first[p + 2];
        double x = (by * cz - bz * cy) * px, y = (bz * cx - bx * cz) * py, z = (bx * cy - by * cx) * pz;
        var sum = x + y + z;
        var bound = Orient3DBound * (Math.Abs(x) + Math.Abs(y) + Math.Abs(z));
        if (sum > bound) return 1;
        if (sum < -bound) return -1;
        return Int128.Sign((Int128)Minor((long)by, (long)cz, (long)bz, (long)cy) * (long)px
            + (Int128)Minor((long)bz, (long)cx, (long)bx, (long)cz) * (long)py + (Int128)Minor((long)bx, (long)cy, (long)by, (long)cx) * (long)pz);
    }

    /// <summary>Six times the volume of the tetrahedron a, b, c, p in cubed units, exact; its sign is that of <see cref="Orient3D"/>.</summary>
    public static Int128 Height(int[] points, int p, int[] triangle, int a, int b, int c)
    {
        var (nx, ny, nz) = Normal(triangle, a, b, c);
        return (Int128)nx * (points[p] - triangle[a]) + (Int128)ny * (points[p + 1] - triangle[a + 1]) + (Int128)nz * (points[p + 2] - triangle[a + 2]);
    }

    /// <summary>(b - a) x (c - a) in squared units, exact: twice the area vector. Zero in all three for a triangle without area.</summary>
    public static (long X, long Y, long Z) Normal(int[] xyz, int a, int b, int c)
    {
        long bx = (long)xyz[b] - xyz[a], by = (long)xyz[b + 1] - xyz[a + 1], bz = (long)xyz[b + 2] - xyz[a + 2];
        long cx = (long)xyz[c] - xyz[a], cy = (long)xyz[c + 1] - xyz[a + 1], cz = (long)xyz[c + 2] - xyz[a + 2];
        return (Minor(by, cz, bz, cy), Minor(bz, cx, bx, cz), Minor(bx, cy, by, cx));
    }

    /// <summary>Six times the volume of the tetrahedron of a triangle and the origin, cubed units, exact; summed over a closed surface it is six times its volume.</summary>
    internal static Int128 SixVolume(int[] xyz, int a, int b, int c)
    {
        long bx = xyz[b], by = xyz[b + 1], bz = xyz[b + 2], cx = xyz[c], cy = xyz[c + 1], cz = xyz[c + 2];
        return Math.BigMul(by * cz - bz * cy, (long)xyz[a]) + Math.BigMul(bz * cx - bx * cz, (long)xyz[a + 1]) + Math.BigMul(bx * cy - by * cx, (long)xyz[a + 2]);
    }

    /// <summary>Turn of three points in a plane: +1 counter-clockwise, -1 clockwise, 0 on a line. Exact in 64-bit integers.</summary>
    public static int Orient2D(int ax, int ay, int bx, int by, int cx, int cy) =>
        Math.Sign(((long)bx - ax) * ((long)cy - ay) - ((long)by - ay) * ((long)cx - ax));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static long Minor(long a, long b, long c, long d) => a * b - c * d;
}
