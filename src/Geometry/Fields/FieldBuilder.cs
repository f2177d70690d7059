using System.Runtime.CompilerServices;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Fields;

/// <summary>
/// Fills a <see cref="BrickField"/> with lower bounds of the depth below the outer surface: exact distances at all nodes near the
/// level, and away from it bounds that follow from a known neighbour, because a distance changes by at most the way walked.
/// </summary>
internal sealed class FieldBuilder
{
    /// <summary>Taken off every distance: more than all rounding (single precision, lattice, divided facets) together, mm.</summary>
    internal const double SlackMm = 5e-5;

    private readonly NodeGrid _grid;
    private readonly NodeColumns _columns;
    private readonly TriangleTree _border;
    private readonly KeptSolid _kept;
    private readonly double _low, _high;
    private readonly float _guardLow, _guardHigh;

    /// <param name="low">Nodes that are proven to lie below this need no value.</param>
    /// <param name="high">Nodes that are proven to lie above this need no exact value.</param>
    /// <param name="level">The level to be cut: no value may lie nearer to it than a fiftieth of a cell.</param>
    internal FieldBuilder(NodeGrid grid, NodeColumns columns, TriangleTree border, KeptSolid kept, double low, double high, double level)
    {
        _grid = grid;
        _columns = columns;
        _border = border;
        _kept = kept;
        _low = low;
        _high = high;
        _guardLow = (float)(level - 0.02 * grid.Cell);
        _guardHigh = (float)(level + 0.02 * grid.Cell);
    }

    internal BrickField Run(int maxThreads, CancellationToken cancel)
    {
        var options = new ParallelOptions { MaxDegreeOfParallelism = TriangleTree.Threads(maxThreads).MaxDegreeOfParallelism, CancellationToken = cancel };
        const int top = 8;
        int tx = (_grid.Bx + top - 1) / top, ty = (_grid.By + top - 1) / top, tz = (_grid.Bz + top - 1) / top;
        var index = new int[_grid.Bx * _grid.By * _grid.Bz];
        var found = new List<(int X, int Y, int Z, double Distance, int Place)>[tx * ty * tz];
        Parallel.For(0, found.Length, options, i =>
        {
            found[i] = [];
            Classify(i % tx * top, i / tx % ty * top, i / (tx * ty) * top, top, -1, index, found[i]);
        });
        var bricks = found.SelectMany(f => f).ToArray();
        for (var b = 0; b < bricks.Length; b++) index[(bricks[b].Z * _grid.By + bricks[b].Y) * _grid.Bx + bricks[b].X] = b;
        return new BrickField(_grid, index, Array.ConvertAll(bricks, b => (b.X, b.Y, b.Z)), (float)_high,
            (b, values) => Fill(bricks[b].X, bricks[b].Y, bricks[b].Z, bricks[b].Distance, bricks[b].Place, values), options);
    }

    // A cube of size^3 bricks: below, above, or to be looked at more closely.
    private void Classify(int bx, int by, int bz, int size, int seed, int[] index, List<(int, int, int, double, int)> found)
    {
        if (bx >= _grid.Bx || by >= _grid.By || bz >= _grid.Bz) return;
        const int n = NodeGrid.Brick;
        // The middle node, and how far the farthest node of the cube lies from it.
        int i = bx * n + size * n / 2, j = by * n + size * n / 2, k = bz * n + size * n / 2;
        var centre = _grid.At(i, j, k);
        var reach = size * n / 2 * Math.Sqrt(3) * _grid.Cell;
        var kept = _kept.At(centre);
        var side = 0;
        var distance = double.PositiveInfinity;
        if (kept + reach < _low) side = BrickField.AllBelow;
        else
        {
            distance = Distance(centre, double.PositiveInfinity, ref seed);
            if (distance + reach < _low) side = BrickField.AllBelow;
            else if (distance - reach > _high)
            {
                // No border within: one node of the cube speaks for all.
                var inside = _columns.Winding(bx * n, by * n, bz * n) >= 1;
                if (!inside) side = BrickField.AllBelow;
                else if (kept - reach > _high) side = BrickField.AllAbove;
            }
        }
        if (side != 0)
        {
            for (var z = bz; z < Math.Min(bz + size, _grid.Bz); z++)
                for (var y = by; y < Math.Min(by + size, _grid.By); y++)
                    for (var x = bx; x < Math.Min(bx + size, _grid.Bx); x++) index[(z * _grid.By + y) * _grid.Bx + x] = side;
            return;
        }
        if (size == 1)
        {
            found.Add((bx, by, bz, distance, seed));
            return;
        }
        var half = size / 2;
        for (var c = 0; c < 8; c++) Classify(bx + (c & 1) * half, by + (c >> 1 & 1) * half, bz + (c >> 2) * half, half, seed, index, found);
    }

