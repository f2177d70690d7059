namespace Stiltwright.Geometry.Refining;

/// <summary>
/// Parts of a surface that are meant to be flat: triangles in one plane that together are much wider than what bends beside them
/// (the face of a body with rounded edges), or that hold a vertex in their middle. Two triangles that make one facet of a coarse
/// round body are as wide as their neighbours, so they are none.
/// </summary>
internal static class FlatParts
{
    private const double SameDirection = 0.002; // sine of the angle between normals of one plane, about 0.1 degrees
    private const double SamePlaneMm = 0.001;
    private const double MuchWider = 3, Wider = 1.5;

    /// <summary>Number of the flat part of each triangle, -1 for none.</summary>
    /// <param name="mesh">The surface.</param>
    /// <param name="twin">Half-edge on the other side, -1 for none.</param>
    /// <param name="sharp">Half-edges that are creases or borders.</param>
    /// <param name="normals">Unit normals of the triangles; zero for one without area.</param>
    internal static int[] Find(Mesh mesh, int[] twin, bool[] sharp, Vec3[] normals)
    {
        var n = mesh.TriangleCount;
        var areas = new double[n];
        Ranges.For(n, (_, from, to) =>
        {
            for (var t = from; t < to; t++) areas[t] = mesh.AreaVector(t).Length;
        });
        var region = Planes(mesh, twin, normals, areas, out var count);
        var corners = mesh.CornersArray;
        double[] area = new double[count], rim = new double[count];
        for (var t = 0; t < n; t++)
        {
            area[region[t]] += areas[t];
            for (var h = 3 * t; h < 3 * t + 3; h++)
                if (twin[h] < 0 || region[twin[h] / 3] != region[t]) rim[region[t]] += Length(h);
        }
        // Length of the rim over which the surface bends on, and how much of it has something narrower beside it.
        double[] bends = new double[count], wider = new double[count], muchWider = new double[count];
        for (var h = 0; h < corners.Length; h++)
        {
            if (sharp[h]) continue;
            int own = region[h / 3], other = region[twin[h] / 3];
            if (own == other) continue;
            var length = Length(h);
            var ratio = area[own] * rim[other] / Math.Max(double.Epsilon, area[other] * rim[own]); // widths: area through rim
            bends[own] += length;
            if (ratio > Wider) wider[own] += length;
            if (ratio > MuchWider) muchWider[own] += length;
        }
        // A vertex is in the middle of a region if all its triangles are.
        var at = new int[mesh.VertexCount];
        at.AsSpan().Fill(-1);
        for (var h = 0; h < corners.Length; h++)
        {
            ref var r = ref at[corners[h]];
            if (twin[h] < 0 || (r >= 0 && r != region[h / 3])) r = -2;
            else if (r == -1) r = region[h / 3];
        }
        var middle = new bool[count];
        foreach (var r in at)
            if (r >= 0) middle[r] = true;
        for (var t = 0; t < n; t++)
        {
            var r = region[t];
            var flat = bends[r] > 0 && (muchWider[r] > bends[r] / 2 || (middle[r] && wider[r] > bends[r] / 2));
            if (!flat) region[t] = -1;
        }
        return region;

        double Length(int h) => mesh.Vertex(corners[h]).DistanceTo(mesh.Vertex(corners[EdgePairing.Next(h)]));
    }

    // Triangles in one plane that hang together, begun from the largest ones, whose planes are known best.
    private static int[] Planes(Mesh mesh, int[] twin, Vec3[] normals, double[] areas, out int count)
    {
        var n = mesh.TriangleCount;
        var order = new int[n];
        var keys = new double[n];
        for (var t = 0; t < n; t++) (order[t], keys[t]) = (t, -areas[t]);
        Array.Sort(keys, order, Comparer<double>.Default);
        // Equal areas in rising order of number, whatever the sort did with them.
        for (int i = 0, j; i < n; i = j)
        {
            for (j = i + 1; j < n && keys[j] == keys[i];) j++;
            order.AsSpan(i, j - i).Sort();
        }
        var region = new int[n];
        region.AsSpan().Fill(-1);
        var near = Math.Max(SamePlaneMm, 2 * mesh.Lattice.UnitMm);
        var todo = new Stack<int>();
        count = 0;
        foreach (var seed in order)
        {
            if (region[seed] >= 0) continue;
            var normal = normals[seed];
            var origin = mesh.Vertex(mesh.Corners[3 * seed]);
            region[seed] = count;
            todo.Push(seed);
            while (todo.TryPop(out var t))
                for (var h = 3 * t; h < 3 * t + 3; h++)
                {
                    var g = twin[h];
                    if (g < 0 || region[g / 3] >= 0 || normals[g / 3].Dot(normal) <= 0 || normals[g / 3].Cross(normal).LengthSquared > SameDirection * SameDirection) continue;
                    var apex = mesh.Vertex(mesh.Corners[EdgePairing.Next(EdgePairing.Next(g))]);
                    if (Math.Abs((apex - origin).Dot(normal)) > near) continue;
                    region[g / 3] = count;
                    todo.Push(g / 3);
                }
            count++;
        }
        return region;
    }
}
