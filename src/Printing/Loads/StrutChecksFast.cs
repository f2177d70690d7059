using System.Numerics;
using System.Runtime.InteropServices;

namespace Stiltwright.Printing.Loads;

/// <summary>
/// The worst that an answer's elements and bars bore while it held, with what is needed to tell: sections in the answer's
/// own order, so that several are worked out at a time.
/// </summary>
internal sealed class AnswerWorst
{
    public required double[] PerAreaLower, PerAreaUpper, PerAreaUpperPull, PerModulusLower, PerModulusUpper;
    public required double[] Pull, Push, Bending, PullStress, PushStress, BarPull, BarPush;
    public required int[] PullAt, PushAt, PullStressAt, PushStressAt, BarPullAt, BarPushAt;
}

/// <content>Layers in which every network answers to one body only: no sums over bodies, several elements at a time.</content>
internal sealed partial class StrutChecks
{
    private readonly List<(UnitAnswer Answer, AnswerWorst Worst)> _apart = [];
    private readonly Dictionary<FrameNetwork, AnswerWorst> _whole = [];
    private readonly HashSet<FrameNetwork> _networks = [];

    /// <summary>True if no two answers of these bodies come from one network.</summary>
    public bool Apart(List<HeldBody> bodies)
    {
        _networks.Clear();
        foreach (var body in bodies)
            foreach (var answer in body.Answers)
                if (!_networks.Add(answer.Hold.Network)) return false;
        return true;
    }

    /// <summary>Adds one body's loads where <see cref="Apart"/> holds; otherwise like adding where it does not, with nothing to end.</summary>
    public double AddApart(HeldBody body, LoadCases cases, Func<ContactState, LoadCases?> under, Geometry.Vec3 origin, double reach)
    {
        double reaction = 0;
        var approach = _scene.Resin.ApproachShare;
        var columns = body.Directions.Length;
        Span<double> weights = stackalloc double[Lumps * columns];
        Weigh(body, cases, weights);
        foreach (var answer in body.Answers)
        {
            var worst = answer.Worst ??= answer.Whole ? OfWhole(answer) : Begin(answer);
            Elements(answer, worst, weights, columns, approach);
            Bars(answer, worst, weights, columns, approach);
            reaction += Contacts(body, answer, cases, under, origin, reach);
        }
        return reaction;
    }

    // All whole answers of a network have the same elements in the same order, so they keep their worst together.
    private AnswerWorst OfWhole(UnitAnswer answer)
    {
        if (!_whole.TryGetValue(answer.Hold.Network, out var worst)) _whole[answer.Hold.Network] = worst = Begin(answer);
        return worst;
    }

    private AnswerWorst Begin(UnitAnswer answer)
    {
        int ne = answer.Elements.Length, nb = answer.Bars.Length;
        double[] Of(double[] all) => [.. answer.Elements.Select(e => all[e])];
        var worst = new AnswerWorst
        {
            PerAreaLower = Of(_perAreaLower),
            PerAreaUpper = Of(_perAreaUpper),
            // At a contact the tip is checked by itself; its bending there is none (pinned).
            PerAreaUpperPull = [.. answer.Elements.Select(e => _contactAbove[e] ? 0 : _perAreaUpper[e])],
            PerModulusLower = Of(_perModulusLower),
            PerModulusUpper = [.. answer.Elements.Select(e => _contactAbove[e] ? 0 : _perModulusUpper[e])],
            Pull = new double[ne],
            Push = new double[ne],
            Bending = new double[ne],
            PullStress = new double[ne],
            PushStress = new double[ne],
            PullAt = new int[ne],
            PushAt = new int[ne],
            PullStressAt = new int[ne],
            PushStressAt = new int[ne],
            BarPull = new double[nb],
            BarPush = new double[nb],
            BarPullAt = new int[nb],
            BarPushAt = new int[nb],
        };
        _apart.Add((answer, worst));
        return worst;
    }

    private readonly double[] _sums = new double[4 * 5 + 1];

