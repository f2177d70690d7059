using System.Runtime.Intrinsics;

namespace Stiltwright.Geometry.Spatial;

/// <summary>
/// Winding numbers of a great many points at once, without a tree: the points are sorted into the cells of a grid seen from above,
/// and every triangle counts for the points below it in the cells that it covers. Signs come from products in double precision where
/// those are certain and from exact integers where not, with the rule of ties of <see cref="TriangleTree.Winding(Vec3)"/>, so the
/// answers are the same.
/// </summary>
internal sealed class PointColumns
{
    private const int RowsOfBand = 8;
    private readonly Mesh _mesh;
    private readonly ParallelOptions _threads;
    private readonly int _nx, _ny;
    private readonly double _x0, _y0, _cell;

    // Points in cell order: their numbers and their coordinates in units finer than the lattice; first place of each cell.
    private readonly int[] _number;
    private readonly double[] _x, _y, _z;
    private readonly int[] _start;
    private readonly int[] _winding;

    private PointColumns(Mesh mesh, Vec3[] points, int maxThreads)
    {
        _mesh = mesh;
        _threads = TriangleTree.Threads(maxThreads);
        var box = mesh.Bounds.Grown(mesh.Lattice.UnitMm);
        double finer = (double)mesh.Lattice.UnitsPerMm * (1 << TriangleTree.Finer);
        _x0 = Math.Round(box.Min.X * finer);
        _y0 = Math.Round(box.Min.Y * finer);
        double width = box.Size.X * finer + 2, depth = box.Size.Y * finer + 2;
        // About twelve points a cell, at most four million cells.
        _cell = Math.Max(Math.Sqrt(width * depth * Math.Max(12.0 / points.Length, 2.5e-7)), Math.Max(width, depth) / 30_000);
        (_nx, _ny) = ((int)(width / _cell) + 1, (int)(depth / _cell) + 1);

        var cellOf = new int[points.Length];
        Parallel.For(0, (points.Length + 16383) / 16384, _threads, block =>
        {
            for (var i = block * 16384; i < Math.Min(points.Length, (block + 1) * 16384); i++)
                cellOf[i] = box.Holds(points[i]) ? Row(Math.Round(points[i].Y * finer)) * _nx + Column(Math.Round(points[i].X * finer)) : -1;
        });
        _start = new int[_nx * _ny + 1];
        foreach (var c in cellOf)
            if (c >= 0) _start[c + 1]++;
        for (var c = 0; c < _nx * _ny; c++) _start[c + 1] += _start[c];
        var fill = _start.AsSpan(0, _nx * _ny).ToArray();
        _number = new int[_start[^1]];
        for (var i = 0; i < cellOf.Length; i++)
            if (cellOf[i] >= 0) _number[fill[cellOf[i]]++] = i;
        var n = _number.Length + Vector256<double>.Count;
        (_x, _y, _z, _winding) = (new double[n], new double[n], new double[n], new int[n]);
        Parallel.For(0, (_number.Length + 16383) / 16384, _threads, block =>
        {
            for (var i = block * 16384; i < Math.Min(_number.Length, (block + 1) * 16384); i++)
            {
                var p = points[_number[i]];
                (_x[i], _y[i], _z[i]) = (Math.Round(p.X * finer), Math.Round(p.Y * finer), Math.Round(p.Z * finer));
            }
        });
    }

    /// <summary>The winding number of each point; zero outside the mesh's box.</summary>
    internal static int[] Windings(Mesh mesh, Vec3[] points, int maxThreads)
    {
        var results = new int[points.Length];
        if (mesh.TriangleCount == 0 || points.Length == 0) return results;
        var columns = new PointColumns(mesh, points, maxThreads);
        columns.Count();
        for (var i = 0; i < columns._number.Length; i++) results[columns._number[i]] = columns._winding[i];
        return results;
    }

    private int Row(double y) => Math.Clamp((int)((y - _y0) / _cell), 0, _ny - 1);
    private int Column(double x) => Math.Clamp((int)((x - _x0) / _cell), 0, _nx - 1);

    // Bands of rows in parallel: no two write to the same point.
    private void Count()
    {
        var bands = (_ny + RowsOfBand - 1) / RowsOfBand;
        var (start, triangles) = Bands(bands);
        Parallel.For(0, bands, _threads, band =>
        {
            for (var i = start[band]; i < start[band + 1]; i++) Count(triangles[i], band * RowsOfBand, Math.Min(_ny, (band + 1) * RowsOfBand) - 1);
        });
    }

    private (int[] Start, int[] Triangles) Bands(int bands)
    {
        var n = _mesh.TriangleCount;
        var xyz = _mesh.XyzArray;
        var corners = _mesh.CornersArray;
        const int block = 32768;
        var blocks = (n + block - 1) / block;
        var first = new ushort[n];
        var last = new ushort[n];
        var counts = new int[blocks][];
        Parallel.For(0, blocks, _threads, b =>
        {
            var count = counts[b] = new int[bands];
            for (var t = b * block; t < Math.Min(n, (b + 1) * block); t++)
            {
                long ya = xyz[3 * corners[3 * t] + 1], yb = xyz[3 * corners[3 * t + 1] + 1], yc = xyz[3 * corners[3 * t + 2] + 1];
                first[t] = (ushort)(Row(Math.Min(ya, Math.Min(yb, yc)) << TriangleTree.Finer) / RowsOfBand);
                last[t] = (ushort)(Row(Math.Max(ya, Math.Max(yb, yc)) << TriangleTree.Finer) / RowsOfBand);
                for (int r = first[t]; r <= last[t]; r++) count[r]++;
            }
        });
        var start = new int[bands + 1];
        var at = 0;
        for (var r = 0; r < bands; r++)
        {
            start[r] = at;
            foreach (var count in counts) (count[r], at) = (at, checked(at + count[r]));
        }
        start[bands] = at;
        var triangles = new int[at];
        Parallel.For(0, blocks, _threads, b =>
        {
            for (var t = b * block; t < Math.Min(n, (b + 1) * block); t++)
                for (int r = first[t]; r <= last[t]; r++) triangles[counts[b][r]++] = t;
        });
        return (start, triangles);
    }

