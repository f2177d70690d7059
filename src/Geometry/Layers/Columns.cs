namespace Stiltwright.Geometry.Layers;

/// <summary>A mesh that goes into the columns, under a group number of 0..63 (figure, struts, raft, cavity, ...).</summary>
/// <param name="Mesh">Closed shells, outside facing out; a hollow is a shell turned inside out.</param>
/// <param name="Group">Group number, 0..63.</param>
public sealed record ColumnPart(Mesh Mesh, byte Group);

/// <summary>
/// The one model of what will be printed: for every column of a grid the heights at which surfaces cross it. Solid is where
/// the winding number of the shells is 1 or more, so overlapping shells count once and a cavity's shell takes away.
/// Crossings are exact in x and y; heights are rounded to the finest lattice of the parts. Sampling at the column axes is
/// the only error: a midpoint rule of the pitch.
/// </summary>
public sealed partial class Columns
{
    /// <summary>A mask that takes every group.</summary>
    public const ulong AllGroups = ulong.MaxValue;

    /// <summary>Void stretches up to this many units (30 nm on the finest lattice) are rounding of two crossings, not gaps.</summary>
    private const int GapUnits = 2;

    private readonly int[] _start;
    private readonly int[] _items;
    private readonly byte[] _groups;
    private readonly int _workers;
    private readonly WeakReference<AskedRuns> _asked = new(null!);

    /// <summary>The stretches asked for last; volume, mass and layers ask for the same ones one after the other.</summary>
    private sealed record AskedRuns(ulong Groups, int Least, ColumnRuns Runs);

    private Columns(ColumnGrid grid, Lattice heights, int[] start, int[] items, byte[] groups, int workers)
    {
        (Grid, Heights, _start, _items, _groups, _workers) = (grid, heights, start, items, groups, workers);
        foreach (var g in groups) Groups |= 1UL << g;
    }

    /// <summary>The grid of the columns.</summary>
    public ColumnGrid Grid { get; }

    /// <summary>The lattice of the heights: the finest of the parts'.</summary>
    public Lattice Heights { get; }

    /// <summary>Groups that cross any column, one bit each.</summary>
    public ulong Groups { get; }

    /// <summary>Number of crossings held.</summary>
    public int CrossingCount => _items.Length;

    /// <summary>
    /// Columns in which a group enters and leaves unequally often: there the group's surface is open. A stretch that never
    /// ends is left out of the solid, so a reader must say where this is not 0.
    /// </summary>
    public int OpenColumns { get; private set; }

    /// <summary>The mask of one group.</summary>
    public static ulong MaskOf(params ReadOnlySpan<byte> groups)
    {
        var mask = 0UL;
        foreach (var g in groups) mask |= 1UL << g;
        return mask;
    }

