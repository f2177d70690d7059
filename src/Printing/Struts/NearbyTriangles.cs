using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>
/// For many small query boxes the triangles of chosen shells whose boxes meet them, in one pass over the triangles: a
/// dense grid of the query boxes lets nearly all triangles go by after one look.
/// </summary>
internal static class NearbyTriangles
{
    private const int MostCellsAnAxis = 160;

    public static List<int>[] Find(Mesh mesh, ReadOnlySpan<bool> takeShell, int[] shellOfTriangle, Box3[] queries, CancellationToken ct)
    {
        var result = new List<int>[queries.Length];
        for (var i = 0; i < result.Length; i++) result[i] = [];
        if (queries.Length == 0) return result;
        var all = Box3.Empty;
        foreach (var q in queries) all = all.With(q);
        var s = all.Size;
        var cell = Math.Max(Math.Max(s.X, Math.Max(s.Y, s.Z)) / MostCellsAnAxis, 1e-6);
        int nx = (int)(s.X / cell) + 1, ny = (int)(s.Y / cell) + 1, nz = (int)(s.Z / cell) + 1;

        // Counting pass, then fill pass.
        var start = new int[nx * ny * nz + 1];
        foreach (var q in queries) Visit(q, c => start[c + 1]++);
        for (var c = 0; c < start.Length - 1; c++) start[c + 1] += start[c];
        var list = new int[start[^1]];
        var fill = (int[])start.Clone();
        for (var i = 0; i < queries.Length; i++)
        {
            var id = i;
            Visit(queries[i], c => list[fill[c]++] = id);
        }

        var take = takeShell.ToArray();
        const int Ranges = 8;
        var found = new List<(int Query, int Triangle)>[Ranges];
        var xyz = mesh.XyzArray;
        var corners = mesh.CornersArray;
        var unit = mesh.Lattice.UnitMm;
        Parallel.For(0, Ranges, new ParallelOptions { CancellationToken = ct, MaxDegreeOfParallelism = Math.Min(Environment.ProcessorCount, Ranges) }, range =>
        {
            var hits = new List<(int, int)>();
            long n = mesh.TriangleCount;
            for (var t = (int)(n * range / Ranges); t < (int)(n * (range + 1) / Ranges); t++)
            {
                if (!take[shellOfTriangle[t]]) continue;
                int a = 3 * corners[3 * t], b = 3 * corners[3 * t + 1], c = 3 * corners[3 * t + 2];
                var x0 = Math.Min(xyz[a], Math.Min(xyz[b], xyz[c])) * unit;
                var x1 = Math.Max(xyz[a], Math.Max(xyz[b], xyz[c])) * unit;
                if (x1 < all.Min.X || x0 > all.Max.X) continue;
                var y0 = Math.Min(xyz[a + 1], Math.Min(xyz[b + 1], xyz[c + 1])) * unit;
                var y1 = Math.Max(xyz[a + 1], Math.Max(xyz[b + 1], xyz[c + 1])) * unit;
                if (y1 < all.Min.Y || y0 > all.Max.Y) continue;
                var z0 = Math.Min(xyz[a + 2], Math.Min(xyz[b + 2], xyz[c + 2])) * unit;
                var z1 = Math.Max(xyz[a + 2], Math.Max(xyz[b + 2], xyz[c + 2])) * unit;
                if (z1 < all.Min.Z || z0 > all.Max.Z) continue;
                int i0 = Cell(x0 - all.Min.X, nx), i1 = Cell(x1 - all.Min.X, nx);
                int j0 = Cell(y0 - all.Min.Y, ny), j1 = Cell(y1 - all.Min.Y, ny);
                int k0 = Cell(z0 - all.Min.Z, nz), k1 = Cell(z1 - all.Min.Z, nz);
                for (var k = k0; k <= k1; k++)
                    for (var j = j0; j <= j1; j++)
                        for (var i = i0; i <= i1; i++)
                        {
                            var at = (k * ny + j) * nx + i;
                            for (var e = start[at]; e < start[at + 1]; e++)
                            {
                                var q = queries[list[e]];
                                if (x0 > q.Max.X || x1 < q.Min.X || y0 > q.Max.Y || y1 < q.Min.Y || z0 > q.Max.Z || z1 < q.Min.Z) continue;
                                // Only in the first cell that both boxes share.
                                if (Cell(Math.Max(x0, q.Min.X) - all.Min.X, nx) != i || Cell(Math.Max(y0, q.Min.Y) - all.Min.Y, ny) != j
                                    || Cell(Math.Max(z0, q.Min.Z) - all.Min.Z, nz) != k) continue;
                                hits.Add((list[e], t));
                            }
                        }
            }
            found[range] = hits;
        });
        foreach (var hits in found)
            foreach (var (q, t) in hits) result[q].Add(t);
        return result;

        int Cell(double along, int n) => Math.Clamp((int)(along / cell), 0, n - 1);

        void Visit(Box3 q, Action<int> at)
        {
            int i0 = Cell(q.Min.X - all.Min.X, nx), i1 = Cell(q.Max.X - all.Min.X, nx);
            int j0 = Cell(q.Min.Y - all.Min.Y, ny), j1 = Cell(q.Max.Y - all.Min.Y, ny);
            int k0 = Cell(q.Min.Z - all.Min.Z, nz), k1 = Cell(q.Max.Z - all.Min.Z, nz);
            for (var k = k0; k <= k1; k++)
                for (var j = j0; j <= j1; j++)
                    for (var i = i0; i <= i1; i++) at((k * ny + j) * nx + i);
        }
    }
}