    private readonly record struct Corner(double X, double Y);

    private void Count(int t, int firstRow, int lastRow)
    {
        var xyz = _mesh.XyzArray;
        var corners = _mesh.CornersArray;
        int a = 3 * corners[3 * t], b = 3 * corners[3 * t + 1], c = 3 * corners[3 * t + 2];
        const double finer = 1 << TriangleTree.Finer;
        Corner pa = new(xyz[a] * finer, xyz[a + 1] * finer), pb = new(xyz[b] * finer, xyz[b + 1] * finer), pc = new(xyz[c] * finer, xyz[c + 1] * finer);
        double yLow = Math.Min(pa.Y, Math.Min(pb.Y, pc.Y)), yHigh = Math.Max(pa.Y, Math.Max(pb.Y, pc.Y));
        double xLow = Math.Min(pa.X, Math.Min(pb.X, pc.X)), xHigh = Math.Max(pa.X, Math.Max(pb.X, pc.X));
        double zLow = Math.Min(xyz[a + 2], Math.Min(xyz[b + 2], xyz[c + 2])) * finer, zHigh = Math.Max(xyz[a + 2], Math.Max(xyz[b + 2], xyz[c + 2])) * finer;
        // No corner is farther than this from a point of the cells, so products of two differences are certain down to the bound.
        var reach = Math.Max(yHigh - yLow, xHigh - xLow) + 2 * _cell;
        var doubt = Vector256.Create(reach * reach * 1e-15);
        int rowLow = Math.Max(Row(yLow), firstRow), rowHigh = Math.Min(Row(yHigh), lastRow);
        var tall = Row(yHigh) - Row(yLow) > 1;
        Vector256<double> ax = Vector256.Create(pa.X), ay = Vector256.Create(pa.Y), bx = Vector256.Create(pb.X), by = Vector256.Create(pb.Y);
        Vector256<double> cx = Vector256.Create(pc.X), cy = Vector256.Create(pc.Y), top = Vector256.Create(zHigh);
        for (var row = rowLow; row <= rowHigh; row++)
        {
            double from = xLow, to = xHigh;
            if (tall) Span(pa, pb, pc, _y0 + row * _cell, _y0 + (row + 1) * _cell, ref from, ref to);
            int at = _start[row * _nx + Column(from)], end = _start[row * _nx + Column(to) + 1];
            for (; at < end; at += Vector256<double>.Count)
            {
                var below = Vector256.LessThanOrEqual(Vector256.LoadUnsafe(ref _z[at]), top).ExtractMostSignificantBits();
                if (end - at < Vector256<double>.Count) below &= (1u << (end - at)) - 1;
                if (below == 0) continue;
                Vector256<double> x = Vector256.LoadUnsafe(ref _x[at]), y = Vector256.LoadUnsafe(ref _y[at]);
                Vector256<double> ux = ax - x, uy = ay - y, vx = bx - x, vy = by - y, wx = cx - x, wy = cy - y;
                Vector256<double> ab = ux * vy - uy * vx, bc = vx * wy - vy * wx, ca = wx * uy - wy * ux;
                Vector256<double> least = Vector256.Min(ab, Vector256.Min(bc, ca)), most = Vector256.Max(ab, Vector256.Max(bc, ca));
                var maybe = below & ~(Vector256.LessThan(least, -doubt) & Vector256.GreaterThan(most, doubt)).ExtractMostSignificantBits();
                if (maybe == 0) continue;
                var sure = (Vector256.GreaterThan(least, doubt) | Vector256.LessThan(most, -doubt)).ExtractMostSignificantBits();
                for (; maybe != 0; maybe &= maybe - 1)
                {
                    var k = System.Numerics.BitOperations.TrailingZeroCount(maybe);
                    var i = at + k;
                    _winding[i] += (sure >> k & 1) != 0 && _z[i] < zLow
                        ? ab.GetElement(k) > 0 ? 1 : -1
                        : TriangleTree.Above(xyz, a, b, c, (long)_x[i], (long)_y[i], (long)_z[i]);
                }
            }
        }
    }

    // Narrows the x-range of a triangle to its part between two heights of a row.
    private static void Span(Corner a, Corner b, Corner c, double y0, double y1, ref double from, ref double to)
    {
        double lo = double.PositiveInfinity, hi = double.NegativeInfinity;
        Edge(a, b);
        Edge(b, c);
        Edge(c, a);
        // The part is found in rounded numbers; one unit more on either side is more than they can be off.
        from = Math.Max(from, lo - 256);
        to = Math.Min(to, hi + 256);
        if (from > to) from = to;

        void Edge(Corner p, Corner q)
        {
            if (p.Y > q.Y) (p, q) = (q, p);
            if (q.Y < y0 - 1 || p.Y > y1 + 1) return;
            double s = q.Y > p.Y ? Math.Clamp((y0 - 1 - p.Y) / (q.Y - p.Y), 0, 1) : 0, e = q.Y > p.Y ? Math.Clamp((y1 + 1 - p.Y) / (q.Y - p.Y), 0, 1) : 1;
            double u = p.X + s * (q.X - p.X), v = p.X + e * (q.X - p.X);
            lo = Math.Min(lo, Math.Min(u, v));
            hi = Math.Max(hi, Math.Max(u, v));
        }
    }
}