    private void Elements(UnitAnswer answer, AnswerWorst worst, ReadOnlySpan<double> weights, int columns, double approach)
    {
        int ne = answer.Elements.Length, lanes = Vector<double>.Count, i = 0;
        Span<Vector<double>> sums = stackalloc Vector<double>[21];
        for (; i + lanes <= ne; i += lanes)
        {
            for (var v = 0; v < 5; v++)
            {
                Vector<double> hang = default, apart = default, x = default, y = default, w = default;
                for (var c = 0; c < columns; c++)
                {
                    var from = new Vector<double>(answer.Inner, (c * 5 + v) * ne + i);
                    hang += from * weights[c];
                    apart += from * weights[columns + c];
                    x += from * weights[2 * columns + c];
                    y += from * weights[3 * columns + c];
                    if (v == 0) w += from * weights[4 * columns + c];
                }
                (sums[v], sums[5 + v], sums[10 + v], sums[15 + v]) = (hang, apart, x, y);
                if (v == 0) sums[20] = w;
            }
            var off = Vector.SquareRoot(sums[10] * sums[10] + sums[15] * sums[15]);
            var pull = Vector.Max(sums[0] + off, (off - sums[5]) * approach + Vector.Max(default, sums[20]));
            var push = Vector.Max(off - sums[0], (off + sums[5]) * approach + Vector.Max(default, -sums[20]));
            Vector<double> low = Moment(sums, 1, approach), up = Moment(sums, 3, approach);
            var bend = low * new Vector<double>(worst.PerModulusLower, i);
            var upper = up * new Vector<double>(worst.PerModulusUpper, i);
            var areaLower = new Vector<double>(worst.PerAreaLower, i);
            var pullStress = Vector.Max(pull * areaLower + bend, pull * new Vector<double>(worst.PerAreaUpperPull, i) + upper);
            var pushStress = Vector.Max(push * areaLower + bend, push * new Vector<double>(worst.PerAreaUpper, i) + upper);
            Keep(pull, worst.Pull, worst.PullAt, i);
            Keep(push, worst.Push, worst.PushAt, i);
            Keep(pullStress, worst.PullStress, worst.PullStressAt, i);
            Keep(pushStress, worst.PushStress, worst.PushStressAt, i);
            Vector.Max(new Vector<double>(worst.Bending, i), Vector.Max(low, up)).CopyTo(worst.Bending, i);
        }
        for (; i < ne; i++)
        {
            Array.Clear(_sums);
            for (var c = 0; c < columns; c++)
                for (var v = 0; v < 5; v++)
                {
                    var from = answer.Inner[(c * 5 + v) * ne + i];
                    for (var lump = 0; lump < 4; lump++) _sums[5 * lump + v] += from * weights[lump * columns + c];
                    if (v == 0) _sums[20] += from * weights[4 * columns + c];
                }
            var off = Math.Sqrt(_sums[10] * _sums[10] + _sums[15] * _sums[15]);
            var pull = Math.Max(_sums[0] + off, approach * (off - _sums[5]) + Math.Max(0, _sums[20]));
            var push = Math.Max(off - _sums[0], approach * (off + _sums[5]) + Math.Max(0, -_sums[20]));
            double low = Moment(1, approach), up = Moment(3, approach), bend = low * worst.PerModulusLower[i], upper = up * worst.PerModulusUpper[i];
            Keep(pull, worst.Pull, worst.PullAt, i);
            Keep(push, worst.Push, worst.PushAt, i);
            Keep(Math.Max(pull * worst.PerAreaLower[i] + bend, pull * worst.PerAreaUpperPull[i] + upper), worst.PullStress, worst.PullStressAt, i);
            Keep(Math.Max(push * worst.PerAreaLower[i] + bend, push * worst.PerAreaUpper[i] + upper), worst.PushStress, worst.PushStressAt, i);
            worst.Bending[i] = Math.Max(worst.Bending[i], Math.Max(low, up));
        }
    }

    private void Bars(UnitAnswer answer, AnswerWorst worst, ReadOnlySpan<double> weights, int columns, double approach)
    {
        var nb = answer.Bars.Length;
        for (var i = 0; i < nb; i++)
        {
            double hang = 0, apart = 0, x = 0, y = 0, w = 0;
            for (var c = 0; c < columns; c++)
            {
                var from = answer.BarForces[c * nb + i];
                hang += from * weights[c];
                apart += from * weights[columns + c];
                x += from * weights[2 * columns + c];
                y += from * weights[3 * columns + c];
                w += from * weights[4 * columns + c];
            }
            var off = Math.Sqrt(x * x + y * y);
            Keep(Math.Max(hang + off, approach * (off - apart) + Math.Max(0, w)), worst.BarPull, worst.BarPullAt, i);
            Keep(Math.Max(off - hang, approach * (off + apart) + Math.Max(0, -w)), worst.BarPush, worst.BarPushAt, i);
        }
    }

