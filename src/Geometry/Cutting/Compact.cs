namespace Stiltwright.Geometry.Cutting;

/// <summary>Leaves out vertices that no triangle uses; the order of the others stays.</summary>
internal static class Compact
{
    /// <summary>Vertices are the old ones, then the new ones. Takes over the array of corners.</summary>
    public static Mesh Used(Lattice lattice, int[] old, int[] made, int[] corners)
    {
        int first = old.Length / 3, vertices = first + made.Length / 3;
        var used = new bool[vertices];
        Ranges.For(corners.Length, (_, from, to) =>
        {
            for (var i = from; i < to; i++) used[corners[i]] = true;
        });
        var starts = new int[Ranges.Count(vertices) + 1];
        Ranges.For(vertices, (r, from, to) => starts[r + 1] = used.AsSpan(from, to - from).Count(true));
        for (var r = 1; r < starts.Length; r++) starts[r] += starts[r - 1];
        var map = GC.AllocateUninitializedArray<int>(vertices);
        var packed = GC.AllocateUninitializedArray<int>(3 * starts[^1]);
        Ranges.For(vertices, (r, from, to) =>
        {
            var n = starts[r];
            for (var v = from; v < to; v++)
            {
                map[v] = n;
                if (!used[v]) continue;
                var (xyz, at) = v < first ? (old, 3 * v) : (made, 3 * (v - first));
                (packed[3 * n], packed[3 * n + 1], packed[3 * n + 2]) = (xyz[at], xyz[at + 1], xyz[at + 2]);
                n++;
            }
        });
        if (starts[^1] < vertices) Ranges.For(corners.Length, (_, from, to) =>
        {
            for (var i = from; i < to; i++) corners[i] = map[corners[i]];
        });
        return new Mesh(lattice, packed, corners);
    }
}
