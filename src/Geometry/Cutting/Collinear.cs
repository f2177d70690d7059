using Stiltwright.Geometry.Exact;

namespace Stiltwright.Geometry.Cutting;

/// <summary>
/// Triangles without area have no plane, so nothing can be said about what crosses them. One whose corners differ lies along an edge of its
/// neighbour: turning that edge shares its third corner with the neighbour, which changes no point of the surface.
/// </summary>
internal static class Collinear
{
    /// <summary>The corners with all flat triangles among the given ones turned away; the same array where there are none.</summary>
    /// <exception cref="CuttingException">A triangle has two corners at one place, or turning does not end.</exception>
    public static int[] Mend(Mesh mesh, int[] xyz, int[] corners, IEnumerable<int> triangles)
    {
        var flat = new Queue<int>(triangles.Where(t => IsFlat(xyz, corners, t)));
        if (flat.Count == 0) return corners;
        corners = (int[])corners.Clone();
        var edges = new Dictionary<(int, int), List<int>>();
        for (var t = 0; t < corners.Length / 3; t++) Note(t, true);
        var budget = 64 + 16 * flat.Count;
        while (flat.TryDequeue(out var t))
        {
            if (!IsFlat(xyz, corners, t)) continue;
            var place = mesh.Vertex(corners[3 * t]);
            var k = Longest(xyz, corners, t);
            int a = corners[3 * t + k], b = corners[3 * t + (k + 1) % 3], c = corners[3 * t + (k + 2) % 3];
            if (Same(xyz, a, c) || Same(xyz, b, c)) throw new CuttingException($"Triangle {t} in the zone of the cut has two corners at one place; remove such triangles first", place);
            if (budget-- == 0) throw new CuttingException("Triangles without area in the zone of the cut lie on one another; remove them first", place);
            if (!edges.TryGetValue((b, a), out var beside) || beside.Count == 0) throw new CuttingException($"Triangle {t} has no area and no neighbour along its long edge", place);
            var o = beside[0];
            var d = corners[3 * o] != a && corners[3 * o] != b ? corners[3 * o] : corners[3 * o + 1] != a && corners[3 * o + 1] != b ? corners[3 * o + 1] : corners[3 * o + 2];
            if (d == c) throw new CuttingException($"Triangle {t} has no area and is folded onto its neighbour; remove both first", place);
            Note(t, false);
            Note(o, false);
            (corners[3 * t], corners[3 * t + 1], corners[3 * t + 2]) = (a, d, c);
            (corners[3 * o], corners[3 * o + 1], corners[3 * o + 2]) = (d, b, c);
            Note(t, true);
            Note(o, true);
            flat.Enqueue(t);
            flat.Enqueue(o);
        }
        return corners;

        void Note(int t, bool add)
        {
            for (var k = 0; k < 3; k++)
            {
                var key = (corners[3 * t + k], corners[3 * t + (k + 1) % 3]);
                if (!edges.TryGetValue(key, out var list)) edges[key] = list = new List<int>(1);
                if (add) list.Add(t);
                else list.Remove(t);
            }
        }
    }

    public static bool IsFlat(int[] xyz, int[] corners, int t) => Predicates.Normal(xyz, 3 * corners[3 * t], 3 * corners[3 * t + 1], 3 * corners[3 * t + 2]) == (0, 0, 0);

    private static int Longest(int[] xyz, int[] corners, int t)
    {
        var best = 0;
        Int128 most = -1;
        for (var k = 0; k < 3; k++)
        {
            int a = 3 * corners[3 * t + k], b = 3 * corners[3 * t + (k + 1) % 3];
            Int128 l = 0;
            for (var i = 0; i < 3; i++) { var d = (long)xyz[b + i] - xyz[a + i]; l += d * d; }
            if (l > most) (most, best) = (l, k);
        }
        return best;
    }

    private static bool Same(int[] xyz, int a, int b) => xyz[3 * a] == xyz[3 * b] && xyz[3 * a + 1] == xyz[3 * b + 1] && xyz[3 * a + 2] == xyz[3 * b + 2];
}
