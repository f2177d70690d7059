using System.Numerics;
using Stiltwright.Geometry.Exact;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Booleans;

/// <summary>
/// Finds what two facets have in common, exactly, and lays it into both: a point, a segment, or (in one plane, overlapping) the note that they are
/// to be divided together. Two facets in different planes meet in the overlap of two intervals of a line; its ends are corners of one in the
/// plane of the other and inside it, or points where an edge of one pierces the other, so it is enough to collect those.
/// </summary>
internal static class FacetPairs
{
    public static void Meet(BooleanFacets facets, CancellationToken cancel)
    {
        var tree = TriangleTree.Build(new Mesh(facets.Lattice, facets.Xyz, facets.Corners));
        var pairs = new List<(int A, int B)>();
        tree.CrossingPairs(pairs, withNeighbours: true);
        cancel.ThrowIfCancellationRequested();
        // Most pairs are neighbours or near misses: sides alone tell.
        var meets = Ranges.Where(pairs.Count, i => MayMeet(facets, pairs[i].A, pairs[i].B));
        var found = new List<int>(4);
        foreach (var i in meets)
        {
            cancel.ThrowIfCancellationRequested();
            Meet(facets, pairs[i].A, pairs[i].B, found);
        }
    }

    private static bool MayMeet(BooleanFacets s, int f, int g)
    {
        int[] x = s.Xyz, c = s.Corners;
        Span<int> a = stackalloc int[3], b = stackalloc int[3];
        Sides(x, c, f, g, a);
        if (a[0] == a[1] && a[1] == a[2] && a[0] != 0) return false;
        Sides(x, c, g, f, b);
        if (b[0] == b[1] && b[1] == b[2] && b[0] != 0) return false;
        var shared = 0;
        for (var k = 0; k < 3; k++)
            if (c[3 * f + k] == c[3 * g] || c[3 * f + k] == c[3 * g + 1] || c[3 * f + k] == c[3 * g + 2]) shared++;
        var flat = a[0] == 0 && a[1] == 0 && a[2] == 0;
        // Sharing an edge they have no more in common, but where one is folded onto the other.
        if (shared == 2 && !flat) return false;
        // Sharing a corner, with the rest of one on one side of the other, neither.
        if (shared == 1 && !flat && (OneSided(a) || OneSided(b))) return false;
        return true;

        static bool OneSided(ReadOnlySpan<int> s) => (s[0] == 0 ? 1 : 0) + (s[1] == 0 ? 1 : 0) + (s[2] == 0 ? 1 : 0) == 1 && Math.Abs(s[0] + s[1] + s[2]) == 2;
    }

    private static void Sides(int[] x, int[] c, int f, int g, Span<int> sides)
    {
        for (var k = 0; k < 3; k++) sides[k] = Predicates.Orient3D(x, 3 * c[3 * f + k], x, 3 * c[3 * g], 3 * c[3 * g + 1], 3 * c[3 * g + 2]);
    }

    private static void Meet(BooleanFacets s, int f, int g, List<int> found)
    {
        Span<int> a = stackalloc int[3], b = stackalloc int[3];
        Sides(s.Xyz, s.Corners, f, g, a);
        Sides(s.Xyz, s.Corners, g, f, b);
        found.Clear();
        if (a[0] == 0 && a[1] == 0 && a[2] == 0)
        {
            if (Overlap(s, f, g))
            {
                s.Join(f, g);
                return;
            }
            Corners(s, f, g, a, found);
            foreach (var p in found) s.Lay(g, p);
            found.Clear();
            Corners(s, g, f, b, found);
            foreach (var p in found) s.Lay(f, p);
            return;
        }
        Corners(s, f, g, a, found);
        Corners(s, g, f, b, found);
        Edges(s, f, g, a, found);
        Edges(s, g, f, b, found);
        if (found.Count == 0) return;
        if (found.Count > 2) throw new InvalidOperationException("Two triangles meet in more than a line.");
        if (found.Count == 1)
        {
            s.Lay(f, found[0]);
            s.Lay(g, found[0]);
            return;
        }
        s.Lay(f, found[0], found[1]);
        s.Lay(g, found[0], found[1]);
    }

