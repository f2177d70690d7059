namespace Stiltwright.Geometry.Layers;

/// <summary>
/// Finds which columns a mesh's triangles cross, strip by strip of rows. Edge crossings are exact in integers and
/// half-open in both axes, so two triangles that share an edge never both take a column on it and never both leave it:
/// every closed shell enters a column as often as it leaves it.
/// </summary>
internal sealed class ColumnRaster
{
    private readonly Mesh _mesh;
    private readonly int[] _columnX;
    private readonly int[] _rowY;
    private readonly double _perUnit;
    private readonly int _rowsPerStrip;
    private readonly int[] _binStart;
    private readonly int[] _bins;

    /// <summary>Sorts the triangles of a part into strips of rows.</summary>
    public ColumnRaster(Mesh mesh, ColumnGrid grid, int rowsPerStrip, int strips)
    {
        _mesh = mesh;
        _rowsPerStrip = rowsPerStrip;
        var l = mesh.Lattice;
        if (grid.PitchMm * l.UnitsPerMm < 1)
            throw new ArgumentException($"Columns {grid.PitchMm} mm apart are finer than the coordinates of a part ({l.UnitMm} mm); choose a coarser pitch.", nameof(grid));
        _columnX = new int[grid.Nx];
        _rowY = new int[grid.Ny];
        for (var i = 0; i < grid.Nx; i++) _columnX[i] = l.Round(grid.X(i));
        for (var j = 0; j < grid.Ny; j++) _rowY[j] = l.Round(grid.Y(j));
        _perUnit = 1.0 / (grid.PitchMm * l.UnitsPerMm);

        _binStart = new int[strips + 1];
        int[] xyz = mesh.XyzArray, corners = mesh.CornersArray;
        for (var t = 0; t < corners.Length; t += 3)
            if (Rows(xyz, corners, t, out var first, out var end))
                for (var s = first / rowsPerStrip; s <= (end - 1) / rowsPerStrip; s++) _binStart[s + 1]++;
        for (var s = 0; s < strips; s++) _binStart[s + 1] += _binStart[s];
        _bins = new int[_binStart[strips]];
        var at = _binStart.AsSpan(0, strips).ToArray();
        for (var t = 0; t < corners.Length; t += 3)
            if (Rows(xyz, corners, t, out var first, out var end))
                for (var s = first / rowsPerStrip; s <= (end - 1) / rowsPerStrip; s++) _bins[at[s]++] = t;
    }

    /// <summary>The rows whose axis lies in a triangle's half-open range of y.</summary>
    private bool Rows(int[] xyz, int[] corners, int t, out int first, out int end)
    {
        int a = xyz[3 * corners[t] + 1], b = xyz[3 * corners[t + 1] + 1], c = xyz[3 * corners[t + 2] + 1];
        first = FirstAtOrAbove(_rowY, Math.Min(a, Math.Min(b, c)));
        end = FirstAtOrAbove(_rowY, Math.Max(a, Math.Max(b, c)));
        return first < end;
    }

    /// <summary>The first position not below a value; positions rise evenly but for their rounding.</summary>
    private int FirstAtOrAbove(int[] positions, long value)
    {
        var guess = (value - positions[0]) * _perUnit;
        var i = guess <= 0 ? 0 : guess >= positions.Length ? positions.Length : (int)guess;
        while (i > 0 && positions[i - 1] >= value) i--;
        while (i < positions.Length && positions[i] < value) i++;
        return i;
    }

    /// <summary>Adds 1 to the count of every column for each crossing in a strip; counts[c + shift] belongs to column c.</summary>
    public void Count(int strip, int[] counts, int shift, int nx)
    {
        int[] xyz = _mesh.XyzArray, corners = _mesh.CornersArray;
        for (var b = _binStart[strip]; b < _binStart[strip + 1]; b++)
        {
            var tri = new Flat(xyz, corners, _bins[b]);
            if (tri.Nz == 0) continue;
            RowsInStrip(strip, tri, out var first, out var end);
            for (var j = first; j < end; j++)
            {
                Span(tri, _rowY[j], out var lo, out var hi);
                var row = j * nx + shift;
                for (var i = lo; i < hi; i++) counts[row + i]++;
            }
        }
    }

