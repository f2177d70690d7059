namespace Stiltwright.Geometry.Cutting;

/// <summary>
/// Rounding new vertices to the lattice may bring two ends of a very short edge to one place. Such an edge is drawn together (its
/// triangles vanish) where no other surface would be pinched by it; elsewhere it stays, as an edge without length.
/// </summary>
internal static class Coincident
{
    /// <summary>Works on new triangles only; vertices below <paramref name="firstNew"/> may be in others too and stay.</summary>
    public static List<int> Merge(List<int> corners, Func<int, (int, int, int)> place, int firstNew)
    {
        var short1 = new List<(int, int)>();
        var ends = new HashSet<int>();
        for (var i = 0; i < corners.Count; i += 3)
            for (var k = 0; k < 3; k++)
            {
                int a = corners[i + k], b = corners[i + (k + 1) % 3];
                if (a >= b || place(a) != place(b) || b < firstNew) continue;
                short1.Add((a, b));
                ends.Add(a);
                ends.Add(b);
            }
        if (short1.Count == 0) return corners;
        var at = new Dictionary<int, List<int>>();
        for (var i = 0; i < corners.Count; i += 3)
            for (var k = 0; k < 3; k++)
                if (ends.Contains(corners[i + k]))
                {
                    if (!at.TryGetValue(corners[i + k], out var list)) at[corners[i + k]] = list = [];
                    list.Add(i);
                }
        var now = new Dictionary<int, int>();
        int Now(int v)
        {
            while (now.TryGetValue(v, out var w)) v = w;
            return v;
        }
        var gone = new HashSet<int>();
        HashSet<int> Ring(int v)
        {
            var ring = new HashSet<int>();
            foreach (var i in at[v])
                if (!gone.Contains(i))
                    for (var k = 0; k < 3; k++) ring.Add(corners[i + k]);
            ring.Remove(v);
            return ring;
        }
        foreach (var (first, second) in short1)
        {
            int a = Now(first), b = Now(second);
            if (a == b) continue;
            if (a > b) (a, b) = (b, a);
            if (b < firstNew) continue;
            var shared = at[b].Where(i => !gone.Contains(i) && Has(i, a) && Has(i, b)).Distinct().ToList();
            var ringA = Ring(a);
            var common = Ring(b).Count(ringA.Contains);
            if (shared.Count != 2 || common != 2) continue;
            foreach (var i in shared) gone.Add(i);
            foreach (var i in at[b])
            {
                if (gone.Contains(i)) continue;
                for (var k = 0; k < 3; k++)
                    if (corners[i + k] == b) corners[i + k] = a;
                at[a].Add(i);
            }
            now[b] = a;
        }
        var left = new List<int>(corners.Count);
        for (var i = 0; i < corners.Count; i += 3)
            if (!gone.Contains(i)) left.AddRange([corners[i], corners[i + 1], corners[i + 2]]);
        return left;

        bool Has(int i, int v) => corners[i] == v || corners[i + 1] == v || corners[i + 2] == v;
    }
}
