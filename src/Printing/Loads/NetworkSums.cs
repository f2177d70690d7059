using System.Runtime.Intrinsics;

namespace Stiltwright.Printing.Loads;

/// <summary>What a layer does to one network when several bodies load it: their answers are added up, vector by vector; only places that any of them touches are looked at.</summary>
internal sealed class NetworkSums(FrameNetwork network, Borne elements, Borne bars)
{
    private const int Parts = 4;
    private static readonly int Touching = Vector512<double>.Count; // places that are touched together

    private readonly int _stride = Borne.Stride(network.Elements.Length);
    private readonly int _barStride = Borne.Stride(network.Bars.Length);
    private readonly double[] _sums = new double[(5 * Parts + 1) * Borne.Stride(network.Elements.Length)];
    private readonly double[] _barSums = new double[(Parts + 1) * Borne.Stride(network.Bars.Length)];
    private readonly bool[] _touched = new bool[Borne.Stride(network.Elements.Length) / Touching];

    /// <summary>True if something was added since <see cref="End"/>.</summary>
    public bool Any { get; private set; }

    private readonly struct Summed(double[] sums, int stride, int values) : ILoadSums
    {
        public void Of(int value, int at, out Vector512<double> hang, out Vector512<double> apart, out Vector512<double> x, out Vector512<double> y)
        {
            var i = value * stride + at;
            var part = values * stride;
            (hang, apart, x, y) = (Vector512.Create(sums, i), Vector512.Create(sums, i + part), Vector512.Create(sums, i + 2 * part), Vector512.Create(sums, i + 3 * part));
        }

        public Vector512<double> Weight(int at) => Vector512.Create(sums, Parts * values * stride + at);
    }

    /// <summary>Adds a body's answer; <paramref name="weights"/> by part of the load (the fifth is the weight) and column.</summary>
    public void Add(UnitAnswer answer, double[] weights, int columns)
    {
        Any = true;
        var from = Borne.Stride(answer.Elements.Length);
        for (var c = 0; c < columns; c++)
            for (var part = 0; part <= Parts; part++)
            {
                var w = weights[part * columns + c];
                if (w == 0) continue;
                for (var v = 0; v < (part == Parts ? 1 : 5); v++)
                    Add(w, answer.Inner.AsSpan((c * 5 + v) * from, answer.Elements.Length), _sums.AsSpan((part * 5 + v) * _stride, _stride), answer.Places);
            }
        if (answer.Places is { } places)
            foreach (var p in places) _touched[p / Touching] = true;
        else Array.Fill(_touched, true);
        var fromBars = Borne.Stride(answer.Bars.Length);
        for (var c = 0; c < columns; c++)
            for (var part = 0; part <= Parts; part++)
                if (weights[part * columns + c] is var w and not 0)
                    Add(w, answer.BarForces.AsSpan(c * fromBars, answer.Bars.Length), _barSums.AsSpan(part * _barStride, _barStride), answer.BarPlaces);
    }

    private static void Add(double w, ReadOnlySpan<double> from, Span<double> to, int[]? places)
    {
        if (places is null) DenseKernels.AddScaled(w, from, to, from.Length);
        else
            for (var i = 0; i < from.Length; i++) to[places[i]] += w * from[i];
    }

    /// <summary>Keeps the worst and begins anew.</summary>
    public void End(double approach, int layer)
    {
        var sums = new Summed(_sums, _stride, 5);
        for (var i = 0; i < _touched.Length; i++)
        {
            if (!_touched[i]) continue;
            elements.KeepElements(sums, Touching * i, Touching * (i + 1), approach, layer);
            for (var run = 0; run < 5 * Parts + 1; run++) _sums.AsSpan(run * _stride + Touching * i, Touching).Clear();
            _touched[i] = false;
        }
        bars.KeepBars(new Summed(_barSums, _barStride, 1), approach, layer);
        Array.Clear(_barSums);
        Any = false;
    }
}
