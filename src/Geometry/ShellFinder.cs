namespace Stiltwright.Geometry;

/// <summary>Finds the connected surfaces of a mesh. Triangles hang together over paired edges only: shells that share a vertex, or touch along an edge, stay apart.</summary>
public static class ShellFinder
{
    /// <summary>The shells, in order of their first triangle.</summary>
    public static ShellSet Find(Mesh mesh) => Find(EdgePairing.Build(mesh));

    /// <summary>The shells of a mesh whose edges are paired already.</summary>
    public static ShellSet Find(EdgePairing edges)
    {
        ArgumentNullException.ThrowIfNull(edges);
        var mesh = edges.Mesh;
        var n = mesh.TriangleCount;
        var twin = edges.TwinArray;
        var sets = new UnionFind(n);
        for (var h = 0; h < twin.Length; h++)
            if (twin[h] > h) sets.Join(h / 3, twin[h] / 3);

        var of = new int[n];
        var counts = new List<int>();
        for (var t = 0; t < n; t++)
        {
            var root = sets.Find(t);
            if (root == t)
            {
                of[t] = counts.Count;
                counts.Add(1);
            }
            else
            {
                of[t] = of[root];
                counts[of[t]]++;
            }
        }
        var triangles = new int[counts.Count][];
        for (var s = 0; s < triangles.Length; s++) triangles[s] = new int[counts[s]];
        var filled = new int[triangles.Length];
        for (var t = 0; t < n; t++) triangles[of[t]][filled[of[t]]++] = t;

        var shells = new Shell[triangles.Length];
        Parallel.For(0, shells.Length, Ranges.Threads, s => shells[s] = Measure(edges, s, triangles[s]));
        return new ShellSet(mesh, of, shells);
    }

    private static Shell Measure(EdgePairing edges, int index, int[] triangles)
    {
        var mesh = edges.Mesh;
        int[] xyz = mesh.XyzArray, corners = mesh.CornersArray, twin = edges.TwinArray;
        int open = 0, clashing = 0;
        Int128 six = 0;
        int x0 = int.MaxValue, y0 = int.MaxValue, z0 = int.MaxValue, x1 = int.MinValue, y1 = int.MinValue, z1 = int.MinValue;
        foreach (var t in triangles)
        {
            for (var h = 3 * t; h < 3 * t + 3; h++)
            {
                if (twin[h] < 0) open++;
                else if (h < twin[h] && edges.Clashes(h)) clashing++;
                var v = 3 * corners[h];
                x0 = Math.Min(x0, xyz[v]); x1 = Math.Max(x1, xyz[v]);
                y0 = Math.Min(y0, xyz[v + 1]); y1 = Math.Max(y1, xyz[v + 1]);
                z0 = Math.Min(z0, xyz[v + 2]); z1 = Math.Max(z1, xyz[v + 2]);
            }
            int a = 3 * corners[3 * t], b = 3 * corners[3 * t + 1], c = 3 * corners[3 * t + 2];
            long ax = xyz[a], ay = xyz[a + 1], az = xyz[a + 2];
            long bx = xyz[b], by = xyz[b + 1], bz = xyz[b + 2];
            long cx = xyz[c], cy = xyz[c + 1], cz = xyz[c + 2];
            six += (Int128)ax * (by * cz - bz * cy) + (Int128)ay * (bz * cx - bx * cz) + (Int128)az * (bx * cy - by * cx);
        }
        var u = mesh.Lattice.UnitMm;
        return new Shell(index, triangles, open, clashing, (double)six / 6.0 * u * u * u,
            new Box3(new Vec3(x0 * u, y0 * u, z0 * u), new Vec3(x1 * u, y1 * u, z1 * u)));
    }
}
