using System.Runtime.CompilerServices;

namespace Stiltwright.Geometry.Layers;

/// <summary>
/// One worker of <see cref="LayerScan"/>: the crossings of a block of layers, then runs, regions and islands layer by layer. A crossing is the first pixel
/// at or behind it, twice, plus 1 where the shell is left; so they sort as numbers, entering before leaving.
/// </summary>
internal sealed class LayerRaster
{
    // A row of a layer: count, the first six crossings, and the head of a list of the others.
    private const int Cell = 8, Inline = 6;

    private readonly double[] _places;
    private readonly int[] _layerOf, _corners;
    private readonly int _nx, _ny;
    private readonly int[] _cells;
    private readonly int[] _rowLow, _rowHigh;
    private int[] _moreValue = new int[1024], _moreNext = new int[1024];
    private int _more;
    private int[] _sorted = new int[64];
    private Layer _here, _below;

    private sealed class Layer(int ny)
    {
        public readonly int[] Start = new int[ny + 1];
        public int[] X0 = new int[4096], X1 = new int[4096], Parent = new int[4096], Size = new int[4096], Row = new int[4096];
        public bool[] Rests = new bool[4096];
        public int Low, High = -1, Count;

        public void Room(int runs)
        {
            if (runs <= X0.Length) return;
            var n = Math.Max(runs, 2 * X0.Length);
            Array.Resize(ref X0, n);
            Array.Resize(ref X1, n);
            Array.Resize(ref Parent, n);
            Array.Resize(ref Size, n);
            Array.Resize(ref Row, n);
            Array.Resize(ref Rests, n);
        }
    }

    public LayerRaster(double[] places, int[] layerOf, int[] corners, int nx, int ny, int layers)
    {
        (_places, _layerOf, _corners, _nx, _ny) = (places, layerOf, corners, nx, ny);
        _cells = new int[layers * ny * Cell];
        _rowLow = new int[layers];
        _rowHigh = new int[layers];
        (_here, _below) = (new Layer(ny), new Layer(ny));
    }

    /// <summary>Scans layers first .. end - 1.</summary>
    public List<(int Layer, int Pixels, int X, int Y)> Scan(ReadOnlySpan<int> triangles, int first, int end, long[] pixels, int[] regions)
    {
        var from = Math.Max(0, first - 1);
        Array.Fill(_rowLow, int.MaxValue);
        Array.Fill(_rowHigh, -1);
        _more = 1; // 0 ends a list
        foreach (var t in triangles) Cross(t, from, end);
        var islands = new List<(int, int, int, int)>();
        (_here.Count, _here.Low, _here.High) = (0, 0, -1);
        for (var k = from; k < end; k++)
        {
            (_here, _below) = (_below, _here);
            var solid = Runs(k - from);
            if (k < first) continue;
            pixels[k] = solid;
            regions[k] = Regions(k, islands);
        }
        return islands;
    }

    private unsafe void Cross(int t, int from, int end)
    {
        int a = _corners[3 * t], b = _corners[3 * t + 1], c = _corners[3 * t + 2];
        int la = _layerOf[a], lb = _layerOf[b], lc = _layerOf[c];
        // In order of height, with the parity of the exchanges.
        var turned = false;
        if (lb < la) { (a, b, la, lb) = (b, a, lb, la); turned = !turned; }
        if (lc < lb) { (b, c, lb, lc) = (c, b, lc, lb); turned = !turned; }
        if (lb < la) { (a, b, la, lb) = (b, a, lb, la); turned = !turned; }
        int k0 = Math.Max(la, from), k1 = Math.Min(lc, end);
        if (k0 >= k1) return;
        fixed (double* p = _places)
        fixed (int* cells = _cells)
        {
            double* low = p + 3 * a, mid = p + 3 * b, high = p + 3 * c;
            double zl = low[2], slope = 1 / (high[2] - zl);
            double lx = (high[0] - low[0]) * slope, ly = (high[1] - low[1]) * slope;
            for (var k = k0; k < k1;)
            {
                // Below the middle corner the other edge is low-mid, above it mid-high.
                var lower = k < lb;
                double* s = lower ? low : mid, e = lower ? mid : high;
                double zs = s[2], per = 1 / (e[2] - zs);
                double sx = (e[0] - s[0]) * per, sy = (e[1] - s[1]) * per;
                var stop = lower ? Math.Min(lb, k1) : k1;
                for (; k < stop; k++)
                {
                    double x0 = low[0] + (k - zl) * lx, y0 = low[1] + (k - zl) * ly;
                    double x1 = s[0] + (k - zs) * sx, y1 = s[1] + (k - zs) * sy;
                    // Solid lies left of the way from the edge that goes down through the plane to the one that comes up: a way up the rows leaves it.
                    var leaving = turned ? 1 : 0;
                    if (y0 > y1) (x0, y0, x1, y1) = (x1, y1, x0, y0);
                    else leaving ^= 1;
                    int j0 = Ceiling(y0), j1 = Ceiling(y1);
                    if (j0 >= j1) continue;
                    if (j0 < 0) j0 = 0;
                    if (j1 > _ny) j1 = _ny;
                    if (j0 >= j1) continue;
                    var layer = k - from;
                    if (j0 < _rowLow[layer]) _rowLow[layer] = j0;
                    if (j1 - 1 > _rowHigh[layer]) _rowHigh[layer] = j1 - 1;
                    var dx = j1 - j0 > 1 || j0 != y0 ? (x1 - x0) / (y1 - y0) : 0;
                    var x = x0 + (j0 - y0) * dx;
                    var cell = cells + (layer * _ny + j0) * Cell;
                    for (var j = j0; j < j1; j++, x += dx, cell += Cell)
                    {
                        var i = Ceiling(x);
                        if ((uint)i > (uint)_nx) i = i < 0 ? 0 : _nx;
                        var value = i << 1 | leaving;
                        var n = cell[0]++;
                        if (n < Inline) cell[1 + n] = value;
                        else More(cell, n, value);
                    }
                }
            }
        }
    }

