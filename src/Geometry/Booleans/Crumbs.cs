using Stiltwright.Geometry.Exact;

namespace Stiltwright.Geometry.Booleans;

/// <summary>
/// Leaves out shells too small to survive rounding: those no larger than <see cref="LargestUnits"/> that have new corners only, and those so
/// thin that rounding turned them inside out (the sign of their volume is no longer that of the exact shell). What is left winds as the exact result does.
/// </summary>
internal static class Crumbs
{
    /// <summary>Largest extent of a shell that is left out, units.</summary>
    public const int LargestUnits = 16;

    /// <summary>The mesh without them.</summary>
    /// <param name="mesh">The result, each edge once.</param>
    /// <param name="exact">The same before edges were divided and vertices doubled: triangles of equal number lie in equal places.</param>
    /// <param name="facets">The operands and the exact points.</param>
    public static Mesh Drop(Mesh mesh, Mesh exact, BooleanFacets facets)
    {
        int[] c = mesh.CornersArray, xyz = mesh.XyzArray;
        var sets = new UnionFind(mesh.VertexCount);
        for (var i = 0; i < c.Length; i += 3)
        {
            sets.Join(c[i], c[i + 1]);
            sets.Join(c[i], c[i + 2]);
        }
        var touched = new HashSet<int>();
        var whole = new HashSet<int>();
        for (var t = 0; t < mesh.TriangleCount; t++)
            for (var k = 0; k < 3; k++)
                (t >= exact.TriangleCount || exact.Corners[3 * t + k] >= facets.VertexCount ? touched : whole).Add(sets.Find(c[3 * t]));
        if (touched.Count == 0) return mesh;
        var shells = new Dictionary<int, Shell>();
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var root = sets.Find(c[3 * t]);
            if (!touched.Contains(root)) continue;
            if (!shells.TryGetValue(root, out var shell)) shells[root] = shell = new Shell(xyz.AsSpan(3 * c[3 * t], 3));
            shell.Add(xyz, c.AsSpan(3 * t, 3));
            if (t < exact.TriangleCount) shell.AddExact(facets, exact.Corners.Slice(3 * t, 3));
        }
        var gone = shells.Where(s => s.Value.Inverted || !whole.Contains(s.Key) && s.Value.Extent <= LargestUnits).Select(s => s.Key).ToHashSet();
        if (gone.Count == 0) return mesh;
        var kept = new List<int>(c.Length);
        for (var i = 0; i < c.Length; i += 3)
            if (!gone.Contains(sets.Find(c[i]))) kept.AddRange([c[i], c[i + 1], c[i + 2]]);
        return new Mesh(mesh.Lattice, xyz, [.. kept]);
    }

    private sealed class Shell(ReadOnlySpan<int> at)
    {
        private readonly int[] _low = at.ToArray();
        private readonly int[] _high = at.ToArray();
        private readonly int[] _origin = at.ToArray();
        private Int128 _rounded;
        private double _exact;

        public int Extent => Math.Max(_high[0] - _low[0], Math.Max(_high[1] - _low[1], _high[2] - _low[2]));

        public bool Inverted => Int128.Sign(_rounded) != Math.Sign(_exact);

        public void Add(int[] xyz, ReadOnlySpan<int> corners)
        {
            _rounded += Predicates.SixVolume(xyz, 3 * corners[0], 3 * corners[1], 3 * corners[2]);
            foreach (var v in corners)
                for (var k = 0; k < 3; k++)
                {
                    _low[k] = Math.Min(_low[k], xyz[3 * v + k]);
                    _high[k] = Math.Max(_high[k], xyz[3 * v + k]);
                }
        }

        // From the shell's own first corner, so that a small shell far out keeps its digits.
        public void AddExact(BooleanFacets facets, ReadOnlySpan<int> corners)
        {
            Vec3 a = Place(facets, corners[0]), b = Place(facets, corners[1]), c = Place(facets, corners[2]);
            _exact += a.Dot(b.Cross(c));
        }

        private Vec3 Place(BooleanFacets facets, int v)
        {
            var first = facets.VertexCount;
            return v < first
                ? new Vec3(facets.Xyz[3 * v] - _origin[0], facets.Xyz[3 * v + 1] - _origin[1], facets.Xyz[3 * v + 2] - _origin[2])
                : new Vec3(facets.Points.Coordinate(v - first, 0) - _origin[0], facets.Points.Coordinate(v - first, 1) - _origin[1], facets.Points.Coordinate(v - first, 2) - _origin[2]);
        }
    }
}
