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

    /// <summary>Copies all out, column after column: five runs of one number an element, and one number a bar.</summary>
    public void CopyTo(int columns, double[] inner, double[] bars)
    {
        var n = 5 * _elements;
        for (var c = 0; c < columns; c += 3)
        {
            var from = Inner(c);
            Span<double> x = inner.AsSpan(c * n, n), y = inner.AsSpan((c + 1) * n, n), z = inner.AsSpan((c + 2) * n, n);
            for (var i = 0; i < from.Length; i++) (x[i], y[i], z[i]) = (from[i][0], from[i][1], from[i][2]);
        }
        _bars.AsSpan(0, columns * _barCount).CopyTo(bars);
    }

    /// <summary>Forces and moments at the nodes, six an entry, empty.</summary>
    public Span<Vector256<double>> Wrench()
    {
        var all = _wrench.AsSpan(0, 6 * _slots);
        all.Clear();
        return all;
    }
}