    // Distance to the border. Seed is a place of its tree known to be near (or -1); it becomes that of the nearest facet.
    private double Distance(Vec3 p, double within, ref int seed)
    {
        var best2 = within * within;
        var place = _border.ClosestPlace(p, null, ref best2, seed);
        if (place < 0) return double.PositiveInfinity;
        seed = place;
        return Math.Sqrt(best2);
    }

    [SkipLocalsInit]
    private void Fill(int bx, int by, int bz, double centreDistance, int centrePlace, Span<float> values)
    {
        const int n = NodeGrid.Brick;
        // What is known of each node's distance: [near, far].
        Span<double> near = stackalloc double[512];
        Span<double> far = stackalloc double[512];
        Span<int> places = stackalloc int[512];
        Span<bool> inside = stackalloc bool[512];
        for (var j = 0; j < n; j++)
            for (var i = 0; i < n; i++) _columns.Inside(bx * n + i, by * n + j, bz * n, inside[(j << 3 | i)..]);
        const int centre = 4 << 6 | 4 << 3 | 4;
        var kept = _kept.Near(_grid.At(bx * n + 4, by * n + 4, bz * n + 4), 4 * Math.Sqrt(3) * _grid.Cell + _high);
        for (var stride = 4; stride >= 1; stride /= 2)
            for (var k = 0; k < n; k += stride)
                for (var j = 0; j < n; j += stride)
                    for (var i = 0; i < n; i += stride)
                    {
                        if (stride < 4 && (i | j | k) % (2 * stride) == 0) continue;
                        var at = k << 6 | j << 3 | i;
                        double lo, hi;
                        if (stride == 4)
                        {
                            var way = Math.Sqrt((i - 4) * (i - 4) + (j - 4) * (j - 4) + (k - 4) * (k - 4)) * _grid.Cell;
                            (lo, hi) = (centreDistance - way, centreDistance + way);
                        }
                        else (lo, hi) = FromNeighbours(near, far, i, j, k, stride);
                        // The coarser node below was done before and lies near.
                        var seed = stride == 4 ? centrePlace : places[(k & -2 * stride) << 6 | (j & -2 * stride) << 3 | i & -2 * stride];
                        double term = inside[at] ? kept.At(_grid.At(bx * n + i, by * n + j, bz * n + k)) : Below;
                        if (!inside[at]) values[at] = Below;
                        else if (hi < _low || term < _low) values[at] = Below;
                        else if (lo > _high && term > _high) values[at] = (float)Math.Min(lo, term);
                        else
                        {
                            // Beyond the larger of the two the distance is not needed.
                            if (lo <= _high)
                            {
                                var d = at == centre ? centreDistance
                                    : Distance(_grid.At(bx * n + i, by * n + j, bz * n + k), hi + 1e-6, ref seed);
                                lo = hi = Math.Min(d, hi);
                            }
                            var f = (float)(Math.Min(lo, term) - SlackMm);
                            values[at] = f > _guardLow && f < _guardHigh ? _guardLow : f;
                        }
                        near[at] = lo;
                        far[at] = hi;
                        places[at] = seed;
                    }
    }

    private const float Below = BrickField.Below;

    // What the corners of the coarser cell around a node say, as far as they lie within the brick. They differ from the node in the
    // axes in which it lies between them, by one stride each, so all are equally far away.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private (double, double) FromNeighbours(Span<double> near, Span<double> far, int i, int j, int k, int stride)
    {
        var coarse = 2 * stride;
        int i0 = i & -coarse, j0 = j & -coarse, k0 = k & -coarse, i1 = i == i0 ? i : i0 + coarse, j1 = j == j0 ? j : j0 + coarse, k1 = k == k0 ? k : k0 + coarse;
        var axes = (i == i0 ? 0 : 1) + (j == j0 ? 0 : 1) + (k == k0 ? 0 : 1);
        double lo = double.NegativeInfinity, hi = double.PositiveInfinity;
        for (var z = k0; z <= Math.Min(k1, 7); z += coarse)
            for (var y = j0; y <= Math.Min(j1, 7); y += coarse)
                for (var x = i0; x <= Math.Min(i1, 7); x += coarse)
                {
                    var at = z << 6 | y << 3 | x;
                    if (near[at] > lo) lo = near[at];
                    if (far[at] < hi) hi = far[at];
                }
        var way = stride * _grid.Cell * (axes == 1 ? 1 : axes == 2 ? Root2 : Root3);
        return (lo - way, hi + way);
    }

    private const double Root2 = 1.4142135623730952, Root3 = 1.7320508075688774;
}