    private static Vector<double> Moment(ReadOnlySpan<Vector<double>> sums, int v, double approach)
    {
        var o1 = Vector.SquareRoot(sums[10 + v] * sums[10 + v] + sums[15 + v] * sums[15 + v]);
        var o2 = Vector.SquareRoot(sums[11 + v] * sums[11 + v] + sums[16 + v] * sums[16 + v]);
        Vector<double> a = Vector.Abs(sums[v]) + o1, b = Vector.Abs(sums[v + 1]) + o2;
        Vector<double> c = (Vector.Abs(sums[5 + v]) + o1) * approach, d = (Vector.Abs(sums[6 + v]) + o2) * approach;
        return Vector.SquareRoot(Vector.Max(a * a + b * b, c * c + d * d));
    }

    private double Moment(int v, double approach)
    {
        double o1 = Math.Sqrt(_sums[10 + v] * _sums[10 + v] + _sums[15 + v] * _sums[15 + v]), o2 = Math.Sqrt(_sums[11 + v] * _sums[11 + v] + _sums[16 + v] * _sums[16 + v]);
        double a = Math.Abs(_sums[v]) + o1, b = Math.Abs(_sums[v + 1]) + o2, c = approach * (Math.Abs(_sums[5 + v]) + o1), d = approach * (Math.Abs(_sums[6 + v]) + o2);
        return Math.Sqrt(Math.Max(a * a + b * b, c * c + d * d));
    }

    private void Keep(Vector<double> now, double[] worst, int[] at, int i)
    {
        if (!Vector.GreaterThanAny(now, new Vector<double>(worst, i))) return;
        for (var k = 0; k < Vector<double>.Count; k++) Keep(now[k], worst, at, i + k);
    }

    private void Keep(double now, double[] worst, int[] at, int i)
    {
        if (!(now > worst[i])) return;
        (worst[i], at[i]) = (now, _layerNow + 1);
    }

    /// <summary>Adds what was found in later layers; of equal ones the lowest layer stays. What a strut bore standing free is not among it.</summary>
    public void Add(StrutChecks later)
    {
        Gather();
        later.Gather();
        for (var i = 0; i < _worst.Length; i++)
        {
            ref var w = ref _worst[i];
            var o = later._worst[i];
            Take(ref w.Pull, ref w.PullAt, o.Pull, o.PullAt);
            Take(ref w.Push, ref w.PushAt, o.Push, o.PushAt);
            Take(ref w.PullStress, ref w.PullStressAt, o.PullStress, o.PullStressAt);
            Take(ref w.PushStress, ref w.PushStressAt, o.PushStress, o.PushStressAt);
            w.Bending = Math.Max(w.Bending, o.Bending);
        }
    }

    private static void Take(ref double worst, ref int at, double now, int nowAt)
    {
        if (now > worst || (now == worst && nowAt < at && nowAt > 0)) (worst, at) = (now, nowAt);
    }

    // Puts what single answers kept together with what was summed over bodies; of equal ones the lowest layer stays.
    private void Gather()
    {
        var all = _frame.Elements.Count;
        foreach (var (answer, kept) in CollectionsMarshal.AsSpan(_apart))
        {
            for (var i = 0; i < answer.Elements.Length; i++)
            {
                ref var w = ref _worst[answer.Elements[i]];
                Take(ref w.Pull, ref w.PullAt, kept.Pull[i], kept.PullAt[i]);
                Take(ref w.Push, ref w.PushAt, kept.Push[i], kept.PushAt[i]);
                Take(ref w.PullStress, ref w.PullStressAt, kept.PullStress[i], kept.PullStressAt[i]);
                Take(ref w.PushStress, ref w.PushStressAt, kept.PushStress[i], kept.PushStressAt[i]);
                w.Bending = Math.Max(w.Bending, kept.Bending[i]);
            }
            for (var i = 0; i < answer.Bars.Length; i++)
            {
                ref var w = ref _worst[all + answer.Bars[i]];
                Take(ref w.Pull, ref w.PullAt, kept.BarPull[i], kept.BarPullAt[i]);
                Take(ref w.Push, ref w.PushAt, kept.BarPush[i], kept.BarPushAt[i]);
            }
        }
        _apart.Clear();
        _whole.Clear();
    }
}
