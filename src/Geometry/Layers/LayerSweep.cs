namespace Stiltwright.Geometry.Layers;

/// <summary>
/// Walks a stretch of layers upwards with one bitmap that is changed only where columns begin or end, and records each
/// layer's regions and which of them lie over which of the layer below. Stretches of layers are independent of each other
/// (each starts by reading the layer below its own first one), so they can be walked in any order.
/// </summary>
internal sealed class LayerSweep
{
    private readonly LayerRuns _runs;
    private readonly int _words;
    private readonly ulong[] _bits;
    private readonly int[] _pixelsInRow, _firstWord, _endWord;
    private Slice _below = new(), _slice = new();
    private const int KnownLinks = 1024;
    private readonly long[] _known = new long[KnownLinks];
    private long[] _links = new long[256];
    private int _linkCount;

    public LayerSweep(LayerRuns runs)
    {
        _runs = runs;
        _words = (runs.Grid.Nx + 63) / 64;
        _bits = new ulong[_words * runs.Grid.Ny];
        _pixelsInRow = new int[runs.Grid.Ny];
        _firstWord = new int[runs.Grid.Ny];
        _endWord = new int[runs.Grid.Ny];
        for (var j = 0; j < runs.Grid.Ny; j++)
        {
            int from = runs.Start[j * runs.Grid.Nx], to = runs.Start[(j + 1) * runs.Grid.Nx];
            if (from == to) continue;
            _firstWord[j] = (runs.Column[from] - j * runs.Grid.Nx) >> 6;
            _endWord[j] = ((runs.Column[to - 1] - j * runs.Grid.Nx) >> 6) + 1;
        }
    }

    /// <summary>What one stretch of layers gave: regions and links of all its layers, one after the other.</summary>
    public sealed class Record
    {
        public readonly List<RegionSums> Solids = [], Voids = [];
        /// <summary>Links as (region below, region here), numbered within their layers; sorted by the region here.</summary>
        public readonly List<(int Below, int Here)> SolidLinks = [], VoidLinks = [];
        /// <summary>Numbers of the above, layer by layer.</summary>
        public readonly List<(int Solids, int Voids, int SolidLinks, int VoidLinks)> Counts = [];
    }

    /// <summary>
    /// Walks layers first..end-1. <paramref name="regionByFirst"/> gets, for each stretch that begins there, its region's number in
    /// that layer, in the order of <see cref="LayerRuns.ByFirst"/>.
    /// </summary>
    public Record Walk(int first, int end, int[] regionByFirst, CancellationToken cancel)
    {
        var record = new Record();
        Array.Clear(_bits);
        Array.Clear(_pixelsInRow);
        if (first > 0)
        {
            for (var r = 0; r < _runs.Column.Length; r++)
                if (_runs.First[r] < first && _runs.End[r] >= first) Flip(_runs.Column[r], 1);
        }
        _slice.Read(_bits, _pixelsInRow, _firstWord, _endWord, _words, _runs.Grid.Nx, _runs.Grid.Ny);
        _slice.Label();

        for (var k = first; k < end; k++)
        {
            cancel.ThrowIfCancellationRequested();
            for (var n = _runs.EndAt[k]; n < _runs.EndAt[k + 1]; n++) Flip(_runs.ColumnByEnd[n], -1);
            for (var n = _runs.FirstAt[k]; n < _runs.FirstAt[k + 1]; n++) Flip(_runs.ColumnByFirst[n], 1);
            (_below, _slice) = (_slice, _below);
            _slice.Read(_bits, _pixelsInRow, _firstWord, _endWord, _words, _runs.Grid.Nx, _runs.Grid.Ny);
            _slice.Label();
            _slice.RegionsAt(_runs.ColumnByFirst.AsSpan(_runs.FirstAt[k].._runs.FirstAt[k + 1]), _runs.Grid.Nx, regionByFirst.AsSpan(_runs.FirstAt[k]));
            LinkSolids();
            var solidLinks = Settle(record.SolidLinks);
            // Under the first layer is the platform, which is not the outside.
            if (k > 0) LinkVoids();
            var voidLinks = Settle(record.VoidLinks);
            for (var s = 0; s < _slice.SolidCount; s++) record.Solids.Add(_slice.Solids[s]);
            for (var v = 0; v < _slice.VoidCount; v++) record.Voids.Add(_slice.Voids[v]);
            record.Counts.Add((_slice.SolidCount, _slice.VoidCount, solidLinks, voidLinks));
        }
        return record;
    }

