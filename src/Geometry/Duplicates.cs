namespace Stiltwright.Geometry;

/// <summary>
/// Drops triangles that lie exactly on another (same three vertices). Two that face opposite ways within one shell cancel.
/// Of those that face the same way the later ones go, but only where no edge loses its balance: two bodies that share a
/// piece of surface both need theirs.
/// </summary>
internal static class Duplicates
{
    internal static Mesh Drop(Mesh mesh, List<RepairNote> notes)
    {
        var groups = Groups(mesh);
        if (groups.Count == 0) return mesh;
        var shells = ShellFinder.Find(mesh);
        var gone = new bool[mesh.TriangleCount];
        int cancelled = 0, dropped = 0, left = 0, first = -1, firstCancelled = -1, firstLeft = -1;
        var extras = new List<int>();
        foreach (var group in groups)
        {
            for (var i = 0; i < group.Count; i++)
                for (var j = i + 1; j < group.Count && !gone[group[i]]; j++)
                    if (!gone[group[j]] && shells.OfTriangle[group[i]] == shells.OfTriangle[group[j]] && Even(mesh, group[i]) != Even(mesh, group[j]))
                    {
                        gone[group[i]] = gone[group[j]] = true;
                        cancelled++;
                        if (firstCancelled < 0) firstCancelled = group[i];
                    }
            int evens = 0, odds = 0;
            foreach (var t in group)
                if (!gone[t] && (Even(mesh, t) ? evens++ : odds++) > 0) extras.Add(t);
        }
        var around = new VertexTriangles(mesh);
        foreach (var patch in Patches(mesh, extras))
            if (Balanced(mesh, around, patch, gone))
            {
                foreach (var t in patch) gone[t] = true;
                dropped += patch.Count;
                if (first < 0) first = patch[0];
            }
            else
            {
                left += patch.Count;
                if (firstLeft < 0) firstLeft = patch[0];
            }
        if (dropped > 0)
            notes.Add(new RepairNote("duplicates-dropped", dropped, Centre(mesh, first), $"{dropped} triangles that lay exactly on another, facing the same way, were dropped."));
        if (cancelled > 0)
            notes.Add(new RepairNote("duplicates-cancelled", cancelled, Centre(mesh, firstCancelled), $"{cancelled} pairs of triangles that lay exactly on each other, facing opposite ways in one surface, were dropped: there is nothing between them."));
        if (left > 0)
            notes.Add(new RepairNote("duplicates-left", left, Centre(mesh, firstLeft), $"{left} triangles lie exactly on another and were left, because their surfaces would be open without them.", false));
        if (dropped + cancelled == 0) return mesh;
        var keep = new List<int>(mesh.TriangleCount);
        for (var t = 0; t < gone.Length; t++)
            if (!gone[t]) keep.Add(t);
        return Repair.Without(mesh, keep);
    }

    private static Vec3 Centre(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        return (a + b + c) / 3;
    }

    /// <summary>True if the corners, read from the lowest, run upwards.</summary>
    private static bool Even(Mesh mesh, int t)
    {
        int a = mesh.CornersArray[3 * t], b = mesh.CornersArray[3 * t + 1], c = mesh.CornersArray[3 * t + 2];
        return a < b && b < c || b < c && c < a || c < a && a < b;
    }

