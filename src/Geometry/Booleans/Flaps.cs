namespace Stiltwright.Geometry.Booleans;

/// <summary>Takes out pairs of triangles with the same three corners that face opposite ways: nothing lies between them. What was closed stays closed.</summary>
internal static class Flaps
{
    /// <summary>The mesh without such pairs; the same object where there are none.</summary>
    public static Mesh Drop(Mesh mesh)
    {
        var waiting = new Dictionary<(int, int, int), List<int>>();
        var gone = new HashSet<int>();
        var c = mesh.CornersArray;
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            int p = c[3 * t], q = c[3 * t + 1], r = c[3 * t + 2];
            // From the least corner on; the other way round is its mirror.
            var own = p < q && p < r ? (p, q, r) : q < r ? (q, r, p) : (r, p, q);
            if (waiting.TryGetValue((own.Item1, own.Item3, own.Item2), out var mirrors) && mirrors.Count > 0)
            {
                gone.Add(t);
                gone.Add(mirrors[^1]);
                mirrors.RemoveAt(mirrors.Count - 1);
            }
            else if (waiting.TryGetValue(own, out var same)) same.Add(t);
            else waiting[own] = [t];
        }
        if (gone.Count == 0) return mesh;
        var kept = new List<int>(c.Length - 3 * gone.Count);
        for (var t = 0; t < mesh.TriangleCount; t++)
            if (!gone.Contains(t)) kept.AddRange([c[3 * t], c[3 * t + 1], c[3 * t + 2]]);
        return new Mesh(mesh.Lattice, mesh.XyzArray, [.. kept]);
    }
}
