using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;

namespace Stiltwright.Printing.Loads;

/// <summary>What a layer does to elements or bars, eight at a time (as two halves where the processor has no such registers): of each value the part of all that hangs, the separation load alone and its two off-centre parts.</summary>
internal interface ILoadSums
{
    /// <summary>The four parts of a value (0 normal force; 1, 2 moments below; 3, 4 moments above) from a place on.</summary>
    void Of(int value, int at, out Vector512<double> hang, out Vector512<double> apart, out Vector512<double> x, out Vector512<double> y);

    /// <summary>The weight's share of the normal force.</summary>
    Vector512<double> Weight(int at);
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
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public void Of(int value, int at, out Vector512<double> hang, out Vector512<double> apart, out Vector512<double> x, out Vector512<double> y)
    {
        (hang, apart, x, y) = (default, default, default, default);
        var w = weights.AsSpan(0, 4 * columns);
        var run = inner.AsSpan(value * stride + at);
        for (var c = 0; c < columns; c++)
        {
            var from = Vector512.Create<double>(run.Slice(c * values * stride, Vector512<double>.Count));
            hang = Vector512.FusedMultiplyAdd(from, Vector512.Create(w[c]), hang);
            apart = Vector512.FusedMultiplyAdd(from, Vector512.Create(w[columns + c]), apart);
            x = Vector512.FusedMultiplyAdd(from, Vector512.Create(w[2 * columns + c]), x);
            y = Vector512.FusedMultiplyAdd(from, Vector512.Create(w[3 * columns + c]), y);
        }
    }

    /// <inheritdoc/>
    public Vector512<double> Weight(int at)
    {
        Vector512<double> w = default;
        for (var c = 0; c < columns; c++) w = Vector512.FusedMultiplyAdd(Vector512.Create(inner, c * values * stride + at), Vector512.Create(weights[4 * columns + c]), w);
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

    /// <summary>Length of a run of so many numbers, whole vectors.</summary>
    public static int Stride(int count) => (count + Vector512<double>.Count - 1) & ~(Vector512<double>.Count - 1);

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
        for (var i = from; i < to; i += Vector512<double>.Count)
        {
            var (pull, push) = Axial(sums, i, approach);
            Vector512<double> low = Moment(sums, 1, i, approach), up = Moment(sums, 3, i, approach);
            var bend = low * Vector512.Create(_modulusLower, i);
            var upper = up * Vector512.Create(_modulusUpper, i);
            var area = Vector512.Create(_areaLower, i);
            Keep(pull, _pull, _pullAt, i, layer);
            Keep(push, _push, _pushAt, i, layer);
            Keep(Vector512.Max(pull * area + bend, pull * Vector512.Create(_areaUpperPull, i) + upper), _pullStress, _pullStressAt, i, layer);
            Keep(Vector512.Max(push * area + bend, push * Vector512.Create(_areaUpper, i) + upper), _pushStress, _pushStressAt, i, layer);
            Vector512.Max(Vector512.Create(_bending, i), Vector512.Max(low, up)).CopyTo(_bending, i);
        }
    }

    /// <summary>The same for bars.</summary>
    public void KeepBars<T>(T sums, double approach, int layer)
        where T : struct, ILoadSums
    {
        for (var i = 0; i < _pull.Length; i += Vector512<double>.Count)
        {
            var (pull, push) = Axial(sums, i, approach);
            Keep(pull, _pull, _pullAt, i, layer);
            Keep(push, _push, _pushAt, i, layer);
        }
    }

    private static (Vector512<double> Pull, Vector512<double> Push) Axial<T>(T sums, int i, double approach)
        where T : struct, ILoadSums
    {
        sums.Of(0, i, out var hang, out var apart, out var x, out var y);
        var w = sums.Weight(i);
        var off = Vector512.Sqrt(x * x + y * y);
        return (Vector512.Max(hang + off, (off - apart) * approach + Vector512.Max(default, w)), Vector512.Max(off - hang, (off + apart) * approach + Vector512.Max(default, -w)));
    }

    // The norm of two moments across each other, lifting or on approach.
    private static Vector512<double> Moment<T>(T sums, int v, int i, double approach)
        where T : struct, ILoadSums
    {
        sums.Of(v, i, out var hang, out var apart, out var x, out var y);
        var off = Vector512.Sqrt(x * x + y * y);
        Vector512<double> a = Vector512.Abs(hang) + off, c = Vector512.Abs(apart) + off;
        sums.Of(v + 1, i, out hang, out apart, out x, out y);
        off = Vector512.Sqrt(x * x + y * y);
        Vector512<double> b = Vector512.Abs(hang) + off, d = Vector512.Abs(apart) + off;
        return Vector512.Sqrt(Vector512.Max(a * a + b * b, (c * c + d * d) * (approach * approach)));
    }

    private static void Keep(Vector512<double> now, double[] worst, int[] at, int i, int layer)
    {
        if (!Vector512.GreaterThanAny(now, Vector512.Create(worst, i))) return;
        for (var k = 0; k < Vector512<double>.Count; k++)
            if (now[k] > worst[i + k]) (worst[i + k], at[i + k]) = (now[k], layer);
    }
}