    /// <summary>Triangles of equal corners, ascending; groups in order of their first.</summary>
    private static List<List<int>> Groups(Mesh mesh)
    {
        // By lowest corner first (counting), so that only triangles of one vertex are compared with each other.
        var c = mesh.CornersArray;
        var starts = new int[mesh.VertexCount + 1];
        for (var t = 0; t < mesh.TriangleCount; t++) starts[Lowest(c, t) + 1]++;
        for (var v = 0; v < mesh.VertexCount; v++) starts[v + 1] += starts[v];
        var order = new int[mesh.TriangleCount];
        var at = starts.AsSpan(0, mesh.VertexCount).ToArray();
        for (var t = 0; t < mesh.TriangleCount; t++) order[at[Lowest(c, t)]++] = t;
        var groups = new List<List<int>>();
        var keys = new List<(long Key, int Triangle)>();
        for (var v = 0; v < mesh.VertexCount; v++)
        {
            if (starts[v + 1] - starts[v] < 2) continue;
            keys.Clear();
            for (var i = starts[v]; i < starts[v + 1]; i++)
            {
                var t = order[i];
                int p = c[3 * t], q = c[3 * t + 1], r = c[3 * t + 2];
                int high = Math.Max(p, Math.Max(q, r)), mid = (int)((long)p + q + r - v - high);
                keys.Add(((long)mid << 32 | (uint)high, t));
            }
            keys.Sort();
            for (var i = 0; i < keys.Count;)
            {
                var j = i + 1;
                while (j < keys.Count && keys[j].Key == keys[i].Key) j++;
                if (j - i > 1) groups.Add(keys.GetRange(i, j - i).ConvertAll(k => k.Triangle));
                i = j;
            }
        }
        groups.Sort((a, b) => a[0] - b[0]);
        return groups;
    }

    private static int Lowest(int[] c, int t) => Math.Min(c[3 * t], Math.Min(c[3 * t + 1], c[3 * t + 2]));

    /// <summary>Extras that hang together over edges are judged together.</summary>
    private static List<List<int>> Patches(Mesh mesh, List<int> extras)
    {
        extras.Sort();
        var sets = new UnionFind(extras.Count);
        var firstOf = new Dictionary<(int, int), int>();
        for (var i = 0; i < extras.Count; i++)
            for (var k = 0; k < 3; k++)
            {
                var e = Edge(mesh, 3 * extras[i] + k);
                if (firstOf.TryGetValue(e, out var other)) sets.Join(other, i);
                else firstOf[e] = i;
            }
        var of = new Dictionary<int, List<int>>();
        var patches = new List<List<int>>();
        for (var i = 0; i < extras.Count; i++)
        {
            var root = sets.Find(i);
            if (!of.TryGetValue(root, out var p)) patches.Add(of[root] = p = []);
            p.Add(extras[i]);
        }
        return patches;
    }

    private static (int, int) Edge(Mesh mesh, int half)
    {
        int a = mesh.CornersArray[half], b = mesh.CornersArray[EdgePairing.Next(half)];
        return a < b ? (a, b) : (b, a);
    }

    /// <summary>True if dropping the patch leaves its edges at least as well balanced (as many triangles one way as the other) as before.</summary>
    private static bool Balanced(Mesh mesh, VertexTriangles around, List<int> patch, bool[] gone)
    {
        var sums = new Dictionary<(int, int), (int Before, int Patch)>();
        foreach (var t in patch)
            for (var h = 3 * t; h < 3 * t + 3; h++)
            {
                var e = Edge(mesh, h);
                var (b, p) = sums.GetValueOrDefault(e);
                sums[e] = (b, p + (mesh.CornersArray[h] == e.Item1 ? 1 : -1));
            }
        var touched = new HashSet<int>();
        foreach (var (a, b) in sums.Keys) { touched.Add(a); touched.Add(b); }
        var seen = new HashSet<int>();
        foreach (var v in touched)
            foreach (var t in around.Of(v))
                if (!gone[t]) seen.Add(t);
        foreach (var t in seen)
        {
            for (var h = 3 * t; h < 3 * t + 3; h++)
            {
                var e = Edge(mesh, h);
                if (sums.TryGetValue(e, out var s)) sums[e] = (s.Before + (mesh.CornersArray[h] == e.Item1 ? 1 : -1), s.Patch);
            }
        }
        long before = 0, after = 0;
        foreach (var (b, p) in sums.Values)
        {
            before += Math.Abs(b);
            after += Math.Abs(b - p);
        }
        return after <= before;
    }
}
