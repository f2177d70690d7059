using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry;

/// <summary>Fills holes of a few edges that lie nearly in a plane, where the filling crosses nothing.</summary>
internal static class Holes
{
    internal static Mesh Fill(Mesh mesh, List<RepairNote> notes)
    {
        var edges = EdgePairing.Build(mesh);
        var loops = Loops(mesh, edges);
        if (loops.Count == 0) return mesh;
        var tree = TriangleTree.Build(mesh);
        var added = new List<int>();
        var filled = 0;
        Vec3? at = null;
        foreach (var loop in loops)
        {
            // The filling runs against the border, so that both agree.
            loop.Reverse();
            var triangles = Triangulate(mesh, loop);
            if (triangles is null || CrossesAnything(mesh, tree, triangles, added)) continue;
            added.AddRange(triangles);
            filled++;
            at ??= Middle(mesh, loop);
        }
        if (filled == 0) return mesh;
        notes.Add(new RepairNote("holes-filled", filled, at,
            $"{filled} flat {(filled == 1 ? "hole" : "holes")} of at most {Repair.LargestHoleEdges} edges {(filled == 1 ? "was" : "were")} filled with {added.Count / 3} triangles."));
        return new Mesh(mesh.Lattice, mesh.XyzArray, [.. mesh.Corners, .. added]);
    }

    private static Vec3 Middle(Mesh mesh, List<int> loop)
    {
        var sum = Vec3.Zero;
        foreach (var v in loop) sum += mesh.Vertex(v);
        return sum / loop.Count;
    }

    /// <summary>Borders of 3 to 8 edges that never pass a vertex twice, in the direction of their triangles.</summary>
    private static List<List<int>> Loops(Mesh mesh, EdgePairing edges)
    {
        var next = new Dictionary<int, int>();
        var order = new List<int>();
        for (var h = 0; h < edges.TwinArray.Length; h++)
        {
            if (edges.TwinArray[h] >= 0) continue;
            int a = mesh.CornersArray[h], b = mesh.CornersArray[EdgePairing.Next(h)];
            if (next.TryAdd(a, b)) order.Add(a);
            else next[a] = -1;
        }
        var loops = new List<List<int>>();
        var seen = new HashSet<int>();
        foreach (var start in order)
        {
            if (seen.Contains(start)) continue;
            var loop = new List<int>();
            var v = start;
            while (loop.Count <= Repair.LargestHoleEdges && next.TryGetValue(v, out var w) && w >= 0)
            {
                loop.Add(v);
                v = w;
                if (v == start) break;
            }
            if (v != start || loop.Count < 3 || loop.Count > Repair.LargestHoleEdges || loop.Distinct().Count() != loop.Count) continue;
            foreach (var u in loop) seen.Add(u);
            loops.Add(loop);
        }
        return loops;
    }

    /// <summary>Cuts ears off the polygon in the plane of its area vector; null if it is not flat or crosses itself there.</summary>
    private static List<int>? Triangulate(Mesh mesh, List<int> loop)
    {
        var normal = Vec3.Zero;
        var middle = Middle(mesh, loop);
        double length = 0;
        for (var i = 0; i < loop.Count; i++)
        {
            Vec3 p = mesh.Vertex(loop[i]), q = mesh.Vertex(loop[(i + 1) % loop.Count]);
            normal += (p - middle).Cross(q - middle);
            length += p.DistanceTo(q);
        }
        if (normal.LengthSquared == 0) return null;
        var n = normal.Unit();
        var flat = Math.Max(Repair.StitchMm, Repair.HoleFlatness * length);
        foreach (var v in loop)
            if (Math.Abs((mesh.Vertex(v) - middle).Dot(n)) > flat) return null;
        var axis = Math.Abs(n.X) >= Math.Abs(n.Y) && Math.Abs(n.X) >= Math.Abs(n.Z) ? 0 : Math.Abs(n.Y) >= Math.Abs(n.Z) ? 1 : 2;
        var turn = n[axis] > 0 ? 1 : -1;
        var xyz = mesh.XyzArray;
        var rest = new List<int>(loop);
        var triangles = new List<int>();
        while (rest.Count > 3)
        {
            var ear = -1;
            for (var i = 0; i < rest.Count && ear < 0; i++)
            {
                int a = rest[(i + rest.Count - 1) % rest.Count], b = rest[i], c = rest[(i + 1) % rest.Count];
                if (TriangleMeet.Side(xyz, axis, a, b, c) != turn) continue;
                var free = true;
                foreach (var v in rest)
                    if (v != a && v != b && v != c && TriangleMeet.Side(xyz, axis, a, b, v) * turn >= 0
                        && TriangleMeet.Side(xyz, axis, b, c, v) * turn >= 0 && TriangleMeet.Side(xyz, axis, c, a, v) * turn >= 0) free = false;
                if (free) ear = i;
            }
            if (ear < 0) return null;
            triangles.AddRange([rest[(ear + rest.Count - 1) % rest.Count], rest[ear], rest[(ear + 1) % rest.Count]]);
            rest.RemoveAt(ear);
        }
        if (TriangleMeet.Side(xyz, axis, rest[0], rest[1], rest[2]) != turn) return null;
        triangles.AddRange(rest);
        return triangles;
    }

    private static bool CrossesAnything(Mesh mesh, TriangleTree tree, List<int> triangles, List<int> added)
    {
        var near = new List<int>();
        var all = triangles.ToArray();
        var before = added.ToArray();
        for (var i = 0; i < all.Length; i += 3)
        {
            var t = all.AsSpan(i, 3);
            near.Clear();
            tree.Overlapping(Box3.Empty.With(mesh.Vertex(t[0])).With(mesh.Vertex(t[1])).With(mesh.Vertex(t[2])), near);
            foreach (var u in near)
                if (TriangleMeet.Meets(mesh.XyzArray, t, mesh.CornersArray.AsSpan(3 * u, 3))) return true;
            for (var j = 0; j < before.Length; j += 3)
                if (TriangleMeet.Meets(mesh.XyzArray, t, before.AsSpan(j, 3))) return true;
        }
        return false;
    }
}