    /// <summary>Builds the columns of some parts.</summary>
    /// <param name="parts">Meshes with their groups; every one inside the grid.</param>
    /// <param name="grid">The grid, best from <see cref="ColumnGrid.Covering"/>.</param>
    /// <param name="cancel">Stops the work.</param>
    /// <param name="workers">Threads to use, 0 for all cores; the result is the same for any number.</param>
    /// <exception cref="ArgumentException">A part lies outside the grid, or a group number is above 63.</exception>
    public static Columns Build(IReadOnlyList<ColumnPart> parts, ColumnGrid grid, CancellationToken cancel, int workers = 0)
    {
        const int rowsPerStrip = 32;
        var strips = (grid.Ny + rowsPerStrip - 1) / rowsPerStrip;
        var heights = new Lattice(0);
        foreach (var p in parts)
        {
            if (p.Group > 63) throw new ArgumentException($"Group {p.Group} is above 63.", nameof(parts));
            if (p.Mesh.TriangleCount == 0) continue;
            var b = p.Mesh.Bounds;
            if (b.Min.X < grid.X0 || b.Min.Y < grid.Y0 || b.Max.X > grid.X0 + grid.Nx * grid.PitchMm || b.Max.Y > grid.Y0 + grid.Ny * grid.PitchMm)
                throw new ArgumentException($"A part of group {p.Group} between {b.Min} and {b.Max} mm does not lie inside the grid of columns.", nameof(parts));
            if (p.Mesh.Lattice.Exponent > heights.Exponent) heights = p.Mesh.Lattice;
        }
        var rasters = parts.Select(p => new ColumnRaster(p.Mesh, grid, rowsPerStrip, strips)).ToArray();
        var threads = Threads(workers);
        var options = new ParallelOptions { MaxDegreeOfParallelism = threads, CancellationToken = cancel };

        // counts[c + 2] -> after the sum, next[c + 1] is where column c starts -> after filling, where it ends.
        var start = new int[grid.Count + 2];
        Parallel.For(0, strips, options, s =>
        {
            foreach (var r in rasters) r.Count(s, start, 2, grid.Nx);
        });
        long total = 0;
        for (var c = 2; c < start.Length; c++)
        {
            total += start[c];
            if (total > int.MaxValue / 2) throw new ArgumentException("The parts cross the columns more than a thousand million times; choose a coarser pitch.", nameof(grid));
            start[c] = (int)total;
        }
        var items = new int[total];
        var groups = new byte[total];
        Parallel.For(0, strips, options, s =>
        {
            for (var p = 0; p < rasters.Length; p++)
                rasters[p].Fill(s, start, 1, grid.Nx, items, groups, parts[p].Group, (double)heights.UnitsPerMm / parts[p].Mesh.Lattice.UnitsPerMm);
        });
        var columns = new Columns(grid, heights, start, items, groups, threads);
        columns.SortAll(options);
        return columns;
    }

    /// <summary>These columns with more parts in them: only the new parts are rasterised.</summary>
    /// <exception cref="ArgumentException">A part lies outside the grid or on a finer lattice than the heights here.</exception>
    public Columns With(IReadOnlyList<ColumnPart> more, CancellationToken cancel)
    {
        foreach (var p in more)
            if (p.Mesh.Lattice.Exponent > Heights.Exponent)
                throw new ArgumentException("A part lies on a finer lattice than the columns it is added to.", nameof(more));
        var added = Build(more, Grid, cancel, _workers);
        var scale = Heights.UnitsPerMm / added.Heights.UnitsPerMm;
        var start = new int[_start.Length];
        for (var c = 0; c < start.Length; c++) start[c] = _start[c] + added._start[c];
        var items = new int[_items.Length + added._items.Length];
        var groups = new byte[items.Length];
        var options = new ParallelOptions { MaxDegreeOfParallelism = _workers, CancellationToken = cancel };
        Parallel.For(0, Grid.Ny, options, j =>
        {
            for (var c = j * Grid.Nx; c < (j + 1) * Grid.Nx; c++)
            {
                var at = start[c];
                for (var k = _start[c]; k < _start[c + 1]; k++, at++) (items[at], groups[at]) = (_items[k], _groups[k]);
                for (var k = added._start[c]; k < added._start[c + 1]; k++, at++)
                    (items[at], groups[at]) = (((added._items[k] >> 1) * scale << 1) | (added._items[k] & 1), added._groups[k]);
            }
        });
        var columns = new Columns(Grid, Heights, start, items, groups, _workers);
        columns.SortAll(options);
        return columns;
    }

