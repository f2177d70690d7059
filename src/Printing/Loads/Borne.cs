using System.Numerics;

namespace Stiltwright.Printing.Loads;

/// <summary>What a layer does to elements or bars, several at a time: of each value the part of all that hangs, the separation load alone and its two off-centre parts.</summary>
internal interface ILoadSums
{
    /// <summary>The four parts of a value (0 normal force; 1, 2 moments below; 3, 4 moments above) from a place on.</summary>
    void Of(int value, int at, out Vector<double> hang, out Vector<double> apart, out Vector<double> x, out Vector<double> y);

    /// <summary>The weight's share of the normal force.</summary>
    Vector<double> Weight(int at);
}

/// <summary>Sums of one body's answers to unit loads.</summary>
/// <param name="inner">Columns of values, one run of <paramref name="stride"/> numbers a value.</param>
/// <param name="stride">Length of a run.</param>
/// <param name="values">Values a column.</param>
/// <param name="columns">Columns.</param>
/// <param name="weights">By part of the load and column.</param>
internal readonly struct AnswerSums(double[] inner, int stride, int values, int columns, double[] weights) : ILoadSums
{
    /// <inheritdoc/>
    public void Of(int value, int at, out Vector<double> hang, out Vector<double> apart, out Vector<double> x, out Vector<double> y)
    {
        (hang, apart, x, y) = (default, default, default, default);
        for (var c = 0; c < columns; c++)
        {
            var from = new Vector<double>(inner, (c * values + value) * stride + at);
            hang += from * weights[c];
            apart += from * weights[columns + c];
            x += from * weights[2 * columns + c];
            y += from * weights[3 * columns + c];
        }
    }

    /// <inheritdoc/>
    public Vector<double> Weight(int at)
    {
        Vector<double> w = default;
        for (var c = 0; c < columns; c++) w += new Vector<double>(inner, c * values * stride + at) * weights[4 * columns + c];
        return w;
    }
}

/// <summary>The worst that elements, or bars, bore so far, with what is needed to tell: sections in the order of the answers, runs padded to whole vectors.</summary>
internal sealed class Borne
{
    private readonly double[] _areaLower, _areaUpper, _areaUpperPull, _modulusLower, _modulusUpper;
    private readonly double[] _pull, _push, _pullStress, _pushStress, _bending;
    private readonly int[] _pullAt, _pushAt, _pullStressAt, _pushStressAt;

    /// <summary>For elements: one over area (pull and push) and section modulus at their ends; a pull counts above by its own area.</summary>
    public Borne(IReadOnlyList<double> areaLower, IReadOnlyList<double> areaUpper, IReadOnlyList<double> areaUpperPull, IReadOnlyList<double> modulusLower, IReadOnlyList<double> modulusUpper)
        : this(areaLower.Count)
    {
        double[] Padded(IReadOnlyList<double> from)
        {
            var all = new double[_pull.Length];
            for (var i = 0; i < from.Count; i++) all[i] = from[i];
            return all;
        }
        (_areaLower, _areaUpper, _areaUpperPull, _modulusLower, _modulusUpper) = (Padded(areaLower), Padded(areaUpper), Padded(areaUpperPull), Padded(modulusLower), Padded(modulusUpper));
        _pullStress = new double[_pull.Length];
        _pushStress = new double[_pull.Length];
        _bending = new double[_pull.Length];
        _pullStressAt = new int[_pull.Length];
        _pushStressAt = new int[_pull.Length];
    }

    /// <summary>For bars, which bear force along themselves only.</summary>
    public Borne(int bars)
    {
        var n = Stride(bars);
        (_pull, _push, _pullAt, _pushAt) = (new double[n], new double[n], new int[n], new int[n]);
        _areaLower = _areaUpper = _areaUpperPull = _modulusLower = _modulusUpper = _pullStress = _pushStress = _bending = [];
        _pullStressAt = _pushStressAt = [];
    }

    /// <summary>Length of a run of so many numbers, whole vectors of any width.</summary>
    public static int Stride(int count) => (count + 7) & ~7;

