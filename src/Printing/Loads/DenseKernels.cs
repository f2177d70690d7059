using System.Numerics;
using System.Runtime.InteropServices;

namespace Stiltwright.Printing.Loads;

/// <summary>
/// Dense linear algebra on flat row-major arrays, vectorised and in a fixed order, so that results are the same for any
/// number of threads.
/// </summary>
internal static partial class DenseKernels
{
    private const int Block = 48;

    /// <summary>Dot product of the first <paramref name="n"/> numbers.</summary>
    public static double Dot(ReadOnlySpan<double> a, ReadOnlySpan<double> b, int n)
    {
        var va = MemoryMarshal.Cast<double, Vector<double>>(a[..n]);
        var vb = MemoryMarshal.Cast<double, Vector<double>>(b[..n]);
        Vector<double> s0 = default, s1 = default;
        var i = 0;
        for (; i + 1 < va.Length; i += 2) { s0 += va[i] * vb[i]; s1 += va[i + 1] * vb[i + 1]; }
        for (; i < va.Length; i++) s0 += va[i] * vb[i];
        var sum = Vector.Sum(s0 + s1);
        for (var k = va.Length * Vector<double>.Count; k < n; k++) sum += a[k] * b[k];
        return sum;
    }

    /// <summary>y += k x for the first <paramref name="n"/> numbers.</summary>
    public static void AddScaled(double k, ReadOnlySpan<double> x, Span<double> y, int n)
    {
        var vx = MemoryMarshal.Cast<double, Vector<double>>(x[..n]);
        var vy = MemoryMarshal.Cast<double, Vector<double>>(y[..n]);
        var vk = new Vector<double>(k);
        for (var i = 0; i < vx.Length; i++) vy[i] += vk * vx[i];
        for (var i = vx.Length * Vector<double>.Count; i < n; i++) y[i] += k * x[i];
    }

    /// <summary>y += k x for three sums at once, for the first <paramref name="n"/> numbers.</summary>
    public static void AddScaled(double ka, double kb, double kc, ReadOnlySpan<double> x, Span<double> ya, Span<double> yb, Span<double> yc, int n)
    {
        var vx = MemoryMarshal.Cast<double, Vector<double>>(x[..n]);
        Span<Vector<double>> va = MemoryMarshal.Cast<double, Vector<double>>(ya[..n]), vb = MemoryMarshal.Cast<double, Vector<double>>(yb[..n]), vc = MemoryMarshal.Cast<double, Vector<double>>(yc[..n]);
        Vector<double> a = new(ka), b = new(kb), c = new(kc);
        for (var i = 0; i < vx.Length && i < va.Length && i < vb.Length && i < vc.Length; i++)
        {
            var v = vx[i];
            va[i] += a * v;
            vb[i] += b * v;
            vc[i] += c * v;
        }
        for (var i = vx.Length * Vector<double>.Count; i < n; i++)
        {
            ya[i] += ka * x[i];
            yb[i] += kb * x[i];
            yc[i] += kc * x[i];
        }
    }

    /// <summary>
    /// Cholesky factor of a symmetric positive definite matrix in place (lower triangle; the upper is left as it is).
    /// Returns -1, or the row at which the matrix was not positive definite.
    /// </summary>
    public static int Cholesky(double[] a, int n)
    {
        for (var j0 = 0; j0 < n; j0 += Block)
        {
            var j1 = Math.Min(n, j0 + Block);
            for (var i = j0; i < j1; i++)
            {
                for (var j = j0; j < i; j++)
                    a[i * n + j] = (a[i * n + j] - Dot(a.AsSpan(i * n, j), a.AsSpan(j * n, j), j)) / a[j * n + j];
                var d = a[i * n + i] - Dot(a.AsSpan(i * n, i), a.AsSpan(i * n, i), i);
                if (!(d > 0)) return i;
                a[i * n + i] = Math.Sqrt(d);
            }
            var from = j0;
            void Row(int i)
            {
                for (var j = from; j < j1; j++)
                    a[i * n + j] = (a[i * n + j] - Dot(a.AsSpan(i * n, j), a.AsSpan(j * n, j), j)) / a[j * n + j];
            }
            if ((n - j1) * j1 > 20000) Parallel.For(j1, n, Row);
            else for (var i = j1; i < n; i++) Row(i);
        }
        return -1;
    }

    /// <summary>Solves L x = b in place; rows of the factor are <paramref name="stride"/> numbers long.</summary>
    public static void Forward(double[] l, int stride, int n, Span<double> x)
    {
        for (var i = 0; i < n; i++) x[i] = (x[i] - Dot(l.AsSpan(i * stride, i), x, i)) / l[i * stride + i];
    }

    /// <summary>Solves L^T x = b in place.</summary>
    public static void Backward(double[] l, int stride, int n, Span<double> x)
    {
        for (var i = n - 1; i >= 0; i--)
        {
            x[i] /= l[i * stride + i];
            AddScaled(-x[i], l.AsSpan(i * stride, i), x, i);
        }
    }
}
