namespace Stiltwright.Geometry.Cutting;

/// <summary>
/// A closed surface runs along every edge as often one way as the other. Each edge is given a scrambled 64-bit number, added one way and
/// subtracted the other; the sum is zero for a closed surface, and for an open one with a chance of 2^-64 at most.
/// </summary>
internal static class EdgeSum
{
    public static ulong Of(ReadOnlySpan<int> corners)
    {
        ulong sum = 0;
        for (var i = 0; i < corners.Length; i += 3) sum += Triangle(corners[i], corners[i + 1], corners[i + 2]);
        return sum;
    }

    public static ulong Triangle(int a, int b, int c) => Edge(a, b) + Edge(b, c) + Edge(c, a);

    /// <summary>An edge along which the surface does not balance, or (-1, -1).</summary>
    public static (int A, int B) FirstOpen(ReadOnlySpan<int> corners)
    {
        var count = new Dictionary<(int, int), int>();
        for (var i = 0; i < corners.Length; i += 3)
            for (var k = 0; k < 3; k++)
            {
                int a = corners[i + k], b = corners[i + (k + 1) % 3];
                if (a == b) continue;
                var key = a < b ? (a, b) : (b, a);
                count[key] = count.GetValueOrDefault(key) + (a < b ? 1 : -1);
            }
        var first = (-1, -1);
        foreach (var (edge, n) in count)
            if (n != 0 && (first.Item1 < 0 || edge.CompareTo(first) < 0)) first = edge;
        return first;
    }

    private static ulong Edge(int a, int b)
    {
        if (a == b) return 0;
        return a < b ? Scramble((ulong)(uint)a << 32 | (uint)b) : 0 - Scramble((ulong)(uint)b << 32 | (uint)a);
    }

    // The finaliser of splitmix64 (Steele, Lea, Flood 2014).
    internal static ulong Scramble(ulong x)
    {
        x += 0x9E3779B97F4A7C15;
        x = (x ^ x >> 30) * 0xBF58476D1CE4E5B9;
        x = (x ^ x >> 27) * 0x94D049BB133111EB;
        return x ^ x >> 31;
    }
}
