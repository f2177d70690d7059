using System.Numerics;
using System.Runtime.InteropServices;

namespace Stiltwright.Printing.Loads;

/// <content>Many rows at once, four by four, so that each number that is fetched is used four times; both cores.</content>
internal static partial class DenseKernels
{
    private const int Rows = 4;
    private const long WorthTwo = 200_000; // products from which on both cores pay

    /// <summary>Solves L x = b in place for every row of <paramref name="x"/> (<paramref name="rows"/> rows of <paramref name="n"/> numbers).</summary>
    public static void ForwardAll(double[] l, int n, double[] x, int rows) => EachFour(rows, (long)n * n, (from, count) =>
    {
        if (count < Rows)
        {
            for (var r = from; r < from + count; r++) Forward(l, n, n, x.AsSpan(r * n, n));
            return;
        }
        Span<double> a = x.AsSpan(from * n, n), b = x.AsSpan((from + 1) * n, n), c = x.AsSpan((from + 2) * n, n), d = x.AsSpan((from + 3) * n, n);
        for (var i = 0; i < n; i++)
        {
            var row = l.AsSpan(i * n, i);
            Dots(row, a, b, c, d, i, out var pa, out var pb, out var pc, out var pd);
            var diagonal = l[i * n + i];
            (a[i], b[i], c[i], d[i]) = ((a[i] - pa) / diagonal, (b[i] - pb) / diagonal, (c[i] - pc) / diagonal, (d[i] - pd) / diagonal);
        }
    });

    /// <summary>Solves L^T x = b in place for every row of <paramref name="x"/>.</summary>
    public static void BackwardAll(double[] l, int n, double[] x, int rows) => EachFour(rows, (long)n * n, (from, count) =>
    {
        if (count < Rows)
        {
            for (var r = from; r < from + count; r++) Backward(l, n, n, x.AsSpan(r * n, n));
            return;
        }
        Span<double> a = x.AsSpan(from * n, n), b = x.AsSpan((from + 1) * n, n), c = x.AsSpan((from + 2) * n, n), d = x.AsSpan((from + 3) * n, n);
        for (var i = n - 1; i >= 0; i--)
        {
            var diagonal = l[i * n + i];
            (a[i], b[i], c[i], d[i]) = (a[i] / diagonal, b[i] / diagonal, c[i] / diagonal, d[i] / diagonal);
            var row = l.AsSpan(i * n, i);
            AddScaled(-a[i], -b[i], -c[i], row, a, b, c, i);
            AddScaled(-d[i], row, d, i);
        }
    });

    /// <summary>Takes the products of all pairs of rows of <paramref name="z"/> (rows of <paramref name="n"/> numbers) from the lower triangle of a square matrix.</summary>
    public static void TakeProducts(double[] z, int rows, int n, double[] from) => EachFour(rows, (long)rows * n, (i, count) =>
    {
        for (var r = i; r < i + count; r++)
        {
            var own = z.AsSpan(r * n, n);
            var j = 0;
            for (; j + Rows - 1 <= r; j += Rows)
            {
                Dots(own, z.AsSpan(j * n, n), z.AsSpan((j + 1) * n, n), z.AsSpan((j + 2) * n, n), z.AsSpan((j + 3) * n, n), n, out var a, out var b, out var c, out var d);
                var to = from.AsSpan(r * rows + j, Rows);
                (to[0], to[1], to[2], to[3]) = (to[0] - a, to[1] - b, to[2] - c, to[3] - d);
            }
            for (; j <= r; j++) from[r * rows + j] -= Dot(own, z.AsSpan(j * n, n), n);
        }
    });

    // Four dot products with one row.
    private static void Dots(ReadOnlySpan<double> row, ReadOnlySpan<double> a, ReadOnlySpan<double> b, ReadOnlySpan<double> c, ReadOnlySpan<double> d, int n, out double pa, out double pb, out double pc, out double pd)
    {
        var v = MemoryMarshal.Cast<double, Vector<double>>(row[..n]);
        ReadOnlySpan<Vector<double>> va = MemoryMarshal.Cast<double, Vector<double>>(a[..n]), vb = MemoryMarshal.Cast<double, Vector<double>>(b[..n]);
        ReadOnlySpan<Vector<double>> vc = MemoryMarshal.Cast<double, Vector<double>>(c[..n]), vd = MemoryMarshal.Cast<double, Vector<double>>(d[..n]);
        Vector<double> sa = default, sb = default, sc = default, sd = default;
        for (var i = 0; i < v.Length && i < va.Length && i < vb.Length && i < vc.Length && i < vd.Length; i++)
        {
            var x = v[i];
            sa += x * va[i];
            sb += x * vb[i];
            sc += x * vc[i];
            sd += x * vd[i];
        }
        (pa, pb, pc, pd) = (Vector.Sum(sa), Vector.Sum(sb), Vector.Sum(sc), Vector.Sum(sd));
        for (var i = v.Length * Vector<double>.Count; i < n; i++)
        {
            pa += row[i] * a[i];
            pb += row[i] * b[i];
            pc += row[i] * c[i];
            pd += row[i] * d[i];
        }
    }

    private static void EachFour(int rows, long work, Action<int, int> each)
    {
        var groups = (rows + Rows - 1) / Rows;
        void Group(int g) => each(Rows * g, Math.Min(Rows, rows - Rows * g));
        if (rows * work > WorthTwo) Parallel.For(0, groups, Group);
        else
            for (var g = 0; g < groups; g++) Group(g);
    }
}
