namespace Stiltwright.Geometry;

/// <summary>
/// Takes edges of no length out of a mesh: their two corners become one, and the triangles along them vanish. Nothing moves,
/// and what was closed stays closed: a triangle with two corners in one place runs along its third edge once each way.
/// </summary>
public static class NullEdges
{
    /// <summary>The mesh without such edges; the same object where there are none. Linear time.</summary>
    public static Mesh Collapse(Mesh mesh)
    {
        var xyz = mesh.XyzArray;
        var corners = mesh.CornersArray;
        int[]? into = null;
        for (var c = 0; c < corners.Length; c++)
        {
            int a = corners[c], b = corners[c % 3 == 2 ? c - 2 : c + 1];
            if (a == b || xyz[3 * a] != xyz[3 * b] || xyz[3 * a + 1] != xyz[3 * b + 1] || xyz[3 * a + 2] != xyz[3 * b + 2]) continue;
            into ??= [.. Enumerable.Range(0, mesh.VertexCount)];
            int ra = Root(into, a), rb = Root(into, b);
            into[Math.Max(ra, rb)] = Math.Min(ra, rb);
        }
        if (into is null && !HasRepeatedCorner(corners)) return mesh;
        var kept = new List<int>(corners.Length);
        for (var t = 0; t < corners.Length; t += 3)
        {
            int a = corners[t], b = corners[t + 1], c = corners[t + 2];
            if (into is not null) (a, b, c) = (Root(into, a), Root(into, b), Root(into, c));
            if (a == b || b == c || c == a) continue;
            kept.Add(a);
            kept.Add(b);
            kept.Add(c);
        }
        return new Mesh(mesh.Lattice, xyz, [.. kept]);
    }

    private static bool HasRepeatedCorner(int[] corners)
    {
        for (var t = 0; t < corners.Length; t += 3)
            if (corners[t] == corners[t + 1] || corners[t + 1] == corners[t + 2] || corners[t + 2] == corners[t]) return true;
        return false;
    }

    private static int Root(int[] into, int v)
    {
        while (into[v] != v) v = into[v] = into[into[v]];
        return v;
    }
}