    /// <summary>
    /// The solid of some groups: stretches with winding number <paramref name="least"/> or more, counting only their shells.
    /// </summary>
    /// <param name="groups">One bit a group; all by default.</param>
    /// <param name="least">Least winding number that counts as solid; 2 shows where shells overlap.</param>
    public ColumnRuns Runs(ulong groups = AllGroups, int least = 1)
    {
        ArgumentOutOfRangeException.ThrowIfLessThan(least, 1);
        groups &= Groups;
        if (_asked.TryGetTarget(out var asked) && asked.Groups == groups && asked.Least == least) return asked.Runs;
        var n = Grid.Count;
        var start = new int[n + 1];
        var options = new ParallelOptions { MaxDegreeOfParallelism = _workers };
        Parallel.For(0, Grid.Ny, options, j =>
        {
            for (var c = j * Grid.Nx; c < (j + 1) * Grid.Nx; c++) start[c + 1] = Stretches(c, groups, least, [], []);
        });
        for (var c = 0; c < n; c++) start[c + 1] += start[c];
        var z0 = new int[start[n]];
        var z1 = new int[start[n]];
        Parallel.For(0, Grid.Ny, options, j =>
        {
            for (var c = j * Grid.Nx; c < (j + 1) * Grid.Nx; c++)
            {
                var count = start[c + 1] - start[c];
                if (count > 0) Stretches(c, groups, least, z0.AsSpan(start[c], count), z1.AsSpan(start[c], count));
            }
        });
        var runs = new ColumnRuns(Grid, Heights.UnitMm, start, z0, z1);
        _asked.SetTarget(new AskedRuns(groups, least, runs));
        return runs;
    }

    /// <summary>Writes (where there is room) and counts a column's solid stretches; gaps that are mere rounding are closed.</summary>
    private int Stretches(int column, ulong groups, int least, Span<int> z0, Span<int> z1)
    {
        int count = 0, w = 0, from = 0, openFrom = 0, openTo = 0;
        var open = false;
        for (var k = _start[column]; k < _start[column + 1]; k++)
        {
            if ((groups >> _groups[k] & 1) == 0) continue;
            var z = _items[k] >> 1;
            if ((_items[k] & 1) == 0)
            {
                if (++w == least) from = z;
            }
            else if (w-- == least && z > from)
            {
                if (open && from - openTo <= GapUnits)
                {
                    openTo = z;
                    continue;
                }
                if (open) Put(z0, z1, count++, openFrom, openTo);
                (open, openFrom, openTo) = (true, from, z);
            }
        }
        if (open) Put(z0, z1, count++, openFrom, openTo);
        return count;
    }

    private static void Put(Span<int> z0, Span<int> z1, int at, int from, int to)
    {
        if (z0.Length == 0) return;
        z0[at] = from;
        z1[at] = to;
    }

    /// <summary>Orders every column by height, entering before leaving, then by group, and counts the open columns.</summary>
    private void SortAll(ParallelOptions options)
    {
        var openInRow = new int[Grid.Ny];
        Parallel.For(0, Grid.Ny, options, j =>
        {
            Span<int> sums = stackalloc int[64];
            for (var c = j * Grid.Nx; c < (j + 1) * Grid.Nx; c++)
            {
                int from = _start[c], to = _start[c + 1];
                if (from == to) continue;
                for (var k = from + 1; k < to; k++)
                {
                    var item = _items[k];
                    var group = _groups[k];
                    var h = k - 1;
                    while (h >= from && (_items[h] > item || (_items[h] == item && _groups[h] > group)))
                    {
                        (_items[h + 1], _groups[h + 1]) = (_items[h], _groups[h]);
                        h--;
                    }
                    (_items[h + 1], _groups[h + 1]) = (item, group);
                }
                for (var k = from; k < to; k++) sums[_groups[k]] += 1 - 2 * (_items[k] & 1);
                var open = false;
                for (var k = from; k < to; k++)
                {
                    open |= sums[_groups[k]] != 0;
                    sums[_groups[k]] = 0;
                }
                if (open) openInRow[j]++;
            }
        });
        OpenColumns = openInRow.Sum();
    }

    /// <summary>Threads for a wish of so many workers; 0 means every core.</summary>
    internal static int Threads(int workers) => workers > 0 ? workers : Environment.ProcessorCount;

    /// <summary>Threads this model was built with.</summary>
    internal int Workers => _workers;
}
