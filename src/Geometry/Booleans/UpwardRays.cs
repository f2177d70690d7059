using System.Numerics;
using Stiltwright.Geometry.Exact;

namespace Stiltwright.Geometry.Booleans;

/// <summary>A place (X/W, Y/W, Z/W), W above zero, kept exactly, with doubles for quick looks.</summary>
internal readonly record struct ExactSample(BigInteger X, BigInteger Y, BigInteger Z, BigInteger W)
{
    public double NearX { get; } = Near(X, W);

    public double NearY { get; } = Near(Y, W);

    public double NearZ { get; } = Near(Z, W);

    private static double Near(BigInteger v, BigInteger w) => (double)(long)BigInteger.Divide(v << 24, w) / (1 << 24);
}

/// <summary>
/// Winding numbers of both operands just above exact places, by rays straight up; facets through the place itself do not count. A ray through
/// an edge counts as moved by an infinitely small step along y and a much smaller one along x, as everywhere in this kernel.
/// </summary>
internal static class UpwardRays
{
    // More than the error of the doubles of a place, units.
    private const double Slack = 1e-6;

    public static (int A, int B)[] Count(BooleanFacets facets, ExactSample[] samples)
    {
        var counts = new (int A, int B)[samples.Length];
        var order = Enumerable.Range(0, samples.Length).ToArray();
        var xs = samples.Select(s => s.NearX).ToArray();
        Array.Sort(xs, order);
        int[] x = facets.Xyz, c = facets.Corners;
        Ranges.For(facets.Count, (_, from, to) =>
        {
            for (var f = from; f < to; f++)
            {
                int p = 3 * c[3 * f], q = 3 * c[3 * f + 1], r = 3 * c[3 * f + 2];
                double x0 = Math.Min(x[p], Math.Min(x[q], x[r])) - Slack, x1 = Math.Max(x[p], Math.Max(x[q], x[r])) + Slack;
                var first = Array.BinarySearch(xs, x0);
                if (first < 0) first = ~first;
                while (first > 0 && xs[first - 1] >= x0) first--;
                if (first == xs.Length || xs[first] > x1) continue;
                double y0 = Math.Min(x[p + 1], Math.Min(x[q + 1], x[r + 1])) - Slack, y1 = Math.Max(x[p + 1], Math.Max(x[q + 1], x[r + 1])) + Slack;
                double z1 = Math.Max(x[p + 2], Math.Max(x[q + 2], x[r + 2])) + Slack;
                for (var j = first; j < xs.Length && xs[j] <= x1; j++)
                {
                    ref readonly var s = ref samples[order[j]];
                    if (s.NearY < y0 || s.NearY > y1 || s.NearZ > z1) continue;
                    var turn = Around(x, p, q, s) + Around(x, q, r, s) + Around(x, r, p, s);
                    if (turn == 0) continue;
                    var side = Side(x, p, q, r, s);
                    if (side == 0 || side == turn) continue; // through the place, or below it
                    lock (counts)
                    {
                        if (f < facets.FirstOfB) counts[order[j]].A += turn;
                        else counts[order[j]].B += turn;
                    }
                }
            }
        });
        return counts;
    }

    private static bool AtOrBelow(int y, in ExactSample s)
    {
        var d = y - s.NearY;
        return Math.Abs(d) > Slack ? d < 0 : y * s.W <= s.Y;
    }

    private static int Around(int[] x, int a, int b, in ExactSample s)
    {
        bool low = AtOrBelow(x[a + 1], s), high = AtOrBelow(x[b + 1], s);
        if (low == high) return 0;
        double bx = (double)x[b] - x[a], by = (double)x[b + 1] - x[a + 1];
        double l = bx * (s.NearY - x[a + 1]), r = by * (s.NearX - x[a]);
        int side;
        if (Math.Abs(l - r) > Slack * (Math.Abs(bx) + Math.Abs(by)) + 1e-15 * (Math.Abs(l) + Math.Abs(r))) side = Math.Sign(l - r);
        else side = (((long)x[b] - x[a]) * (s.Y - x[a + 1] * s.W) - ((long)x[b + 1] - x[a + 1]) * (s.X - x[a] * s.W)).Sign;
        if (side == 0) side = x[b] != x[a] ? Math.Sign(x[b] - x[a]) : -Math.Sign(x[b + 1] - x[a + 1]);
        return low ? (side > 0 ? 1 : 0) : (side < 0 ? -1 : 0);
    }

    private static int Side(int[] x, int a, int b, int c, in ExactSample s)
    {
        var (nx, ny, nz) = Predicates.Normal(x, a, b, c);
        return (nx * (s.X - x[a] * s.W) + ny * (s.Y - x[a + 1] * s.W) + nz * (s.Z - x[a + 2] * s.W)).Sign;
    }
}