    // Math.Ceiling by way of the integer, which is quicker; values are within a few tens of thousands.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static int Ceiling(double x)
    {
        var i = (int)x;
        return i + (x > i ? 1 : 0);
    }

    private unsafe void More(int* cell, int count, int value)
    {
        if (_more == _moreValue.Length)
        {
            Array.Resize(ref _moreValue, 2 * _more);
            Array.Resize(ref _moreNext, 2 * _more);
        }
        _moreValue[_more] = value;
        _moreNext[_more] = count == Inline ? 0 : cell[Cell - 1];
        cell[Cell - 1] = _more++;
    }

    // Turns the crossings of a layer into runs, joins those that touch, and empties its cells. Gives the solid pixels.
    private unsafe long Runs(int layer)
    {
        var to = _here;
        to.Count = 0;
        (to.Low, to.High) = (_rowLow[layer], _rowHigh[layer]);
        long solid = 0;
        var previous = 0;
        fixed (int* cells = _cells)
            for (var j = to.Low; j <= to.High; j++)
            {
                var start = to.Count;
                to.Start[j] = start;
                var cell = cells + (layer * _ny + j) * Cell;
                var n = cell[0];
                if (n != 0)
                {
                    cell[0] = 0;
                    to.Room(start + n);
                    if (n == 2)
                    {
                        // Nearly always: in and out.
                        int v0 = cell[1], v1 = cell[2];
                        if (v0 > v1) (v0, v1) = (v1, v0);
                        if ((v0 & 1) == 0 && (v1 & 1) != 0 && v0 >> 1 < v1 >> 1) (to.X0[to.Count], to.X1[to.Count++]) = (v0 >> 1, v1 >> 1);
                    }
                    else Wind(to, new ReadOnlySpan<int>(cell + 1, Cell - 1), n);
                    solid += Settle(to, j, start, previous);
                }
                previous = start;
            }
        if (to.High >= to.Low) to.Start[to.High + 1] = to.Count;
        return solid;
    }

    private void Wind(Layer to, ReadOnlySpan<int> cell, int n)
    {
        if (_sorted.Length < n) _sorted = new int[2 * n];
        var s = _sorted.AsSpan(0, n);
        for (var i = 0; i < Math.Min(n, Inline); i++) s[i] = cell[i];
        for (int i = Inline, m = n > Inline ? cell[Inline] : 0; i < n; i++, m = _moreNext[m]) s[i] = _moreValue[m];
        if (n > 16) s.Sort();
        else
            for (var i = 1; i < n; i++)
            {
                var v = s[i];
                var h = i - 1;
                for (; h >= 0 && s[h] > v; h--) s[h + 1] = s[h];
                s[h + 1] = v;
            }
        int w = 0, x0 = 0;
        var first = to.Count;
        foreach (var v in s)
            if ((v & 1) == 0)
            {
                if (++w == 1) x0 = v >> 1;
            }
            else if (w-- == 1 && v >> 1 > x0)
            {
                if (to.Count > first && to.X1[to.Count - 1] == x0) to.X1[to.Count - 1] = v >> 1;
                else (to.X0[to.Count], to.X1[to.Count++]) = (x0, v >> 1);
            }
    }

    // Joins the runs of a row with those of the row before that they touch, and looks whether solid lies under them.
    private long Settle(Layer to, int row, int start, int previous)
    {
        int[] x0 = to.X0, x1 = to.X1, parent = to.Parent;
        long solid = 0;
        var p = previous;
        int b = 0, bEnd = 0;
        if (row >= _below.Low && row <= _below.High) (b, bEnd) = (_below.Start[row], _below.Start[row + 1]);
        int[] b0 = _below.X0, b1 = _below.X1;
        for (var r = start; r < to.Count; r++)
        {
            int from = x0[r], end = x1[r];
            solid += end - from;
            parent[r] = r;
            to.Size[r] = end - from;
            to.Row[r] = row;
            while (p < start && x1[p] < from) p++;
            for (var q = p; q < start && x0[q] <= end; q++) Join(parent, r, q);
            while (b < bEnd && b1[b] <= from) b++;
            to.Rests[r] = b < bEnd && b0[b] < end;
        }
        return solid;
    }

    private static void Join(int[] parent, int a, int b)
    {
        while (parent[a] != a) a = parent[a] = parent[parent[a]];
        while (parent[b] != b) b = parent[b] = parent[parent[b]];
        if (a < b) parent[b] = a;
        else parent[a] = b;
    }

    private int Regions(int k, List<(int, int, int, int)> islands)
    {
        var at = _here;
        int[] parent = at.Parent, size = at.Size;
        var rests = at.Rests;
        var count = 0;
        // Parents have lower numbers, so one pass upwards makes every run point at its root.
        for (var r = 0; r < at.Count; r++)
        {
            var root = parent[r];
            if (root == r)
            {
                count++;
                continue;
            }
            root = parent[r] = parent[root];
            size[root] += size[r];
            rests[root] |= rests[r];
        }
        if (k > 0)
            for (var r = 0; r < at.Count; r++)
                if (parent[r] == r && !rests[r]) islands.Add((k, size[r], (at.X0[r] + at.X1[r] - 1) / 2, at.Row[r]));
        return count;
    }
}
