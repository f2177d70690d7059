namespace Stiltwright.Geometry.Layers;

/// <summary>
/// The columns' stretches as layers: stretch r of column Column[r] is solid in layers First[r] up to End[r]. A stretch that
/// no layer's plane meets is not here; stretches whose gap no plane meets are one. ByFirst names the stretches in order of the
/// layer where they begin, and of their numbers within it; ColumnByFirst and ColumnByEnd are the columns in order of where
/// stretches begin and end, so that a layer's changes are found at once and lie side by side.
/// </summary>
internal sealed class LayerRuns
{
    public required ColumnGrid Grid { get; init; }
    public required int Layers { get; init; }
    public required int[] Start { get; init; }
    public required int[] Column { get; init; }
    public required int[] First { get; init; }
    public required int[] End { get; init; }
    public required int[] ByFirst { get; init; }
    public required int[] ColumnByFirst { get; init; }
    public required int[] FirstAt { get; init; }
    public required int[] ColumnByEnd { get; init; }
    public required int[] EndAt { get; init; }

    /// <summary>The first layer whose plane lies at or above a height: planes stand at (k + 1/2) layer heights.</summary>
    public static int LayerAtOrAbove(double zMm, double layerMm) => Math.Max(0, (int)Math.Ceiling(zMm / layerMm - 0.5));

    public static LayerRuns Of(ColumnRuns runs, double layerMm)
    {
        // Each block of columns writes its stretches close together at the place of its first one; then the blocks are moved together.
        const int columnsAtOnce = 1 << 16;
        var n = runs.Grid.Count;
        var blocks = (n + columnsAtOnce - 1) / columnsAtOnce;
        var start = new int[n + 1];
        int[] from = new int[runs.Count], to = new int[runs.Count];
        int[] counts = new int[blocks + 1], heights = new int[blocks];
        var scale = runs.UnitMm;
        Parallel.For(0, blocks, b =>
        {
            int c0 = b * columnsAtOnce, c1 = Math.Min(n, c0 + columnsAtOnce), first = runs.Start[c0], count = 0, layers = 0;
            for (var c = c0; c < c1; c++)
            {
                var own = count;
                for (var r = runs.Start[c]; r < runs.Start[c + 1]; r++)
                {
                    int k0 = LayerAtOrAbove(runs.Z0[r] * scale, layerMm), k1 = LayerAtOrAbove(runs.Z1[r] * scale, layerMm);
                    if (k0 >= k1) continue;
                    if (count > own && to[first + count - 1] == k0) to[first + count - 1] = k1;
                    else (from[first + count], to[first + count++]) = (k0, k1);
                    layers = Math.Max(layers, k1);
                }
                start[c + 1] = count;
            }
            (counts[b + 1], heights[b]) = (count, layers);
        });
        for (var b = 0; b < blocks; b++) counts[b + 1] += counts[b];
        var height = heights.DefaultIfEmpty(0).Max();
        int[] column = new int[counts[blocks]], firstOf = new int[counts[blocks]], endOf = new int[counts[blocks]];
        Parallel.For(0, blocks, b =>
        {
            int c0 = b * columnsAtOnce, c1 = Math.Min(n, c0 + columnsAtOnce), first = runs.Start[c0], at = counts[b], count = counts[b + 1] - at;
            from.AsSpan(first, count).CopyTo(firstOf.AsSpan(at));
            to.AsSpan(first, count).CopyTo(endOf.AsSpan(at));
            for (int c = c0, r = at; c < c1; c++)
            {
                start[c + 1] += at;
                for (; r < start[c + 1]; r++) column[r] = c;
            }
        });
        int[] byFirst = new int[column.Length], columnByFirst = [], firstAt = [], columnByEnd = [], endAt = [];
        Parallel.Invoke(
            () => columnByFirst = Ordered(firstOf, height, column, byFirst, out firstAt),
            () => columnByEnd = Ordered(endOf, height, column, null, out endAt));
        return new LayerRuns
        {
            Grid = runs.Grid,
            Layers = height,
            Start = start,
            Column = column,
            First = firstOf,
            End = endOf,
            ByFirst = byFirst,
            ColumnByFirst = columnByFirst,
            FirstAt = firstAt,
            ColumnByEnd = columnByEnd,
            EndAt = endAt,
        };
    }

    // The columns of stretches in order of a layer of theirs, and the stretches' numbers where they are asked for.
    private static int[] Ordered(int[] layer, int layers, int[] column, int[]? numbers, out int[] at)
    {
        at = new int[layers + 2];
        foreach (var k in layer) at[k + 1]++;
        for (var k = 0; k <= layers; k++) at[k + 1] += at[k];
        var next = (int[])at.Clone();
        var order = new int[layer.Length];
        for (var r = 0; r < layer.Length; r++)
        {
            var place = next[layer[r]]++;
            order[place] = column[r];
            if (numbers is not null) numbers[place] = r;
        }
        return order;
    }

    /// <summary>The place of a stretch in <see cref="ByFirst"/>.</summary>
    public int PlaceOf(int run) => Array.BinarySearch(ByFirst, FirstAt[First[run]], FirstAt[First[run] + 1] - FirstAt[First[run]], run);

    /// <summary>The stretch of a column that is solid in a layer, or -1.</summary>
    public int RunAt(int column, int layer)
    {
        int lo = Start[column], hi = Start[column + 1];
        while (lo < hi)
        {
            var mid = (lo + hi) >>> 1;
            if (End[mid] > layer) hi = mid;
            else lo = mid + 1;
        }
        return lo < Start[column + 1] && First[lo] <= layer ? lo : -1;
    }
}