    /// <summary>What was borne at a place.</summary>
    public StrutChecks.Worst this[int i] => _bending.Length == 0
        ? new StrutChecks.Worst { Pull = _pull[i], Push = _push[i], PullAt = _pullAt[i], PushAt = _pushAt[i] }
        : new StrutChecks.Worst
        {
            Pull = _pull[i],
            Push = _push[i],
            PullStress = _pullStress[i],
            PushStress = _pushStress[i],
            Bending = _bending[i],
            PullAt = _pullAt[i],
            PushAt = _pushAt[i],
            PullStressAt = _pullStressAt[i],
            PushStressAt = _pushStressAt[i],
        };

    /// <summary>Keeps what a layer does to elements from one place to another (a vector's width apart) where it is worse.</summary>
    public void KeepElements<T>(T sums, int from, int to, double approach, int layer)
        where T : struct, ILoadSums
    {
        for (var i = from; i < to; i += Vector<double>.Count)
        {
            var (pull, push) = Axial(sums, i, approach);
            Vector<double> low = Moment(sums, 1, i, approach), up = Moment(sums, 3, i, approach);
            var bend = low * new Vector<double>(_modulusLower, i);
            var upper = up * new Vector<double>(_modulusUpper, i);
            var area = new Vector<double>(_areaLower, i);
            Keep(pull, _pull, _pullAt, i, layer);
            Keep(push, _push, _pushAt, i, layer);
            Keep(Vector.Max(pull * area + bend, pull * new Vector<double>(_areaUpperPull, i) + upper), _pullStress, _pullStressAt, i, layer);
            Keep(Vector.Max(push * area + bend, push * new Vector<double>(_areaUpper, i) + upper), _pushStress, _pushStressAt, i, layer);
            Vector.Max(new Vector<double>(_bending, i), Vector.Max(low, up)).CopyTo(_bending, i);
        }
    }

    /// <summary>The same for bars.</summary>
    public void KeepBars<T>(T sums, double approach, int layer)
        where T : struct, ILoadSums
    {
        for (var i = 0; i < _pull.Length; i += Vector<double>.Count)
        {
            var (pull, push) = Axial(sums, i, approach);
            Keep(pull, _pull, _pullAt, i, layer);
            Keep(push, _push, _pushAt, i, layer);
        }
    }

    private static (Vector<double> Pull, Vector<double> Push) Axial<T>(T sums, int i, double approach)
        where T : struct, ILoadSums
    {
        sums.Of(0, i, out var hang, out var apart, out var x, out var y);
        var w = sums.Weight(i);
        var off = Vector.SquareRoot(x * x + y * y);
        return (Vector.Max(hang + off, (off - apart) * approach + Vector.Max(default, w)), Vector.Max(off - hang, (off + apart) * approach + Vector.Max(default, -w)));
    }

    // The norm of two moments across each other, lifting or on approach.
    private static Vector<double> Moment<T>(T sums, int v, int i, double approach)
        where T : struct, ILoadSums
    {
        sums.Of(v, i, out var hang, out var apart, out var x, out var y);
        var off = Vector.SquareRoot(x * x + y * y);
        Vector<double> a = Vector.Abs(hang) + off, c = Vector.Abs(apart) + off;
        sums.Of(v + 1, i, out hang, out apart, out x, out y);
        off = Vector.SquareRoot(x * x + y * y);
        Vector<double> b = Vector.Abs(hang) + off, d = Vector.Abs(apart) + off;
        return Vector.SquareRoot(Vector.Max(a * a + b * b, (c * c + d * d) * (approach * approach)));
    }

    private static void Keep(Vector<double> now, double[] worst, int[] at, int i, int layer)
    {
        if (!Vector.GreaterThanAny(now, new Vector<double>(worst, i))) return;
        for (var k = 0; k < Vector<double>.Count; k++)
            if (now[k] > worst[i + k]) (worst[i + k], at[i + k]) = (now[k], layer);
    }
}