    private static void Note(List<int> found, int point)
    {
        if (!found.Contains(point)) found.Add(point);
    }

    // Corners of f that lie on g.
    private static void Corners(BooleanFacets s, int f, int g, ReadOnlySpan<int> sides, List<int> found)
    {
        for (var k = 0; k < 3; k++)
            if (sides[k] == 0 && Holds(s, g, s.Corners[3 * f + k])) Note(found, s.PointOf(s.Corners[3 * f + k]));
    }

    // Points where edges of f pass through g from side to side.
    private static void Edges(BooleanFacets s, int f, int g, ReadOnlySpan<int> sides, List<int> found)
    {
        int[] x = s.Xyz, c = s.Corners;
        int g0 = 3 * c[3 * g], g1 = 3 * c[3 * g + 1], g2 = 3 * c[3 * g + 2];
        for (var k = 0; k < 3; k++)
        {
            var n = (k + 1) % 3;
            if (sides[k] * sides[n] >= 0) continue;
            int p = 3 * c[3 * f + k], q = 3 * c[3 * f + n];
            if (p > q) (p, q) = (q, p);
            int u = Predicates.OrientLines(x, p, q, x, g0, g1), v = Predicates.OrientLines(x, p, q, x, g1, g2), w = Predicates.OrientLines(x, p, q, x, g2, g0);
            if (Math.Min(u, Math.Min(v, w)) < 0 && Math.Max(u, Math.Max(v, w)) > 0) continue;
            BigInteger hp = Predicates.Height(x, p, x, g0, g1, g2), hq = Predicates.Height(x, q, x, g0, g1, g2), den = hp - hq;
            Note(found, s.Points.AddWide(x[p] * den + hp * (x[q] - x[p]), x[p + 1] * den + hp * (x[q + 1] - x[p + 1]), x[p + 2] * den + hp * (x[q + 2] - x[p + 2]), den));
        }
    }

    // The axes that span a facet's projection along its normal's largest part, such that it runs counter-clockwise there.
    private static (int U, int V) Axes((long X, long Y, long Z) n)
    {
        double ax = Math.Abs((double)n.X), ay = Math.Abs((double)n.Y), az = Math.Abs((double)n.Z);
        var w = ax >= ay && ax >= az ? 0 : ay >= az ? 1 : 2;
        var (u, v) = ((w + 1) % 3, (w + 2) % 3);
        return (w == 0 ? n.X : w == 1 ? n.Y : n.Z) < 0 ? (v, u) : (u, v);
    }

    private static int Turn(int[] x, (int U, int V) axes, int a, int b, int c) =>
        Predicates.Orient2D(x[3 * a + axes.U], x[3 * a + axes.V], x[3 * b + axes.U], x[3 * b + axes.V], x[3 * c + axes.U], x[3 * c + axes.V]);

    // True if a vertex in the plane of g lies inside it or on its border.
    private static bool Holds(BooleanFacets s, int g, int vertex)
    {
        var axes = Axes(s.Normal(g));
        for (var k = 0; k < 3; k++)
            if (Turn(s.Xyz, axes, s.Corners[3 * g + k], s.Corners[3 * g + (k + 1) % 3], vertex) < 0) return false;
        return true;
    }

    // Two facets in one plane overlap unless an edge of one has the other wholly outside or on it.
    private static bool Overlap(BooleanFacets s, int f, int g)
    {
        return !Parts(f, g) && !Parts(g, f);

        bool Parts(int one, int other)
        {
            var axes = Axes(s.Normal(one));
            for (var k = 0; k < 3; k++)
            {
                int a = s.Corners[3 * one + k], b = s.Corners[3 * one + (k + 1) % 3];
                if (Turn(s.Xyz, axes, a, b, s.Corners[3 * other]) <= 0 && Turn(s.Xyz, axes, a, b, s.Corners[3 * other + 1]) <= 0 && Turn(s.Xyz, axes, a, b, s.Corners[3 * other + 2]) <= 0) return true;
            }
            return false;
        }
    }
}
