namespace Stiltwright.Geometry.Fields;

/// <summary>
/// Where vertical lines through the grid's nodes cross the figure, and how often the figure winds around each stretch between.
/// Which triangles a line passes is decided in exact integers with one tie rule, so the steps of a closed figure add up to zero
/// in every column; the heights are double precision.
/// </summary>
internal sealed class NodeColumns
{
    private readonly int[] _start;
    private readonly double[] _z;
    private readonly int[] _winding;
    private readonly NodeGrid _grid;

    /// <summary>Columns whose steps do not add up: the figure is not closed there.</summary>
    internal int OpenColumns { get; private set; }

    /// <summary>True where some column passes a stretch wound more than once or less than zero times: shells overlap or one is inside out.</summary>
    internal bool Overlaps { get; private set; }

    private NodeColumns(NodeGrid grid, int[] start, double[] z, int[] winding)
    {
        _grid = grid;
        _start = start;
        _z = z;
        _winding = winding;
    }

    internal static NodeColumns Build(Mesh mesh, NodeGrid grid, int maxThreads)
    {
        var n = mesh.TriangleCount;
        const int block = 16384;
        var blocks = (n + block - 1) / block;
        var columnsOf = new List<(int Column, double Z, int Step)>[blocks];
        Parallel.For(0, blocks, Spatial.TriangleTree.Threads(maxThreads), b =>
        {
            var list = columnsOf[b] = [];
            for (var t = b * block; t < Math.Min(n, (b + 1) * block); t++) Cross(mesh, grid, t, list);
        });
        var counts = new int[grid.Nx * grid.Ny + 1];
        foreach (var list in columnsOf)
            foreach (var c in list) counts[c.Column + 1]++;
        for (var c = 0; c < counts.Length - 1; c++) counts[c + 1] += counts[c];
        var start = (int[])counts.Clone();
        var z = new double[counts[^1]];
        var step = new int[counts[^1]];
        foreach (var list in columnsOf)
            foreach (var c in list)
            {
                var at = counts[c.Column]++;
                z[at] = c.Z;
                step[at] = c.Step;
            }
        var columns = new NodeColumns(grid, start, z, step);
        int open = 0, overlaps = 0;
        Parallel.For(0, grid.Ny, Spatial.TriangleTree.Threads(maxThreads), row =>
        {
            int bad = 0, multiple = 0;
            for (var c = row * grid.Nx; c < (row + 1) * grid.Nx; c++)
            {
                int from = start[c], to = start[c + 1];
                if (from == to) continue;
                Array.Sort(z, step, from, to - from);
                // From here on: the winding number of the stretch above each crossing.
                var w = 0;
                for (var i = from; i < to; i++)
                {
                    w += step[i];
                    step[i] = w;
                    if (i + 1 < to && w is not (0 or 1) && z[i + 1] - z[i] > 1e-3) multiple++;
                }
                if (w != 0) bad++;
            }
            Interlocked.Add(ref open, bad);
            Interlocked.Add(ref overlaps, multiple);
        });
        columns.OpenColumns = open;
        columns.Overlaps = overlaps > 0;
        return columns;
    }

