namespace Stiltwright.Geometry.Layers;

/// <summary>
/// The columns' stretches as layers: stretch r of column Column[r] is solid in layers First[r] up to End[r]. A stretch that
/// no layer's plane meets is not here; stretches whose gap no plane meets are one. ByFirst and ByEnd name the stretches in
/// order of where they begin and end, so that a layer's changes are found at once.
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
    public required int[] FirstAt { get; init; }
    public required int[] ByEnd { get; init; }
    public required int[] EndAt { get; init; }

    /// <summary>The first layer whose plane lies at or above a height: planes stand at (k + 1/2) layer heights.</summary>
    public static int LayerAtOrAbove(double zMm, double layerMm) => Math.Max(0, (int)Math.Ceiling(zMm / layerMm - 0.5));

    public static LayerRuns Of(ColumnRuns runs, double layerMm)
    {
        var n = runs.Grid.Count;
        var start = new int[n + 1];
        var first = new int[runs.Count];
        var end = new int[runs.Count];
        int count = 0, layers = 0;
        var scale = runs.UnitMm;
        for (var c = 0; c < n; c++)
        {
            for (var r = runs.Start[c]; r < runs.Start[c + 1]; r++)
            {
                int k0 = LayerAtOrAbove(runs.Z0[r] * scale, layerMm), k1 = LayerAtOrAbove(runs.Z1[r] * scale, layerMm);
                if (k0 >= k1) continue;
                if (count > start[c] && end[count - 1] == k0) end[count - 1] = k1;
                else
                {
                    first[count] = k0;
                    end[count++] = k1;
                }
                layers = Math.Max(layers, k1);
            }
            start[c + 1] = count;
        }
        Array.Resize(ref first, count);
        Array.Resize(ref end, count);
        var column = new int[count];
        for (var c = 0; c < n; c++)
            for (var r = start[c]; r < start[c + 1]; r++) column[r] = c;
        return new LayerRuns
        {
            Grid = runs.Grid,
            Layers = layers,
            Start = start,
            Column = column,
            First = first,
            End = end,
            ByFirst = Ordered(first, layers, out var firstAt),
            FirstAt = firstAt,
            ByEnd = Ordered(end, layers, out var endAt),
            EndAt = endAt,
        };
    }

    private static int[] Ordered(int[] layer, int layers, out int[] at)
    {
        at = new int[layers + 2];
        foreach (var k in layer) at[k + 1]++;
        for (var k = 0; k <= layers; k++) at[k + 1] += at[k];
        var next = (int[])at.Clone();
        var order = new int[layer.Length];
        for (var r = 0; r < layer.Length; r++) order[next[layer[r]]++] = r;
        return order;
    }

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
