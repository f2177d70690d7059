using Stiltwright.Geometry.Exact;

namespace Stiltwright.Geometry;

/// <summary>Whether two triangles of a mesh meet beyond the corners they share; exact, in integers. A touch counts.</summary>
internal static class TriangleMeet
{
    /// <summary>
    /// True if the triangles share a point that is no common corner (by vertex number). Neighbours over an edge meet only if
    /// they fold onto each other, or are the same triangle.
    /// </summary>
    internal static bool Meets(int[] xyz, ReadOnlySpan<int> s, ReadOnlySpan<int> t)
    {
        var shared = 0;
        int si = 0, ti = 0;
        for (var i = 0; i < 3; i++)
            for (var j = 0; j < 3; j++)
                if (s[i] == t[j]) { shared++; si = i; ti = j; }
        if (shared == 3) return true;
        if (shared == 2) return Folded(xyz, s, t);
        if (shared == 1)
            return SegmentMeets(xyz, s[(si + 1) % 3], s[(si + 2) % 3], t) || SegmentMeets(xyz, t[(ti + 1) % 3], t[(ti + 2) % 3], s);
        for (var i = 0; i < 3; i++)
            if (SegmentMeets(xyz, s[i], s[(i + 1) % 3], t) || SegmentMeets(xyz, t[i], t[(i + 1) % 3], s)) return true;
        return false;
    }

    /// <summary>True if the triangles share any point at all.</summary>
    internal static bool Touches(int[] xyz, ReadOnlySpan<int> s, ReadOnlySpan<int> t)
    {
        foreach (var v in s)
            if (t.Contains(v)) return true;
        return Meets(xyz, s, t);
    }

    private static bool Folded(int[] xyz, ReadOnlySpan<int> s, ReadOnlySpan<int> t)
    {
        int a = -1, b = -1, p = -1, q = -1;
        foreach (var v in s) if (t.Contains(v)) (a, b) = a < 0 ? (v, b) : (a, v); else p = v;
        foreach (var v in t) if (!s.Contains(v)) q = v;
        if (Predicates.Orient3D(xyz, 3 * q, xyz, 3 * a, 3 * b, 3 * p) != 0) return false;
        var axis = DropAxis(xyz, a, b, p);
        return axis < 0 || Side(xyz, axis, a, b, p) == Side(xyz, axis, a, b, q);
    }

    /// <summary>Closed segment against closed triangle.</summary>
    private static bool SegmentMeets(int[] xyz, int p, int q, ReadOnlySpan<int> t)
    {
        int a = t[0], b = t[1], c = t[2];
        int sp = Predicates.Orient3D(xyz, 3 * p, xyz, 3 * a, 3 * b, 3 * c), sq = Predicates.Orient3D(xyz, 3 * q, xyz, 3 * a, 3 * b, 3 * c);
        if (sp * sq > 0) return false;
        if (sp == 0 && sq == 0) return FlatMeets(xyz, p, q, t);
        // The line crosses the plane in one point; it lies in the triangle if the line passes all three edges on the same side.
        int ab = Predicates.OrientLines(xyz, 3 * p, 3 * q, xyz, 3 * a, 3 * b);
        int bc = Predicates.OrientLines(xyz, 3 * p, 3 * q, xyz, 3 * b, 3 * c);
        int ca = Predicates.OrientLines(xyz, 3 * p, 3 * q, xyz, 3 * c, 3 * a);
        return ab >= 0 && bc >= 0 && ca >= 0 || ab <= 0 && bc <= 0 && ca <= 0;
    }

    private static bool FlatMeets(int[] xyz, int p, int q, ReadOnlySpan<int> t)
    {
        var axis = DropAxis(xyz, t[0], t[1], t[2]);
        if (axis < 0) return false; // a triangle without area holds nothing that its neighbours' edges do not
        var turn = Side(xyz, axis, t[0], t[1], t[2]);
        if (Inside(p, t) || Inside(q, t)) return true;
        for (var i = 0; i < 3; i++)
            if (Cross(t[i], t[(i + 1) % 3])) return true;
        return false;

        bool Inside(int v, ReadOnlySpan<int> u)
        {
            for (var i = 0; i < 3; i++)
                if (Side(xyz, axis, u[i], u[(i + 1) % 3], v) * turn < 0) return false;
            return true;
        }

        bool Cross(int a, int b)
        {
            int s0 = Side(xyz, axis, a, b, p), s1 = Side(xyz, axis, a, b, q), r0 = Side(xyz, axis, p, q, a), r1 = Side(xyz, axis, p, q, b);
            // Segments on one line meet only if an end of one lies in the triangle, which was tried, or one covers the other's edge whole.
            if (s0 == 0 && s1 == 0) return Between(a, p, q) || Between(b, p, q);
            return s0 * s1 <= 0 && r0 * r1 <= 0;
        }

        bool Between(int v, int a, int b)
        {
            for (var k = 0; k < 3; k++)
            {
                int x = xyz[3 * v + k], y = xyz[3 * a + k], z = xyz[3 * b + k];
                if (x < Math.Min(y, z) || x > Math.Max(y, z)) return false;
            }
            return true;
        }
    }

    /// <summary>The axis along which the triangle is seen largest; -1 for a triangle without area.</summary>
    internal static int DropAxis(int[] xyz, int a, int b, int c)
    {
        var (x, y, z) = Predicates.Normal(xyz, 3 * a, 3 * b, 3 * c);
        (x, y, z) = (Math.Abs(x), Math.Abs(y), Math.Abs(z));
        if ((x | y | z) == 0) return -1;
        return x >= y && x >= z ? 0 : y >= z ? 1 : 2;
    }

    /// <summary>Side of c seen from a to b, along an axis: 1 left, -1 right, 0 on the line.</summary>
    internal static int Side(int[] xyz, int axis, int a, int b, int c)
    {
        int u = (axis + 1) % 3, v = (axis + 2) % 3;
        return Predicates.Orient2D(xyz[3 * a + u], xyz[3 * a + v], xyz[3 * b + u], xyz[3 * b + v], xyz[3 * c + u], xyz[3 * c + v]);
    }
}