    private static void Cross(Mesh mesh, NodeGrid grid, int t, List<(int, double, int)> list)
    {
        var xyz = mesh.XyzArray;
        var corners = mesh.CornersArray;
        int a = 3 * corners[3 * t], b = 3 * corners[3 * t + 1], c = 3 * corners[3 * t + 2];
        long minX = Math.Min(xyz[a], Math.Min(xyz[b], xyz[c])), maxX = Math.Max(xyz[a], Math.Max(xyz[b], xyz[c]));
        // Nodes are moved by a quarter of a lattice unit (here all is counted in quarters), so that no vertex lies on a column.
        int i0 = Ceil(minX - grid.X0, grid.Step), i1 = Floor(maxX - grid.X0, grid.Step);
        if (i0 > i1) return;
        long minY = Math.Min(xyz[a + 1], Math.Min(xyz[b + 1], xyz[c + 1])), maxY = Math.Max(xyz[a + 1], Math.Max(xyz[b + 1], xyz[c + 1]));
        int j0 = Ceil(minY - grid.Y0, grid.Step), j1 = Floor(maxY - grid.Y0, grid.Step);
        if (j0 > j1) return;
        double az = xyz[a + 2], bz = xyz[b + 2], cz = xyz[c + 2];
        for (var j = j0; j <= j1; j++)
        {
            long y = grid.Y0 + (long)j * grid.Step;
            long ay = 4 * (xyz[a + 1] - y) - 1, by = 4 * (xyz[b + 1] - y) - 1, cy = 4 * (xyz[c + 1] - y) - 1;
            for (var i = i0; i <= i1; i++)
            {
                long x = grid.X0 + (long)i * grid.Step;
                long ax = 4 * (xyz[a] - x) - 1, bx = 4 * (xyz[b] - x) - 1, cx = 4 * (xyz[c] - x) - 1;
                // Differences stay below 2^28, so these are exact in 64 bits. On an edge: as if moved along x a little.
                long ab = ax * by - ay * bx, bc = bx * cy - by * cx, ca = cx * ay - cy * ax;
                int sab = ab != 0 ? Math.Sign(ab) : Math.Sign(ay - by);
                int sbc = bc != 0 ? Math.Sign(bc) : Math.Sign(by - cy);
                int sca = ca != 0 ? Math.Sign(ca) : Math.Sign(cy - ay);
                if (sab == 0 || sab != sbc || sbc != sca) continue;
                var sum = (double)ab + bc + ca;
                var z = (bc * az + ca * bz + ab * cz) / sum;
                list.Add((j * grid.Nx + i, z * mesh.Lattice.UnitMm, -sab));
            }
        }
    }

    private static int Ceil(long v, int step) => (int)((v + (v > 0 ? step - 1 : 0)) / step);
    private static int Floor(long v, int step) => (int)((v - (v < 0 ? step - 1 : 0)) / step);

    /// <summary>Winding number at a node.</summary>
    internal int Winding(int i, int j, int k)
    {
        var c = j * _grid.Nx + i;
        int lo = _start[c], hi = _start[c + 1];
        if (lo == hi) return 0;
        var z = _grid.Z(k);
        var from = lo;
        while (lo < hi)
        {
            var mid = (lo + hi) / 2;
            if (_z[mid] <= z) lo = mid + 1; else hi = mid;
        }
        return lo == from ? 0 : _winding[lo - 1];
    }

    /// <summary>Whether the eight nodes of a column from k on are inside (wound at least once), 64 places apart.</summary>
    internal void Inside(int i, int j, int k, Span<bool> inside)
    {
        var c = j * _grid.Nx + i;
        int at = _start[c], end = _start[c + 1];
        if (at < end)
        {
            // The first crossing above the lowest node.
            var z = _grid.Z(k);
            int lo = at, hi = end;
            while (lo < hi)
            {
                var mid = (lo + hi) / 2;
                if (_z[mid] <= z) lo = mid + 1; else hi = mid;
            }
            for (var n = 0; n < NodeGrid.Brick; n++)
            {
                z = _grid.Z(k + n);
                while (lo < end && _z[lo] <= z) lo++;
                inside[n << 6] = lo > at && _winding[lo - 1] >= 1;
            }
        }
        else for (var n = 0; n < NodeGrid.Brick; n++) inside[n << 6] = false;
    }

    /// <summary>Calls back for every stretch of a column that is wound neither 0 nor 1 times.</summary>
    internal void Unusual(int i, int j, Action<double, double> stretch)
    {
        var c = j * _grid.Nx + i;
        for (var at = _start[c]; at + 1 < _start[c + 1]; at++)
            if (_winding[at] is not (0 or 1)) stretch(_z[at], _z[at + 1]);
    }
}
