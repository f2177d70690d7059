using System.Runtime.Intrinsics;

namespace Stiltwright.Printing.Loads;

/// <summary>Working memory for answers to unit loads, used again and again by one run; three columns share a vector, one lane each.</summary>
internal sealed class AnswerRoom
{
    private Vector256<double>[] _inner = [];
    private Vector256<double>[] _wrench = [];
    private double[] _bars = [];
    private int _elements, _barCount, _slots;

    /// <summary>Makes room for a network.</summary>
    public void Take(int columns, int elements, int bars, int slots)
    {
        (_elements, _barCount, _slots) = (elements, bars, slots);
        if (_inner.Length < columns / 3 * 5 * elements) _inner = new Vector256<double>[columns / 3 * 5 * elements];
        if (_wrench.Length < 6 * slots) _wrench = new Vector256<double>[6 * slots];
        if (_bars.Length < columns * bars) _bars = new double[columns * bars];
    }

    /// <summary>Inner forces of three columns from the given one on: five runs of one entry an element.</summary>
    public Span<Vector256<double>> Inner(int column) => _inner.AsSpan(column / 3 * 5 * _elements, 5 * _elements);

    /// <summary>Forces of the bars in a column.</summary>
    public Span<double> Bars(int column) => _bars.AsSpan(column * _barCount, _barCount);

    /// <summary>Copies all out, column after column: five runs of one number an element and runs of one number a bar, each as long as given.</summary>
    public void CopyTo(int columns, double[] inner, int stride, double[] bars, int barStride)
    {
        for (var c = 0; c < columns; c += 3)
        {
            var from = Inner(c);
            for (var v = 0; v < 5; v++)
            {
                var run = from.Slice(v * _elements, _elements);
                Span<double> x = inner.AsSpan((c * 5 + v) * stride, _elements), y = inner.AsSpan(((c + 1) * 5 + v) * stride, _elements), z = inner.AsSpan(((c + 2) * 5 + v) * stride, _elements);
                var i = 0;
                for (; i + 4 <= run.Length; i += 4)
                {
                    // Four rows of lanes (x, y, z, -) become a run of four x, four y and four z.
                    Vector256<double> a = run[i], b = run[i + 1], d = run[i + 2], e = run[i + 3];
                    Vector256.Create(a[0], b[0], d[0], e[0]).CopyTo(x[i..]);
                    Vector256.Create(a[1], b[1], d[1], e[1]).CopyTo(y[i..]);
                    Vector256.Create(a[2], b[2], d[2], e[2]).CopyTo(z[i..]);
                }
                for (; i < run.Length; i++) (x[i], y[i], z[i]) = (run[i][0], run[i][1], run[i][2]);
            }
        }
        for (var c = 0; c < columns; c++) _bars.AsSpan(c * _barCount, _barCount).CopyTo(bars.AsSpan(c * barStride, _barCount));
    }

    /// <summary>Forces and moments at the nodes, six an entry, empty.</summary>
    public Span<Vector256<double>> Wrench()
    {
        var all = _wrench.AsSpan(0, 6 * _slots);
        all.Clear();
        return all;
    }
}