    /// <summary>Writes the crossings of a strip as height * 2 + (0 entering, 1 leaving); next[c + shift] is the column's next free place.</summary>
    public void Fill(int strip, int[] next, int shift, int nx, int[] items, byte[] groups, byte group, double unitsPerMeshUnit)
    {
        int[] xyz = _mesh.XyzArray, corners = _mesh.CornersArray;
        for (var b = _binStart[strip]; b < _binStart[strip + 1]; b++)
        {
            var tri = new Flat(xyz, corners, _bins[b]);
            if (tri.Nz == 0) continue;
            RowsInStrip(strip, tri, out var first, out var end);
            var leaving = tri.Nz > 0 ? 1 : 0;
            double slopeX = -(double)tri.Nx / tri.Nz, slopeY = -(double)tri.Ny / tri.Nz;
            for (var j = first; j < end; j++)
            {
                long y = _rowY[j];
                Span(tri, y, out var lo, out var hi);
                if (lo >= hi) continue;
                var atRow = tri.Az + slopeY * (y - tri.Ay);
                var row = j * nx + shift;
                for (var i = lo; i < hi; i++)
                {
                    // Rounding may carry a steep plane a little past its corners; the crossing lies between them.
                    var z = Math.Clamp(atRow + slopeX * (_columnX[i] - tri.Ax), tri.ZMin, tri.ZMax);
                    var place = next[row + i]++;
                    items[place] = ((int)Math.Round(z * unitsPerMeshUnit) << 1) | leaving;
                    groups[place] = group;
                }
            }
        }
    }

    private void RowsInStrip(int strip, in Flat tri, out int first, out int end)
    {
        first = Math.Max(strip * _rowsPerStrip, FirstAtOrAbove(_rowY, tri.LowY));
        end = Math.Min((strip + 1) * _rowsPerStrip, FirstAtOrAbove(_rowY, tri.HighY));
    }

    /// <summary>The columns of one row inside a triangle: those at or right of one border and left of the other.</summary>
    private void Span(in Flat tri, long y, out int lo, out int hi)
    {
        var a = FirstAtOrAbove(_columnX, Crossing(tri.LowX, tri.LowY, tri.HighX, tri.HighY, y));
        var b = FirstAtOrAbove(_columnX, y < tri.MidY
            ? Crossing(tri.LowX, tri.LowY, tri.MidX, tri.MidY, y)
            : Crossing(tri.MidX, tri.MidY, tri.HighX, tri.HighY, y));
        lo = Math.Min(a, b);
        hi = Math.Max(a, b);
    }

    /// <summary>The least whole x not left of an edge at height y; below 2^51, so exact in 64 bits.</summary>
    private static long Crossing(long x0, long y0, long x1, long y1, long y)
    {
        long num = (y - y0) * (x1 - x0), den = y1 - y0;
        var q = num / den;
        return x0 + (num > q * den ? q + 1 : q);
    }

    /// <summary>A triangle with its corners also in order of y, and its normal.</summary>
    private readonly struct Flat
    {
        public readonly long LowX, LowY, MidX, MidY, HighX, HighY, Nx, Ny, Nz;
        public readonly double Ax, Ay, Az, ZMin, ZMax;

        public Flat(int[] xyz, int[] corners, int t)
        {
            int a = 3 * corners[t], b = 3 * corners[t + 1], c = 3 * corners[t + 2];
            long ax = xyz[a], ay = xyz[a + 1], az = xyz[a + 2], bx = xyz[b], by = xyz[b + 1], bz = xyz[b + 2], cx = xyz[c], cy = xyz[c + 1], cz = xyz[c + 2];
            long ux = bx - ax, uy = by - ay, uz = bz - az, vx = cx - ax, vy = cy - ay, vz = cz - az;
            Nx = uy * vz - uz * vy;
            Ny = uz * vx - ux * vz;
            Nz = ux * vy - uy * vx;
            Ax = ax; Ay = ay; Az = az;
            ZMin = Math.Min(az, Math.Min(bz, cz));
            ZMax = Math.Max(az, Math.Max(bz, cz));
            if (by < ay) (ax, ay, bx, by) = (bx, by, ax, ay);
            if (cy < by) (bx, by, cx, cy) = (cx, cy, bx, by);
            if (by < ay) (ax, ay, bx, by) = (bx, by, ax, ay);
            (LowX, LowY, MidX, MidY, HighX, HighY) = (ax, ay, bx, by, cx, cy);
        }
    }
}
