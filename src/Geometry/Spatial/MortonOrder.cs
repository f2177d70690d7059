namespace Stiltwright.Geometry.Spatial;

/// <summary>
/// Puts places in space in the order of a curve that keeps neighbours together (Morton 1966): the bits of the three coordinates
/// interleaved, eleven each, sorted by counting. Equal keys keep the order of their numbers, so the result is the same for any
/// number of threads.
/// </summary>
internal static class MortonOrder
{
    /// <summary>Bits of the number of a thing, below those of its key.</summary>
    internal const int IndexBits = 28;
    internal const int Most = 1 << IndexBits;
    private const int Digit = 12;
    private const int Buckets = 1 << Digit;

    /// <summary>The three coordinates (0 .. 2047) interleaved, x lowest: 33 bits.</summary>
    internal static ulong Code(int x, int y, int z) => Spread(x) | Spread(y) << 1 | Spread(z) << 2;

    private static ulong Spread(int v)
    {
        var s = (ulong)v;
        s = (s | s << 32) & 0x001F00000000FFFF;
        s = (s | s << 16) & 0x001F0000FF0000FF;
        s = (s | s << 8) & 0x100F00F00F00F00F;
        s = (s | s << 4) & 0x10C30C30C30C30C3;
        return (s | s << 2) & 0x1249249249249249;
    }

    /// <summary>Points in curve order: their numbers.</summary>
    internal static int[] Of(Vec3[] points, int maxThreads)
    {
        Vec3 low = new(double.PositiveInfinity, double.PositiveInfinity, double.PositiveInfinity), high = -low;
        foreach (var p in points)
        {
            low = Vec3.Min(low, p);
            high = Vec3.Max(high, p);
        }
        var span = Math.Max(high.X - low.X, Math.Max(high.Y - low.Y, high.Z - low.Z));
        var scale = span > 0 && double.IsFinite(span) ? 2047.99 / span : 0;
        var keys = new ulong[points.Length];
        for (var i = 0; i < keys.Length; i++)
        {
            var p = points[i] - low;
            keys[i] = Code(Cell(p.X), Cell(p.Y), Cell(p.Z)) << IndexBits | (uint)i;
        }
        keys = Sorted(keys, maxThreads);
        return Array.ConvertAll(keys, k => (int)(k & (Most - 1)));

        // Points that are no numbers go first.
        int Cell(double v) => v * scale is var c && c >= 0 && c < 2048 ? (int)c : 0;
    }

    /// <summary>Keys above <see cref="IndexBits"/> bits of number, sorted by the keys alone.</summary>
    internal static ulong[] Sorted(ulong[] keys, int maxThreads)
    {
        var n = keys.Length;
        if (n < 2) return keys;
        var blocks = Math.Clamp(n / 65536, 1, 16);
        var counts = new int[blocks * Buckets];
        ulong[] from = keys, to = new ulong[n];
        for (var shift = IndexBits; shift < 64; shift += Digit)
        {
            Array.Clear(counts);
            ulong[] source = from, target = to;
            var by = shift;
            Parallel.For(0, blocks, TriangleTree.Threads(maxThreads), b =>
            {
                var count = counts.AsSpan(b * Buckets, Buckets);
                foreach (var k in source.AsSpan(Start(b), Start(b + 1) - Start(b))) count[(int)(k >> by) & (Buckets - 1)]++;
            });
            var at = 0;
            for (var d = 0; d < Buckets; d++)
                for (var b = 0; b < blocks; b++)
                {
                    ref var c = ref counts[b * Buckets + d];
                    (c, at) = (at, at + c);
                }
            Parallel.For(0, blocks, TriangleTree.Threads(maxThreads), b =>
            {
                var place = counts.AsSpan(b * Buckets, Buckets);
                foreach (var k in source.AsSpan(Start(b), Start(b + 1) - Start(b))) target[place[(int)(k >> by) & (Buckets - 1)]++] = k;
            });
            (from, to) = (to, from);
        }
        return from;

        int Start(int b) => (int)((long)n * b / blocks);
    }
}