    private void Flip(int column, int change)
    {
        var (y, x) = Math.DivRem(column, _runs.Grid.Nx);
        _bits[y * _words + (x >> 6)] ^= 1UL << (x & 63);
        _pixelsInRow[y] += change;
    }

    private void LinkSolids()
    {
        int lo = Math.Max(_below.RowLo, _slice.RowLo), hi = Math.Min(_below.RowHi, _slice.RowHi);
        for (var j = lo; j < hi; j++)
        {
            int a = _slice.RowStart[j], aEnd = _slice.RowStart[j + 1], b = _below.RowStart[j], bEnd = _below.RowStart[j + 1];
            while (a < aEnd && b < bEnd)
            {
                int a1 = _slice.X1[a], b1 = _below.X1[b];
                var shared = Math.Min(a1, b1) - Math.Max(_slice.X0[a], _below.X0[b]);
                if (shared > 0)
                {
                    _slice.Solids[_slice.Region[a]].Resting += shared;
                    Link(_below.Region[b], _slice.Region[a]);
                }
                if (a1 < b1) a++;
                else b++;
            }
        }
    }

    private void LinkVoids()
    {
        for (var j = _slice.RowLo; j < _slice.RowHi; j++)
        {
            int a = _slice.RowStart[j], last = _slice.RowStart[j + 1] - 1;
            int b = 0, belowLast = -1;
            if (j >= _below.RowLo && j < _below.RowHi) (b, belowLast) = (_below.RowStart[j], _below.RowStart[j + 1] - 1);
            for (; a < last; a++)
            {
                int a0 = _slice.X1[a], a1 = _slice.X0[a + 1], here = _slice.Void[a];
                if (b > belowLast || a0 < _below.X0[_below.RowStart[j]] || a1 > _below.X1[belowLast]) Link(Slice.Outside, here);
                // Gaps rise along the row in both layers; a gap below that ends in this gap cannot reach the next one.
                while (b < belowLast && _below.X0[b + 1] <= a0) b++;
                for (var g = b; g < belowLast && _below.X1[g] < a1; g++) Link(_below.Void[g], here);
            }
        }
        // What was enclosed below and has only the open around its row above.
        for (var j = _below.RowLo; j < _below.RowHi; j++)
        {
            int b = _below.RowStart[j], belowLast = _below.RowStart[j + 1] - 1;
            int firstX = int.MaxValue, lastX = int.MaxValue;
            if (j >= _slice.RowLo && j < _slice.RowHi && _slice.RowStart[j] < _slice.RowStart[j + 1])
                (firstX, lastX) = (_slice.X0[_slice.RowStart[j]], _slice.X1[_slice.RowStart[j + 1] - 1]);
            for (; b < belowLast; b++)
                if (_below.Void[b] != Slice.Outside && (_below.X1[b] < firstX || _below.X0[b + 1] > lastX)) Link(_below.Void[b], Slice.Outside);
        }
    }

    /// <summary>Notes a link; outside to outside says nothing.</summary>
    private void Link(int below, int here)
    {
        if (below == Slice.Outside && here == Slice.Outside) return;
        var link = (long)(here + 1) << 32 | (uint)(below + 1);
        // Most runs of a region say the same as others before them.
        ref var known = ref _known[(uint)(here * 31 + below) % KnownLinks];
        if (known == link) return;
        known = link;
        if (_linkCount == _links.Length) Array.Resize(ref _links, 2 * _linkCount);
        _links[_linkCount++] = link;
    }

    private int Settle(List<(int Below, int Here)> into)
    {
        var links = _links.AsSpan(0, _linkCount);
        links.Sort();
        var count = 0;
        for (var n = 0; n < links.Length; n++)
        {
            if (n > 0 && links[n] == links[n - 1]) continue;
            into.Add(((int)(links[n] & 0xffffffff) - 1, (int)(links[n] >> 32) - 1));
            count++;
        }
        _linkCount = 0;
        Array.Clear(_known);
        return count;
    }
}
