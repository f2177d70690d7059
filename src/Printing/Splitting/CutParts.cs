using Stiltwright.Geometry;

namespace Stiltwright.Printing.Splitting;

/// <summary>What a plane square to an axis would make of a surface, counted without cutting.</summary>
internal static class CutParts
{
    /// <summary>
    /// The number of parts, on either side, that touch the plane but reach less than <paramref name="sliverMm"/> from it, and the
    /// number of seams: connected bands of triangles that the plane crosses. Nearly linear in the triangles.
    /// </summary>
    public static (int Slivers, int Seams) Count(Mesh mesh, int axis, double at, double sliverMm)
    {
        var xyz = mesh.XyzArray;
        var corners = mesh.CornersArray;
        var unit = mesh.Lattice.UnitMm;
        var n = mesh.VertexCount;
        var side = Singles(n);
        var band = Singles(n);
        var crossed = new bool[n];
        for (var t = 0; t < corners.Length; t += 3)
        {
            int a = corners[t], b = corners[t + 1], c = corners[t + 2];
            bool ab = Below(a) == Below(b), bc = Below(b) == Below(c), ca = Below(c) == Below(a);
            if (ab) Join(side, a, b);
            if (bc) Join(side, b, c);
            if (ca) Join(side, c, a);
            if (ab && bc) continue;
            Join(band, a, b);
            Join(band, b, c);
            crossed[a] = crossed[b] = crossed[c] = true;
        }
        var cut = new bool[n];
        for (var v = 0; v < n; v++)
            if (crossed[v]) cut[Find(side, v)] = true;
        var depth = new float[n];
        for (var v = 0; v < n; v++)
            if (Find(side, v) is var root && cut[root]) depth[root] = Math.Max(depth[root], (float)Math.Abs(xyz[3 * v + axis] * unit - at));
        int slivers = 0, seams = 0;
        for (var v = 0; v < n; v++)
        {
            if (cut[v] && Find(side, v) == v && depth[v] < sliverMm) slivers++;
            if (crossed[v] && Find(band, v) == v) seams++;
        }
        return (slivers, seams);

        bool Below(int v) => xyz[3 * v + axis] * unit < at;
    }

    private static int[] Singles(int n)
    {
        var parent = new int[n];
        for (var v = 0; v < n; v++) parent[v] = v;
        return parent;
    }

    private static int Find(int[] parent, int i)
    {
        while (parent[i] != i) i = parent[i] = parent[parent[i]];
        return i;
    }

    private static void Join(int[] parent, int a, int b)
    {
        (a, b) = (Find(parent, a), Find(parent, b));
        if (a < b) parent[b] = a;
        else parent[a] = b;
    }
}
