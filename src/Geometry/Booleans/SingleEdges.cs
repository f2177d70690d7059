namespace Stiltwright.Geometry.Booleans;

/// <summary>
/// Makes every edge one of two triangles. Where surfaces only touch, vertices are doubled; where a surface touches itself along an edge and both
/// ends hang together around it, the edge is there twice between the same vertices: then one of the two gets a vertex in its middle.
/// </summary>
internal static class SingleEdges
{
    public static Mesh Of(Mesh mesh)
    {
        while (true)
        {
            mesh = EdgePairing.Build(mesh).WithSheetsApart();
            var edges = EdgePairing.Build(mesh);
            if (edges.CrowdedEdges == 0) return mesh;
            mesh = Split(mesh, edges);
        }
    }

    private static Mesh Split(Mesh mesh, EdgePairing edges)
    {
        var seen = new HashSet<(int, int)>();
        var changed = new HashSet<int>();
        var xyz = new List<int>(mesh.XyzArray);
        var corners = new List<int>(mesh.CornersArray);
        for (var h = 0; h < edges.Twin.Length; h++)
        {
            var g = edges.Twin[h];
            if (g < h) continue;
            int a = mesh.Corners[h], b = mesh.Corners[EdgePairing.Next(h)];
            if (seen.Add((Math.Min(a, b), Math.Max(a, b)))) continue;
            // One edge a triangle at a time; the others come in the next round.
            if (changed.Contains(h / 3) || changed.Contains(g / 3)) continue;
            changed.Add(h / 3);
            changed.Add(g / 3);
            var middle = xyz.Count / 3;
            for (var k = 0; k < 3; k++) xyz.Add((int)(((long)xyz[3 * a + k] + xyz[3 * b + k]) / 2));
            Halve(h, middle);
            Halve(g, middle);
        }
        return new Mesh(mesh.Lattice, [.. xyz], [.. corners]);

        void Halve(int half, int middle)
        {
            int second = EdgePairing.Next(half), third = EdgePairing.Next(second);
            corners.AddRange([middle, corners[second], corners[third]]);
            corners[second] = middle;
        }
    }
}
