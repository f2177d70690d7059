using System.Runtime.InteropServices;

namespace Stiltwright.Printing.Loads;

/// <content>What every layer adds: the loads of its bodies through their answers to unit loads.</content>
internal sealed partial class StrutChecks
{
    // What a layer does is summed in parts: all that hangs, the separation load, its two off-centre parts, the weight.
    private const int Lumps = 5;

    private readonly double[] _weights = new double[6 * Lumps];
    private readonly List<(UnitAnswer Answer, Borne Elements, Borne Bars)> _single = [];
    private readonly Dictionary<FrameNetwork, (Borne Elements, Borne Bars, NetworkSums Sums)> _whole = [];
    private readonly HashSet<FrameNetwork> _networks = [];
    private readonly List<NetworkSums> _touched = [];

    /// <summary>True if no two answers of these bodies come from one network.</summary>
    public bool Apart(List<HeldBody> bodies)
    {
        _networks.Clear();
        foreach (var body in bodies)
            foreach (var answer in body.Answers)
                if (!_networks.Add(answer.Hold.Network)) return false;
        return true;
    }

    /// <summary>
    /// Adds one body's loads. Contacts whose strut stands on another body hand their force to what
    /// <paramref name="under"/> gives. Answers what goes to raft and platform, N (lift, without the off-centre part).
    /// </summary>
    /// <param name="body">The body.</param>
    /// <param name="cases">Its loads.</param>
    /// <param name="under">Loads of the body below a contact.</param>
    /// <param name="apart">True if every network answers to one body only in this layer; else <see cref="End"/> looks at the sums.</param>
    /// <param name="origin">Origin of moments.</param>
    /// <param name="reach">Scale of turns, mm.</param>
    public double Add(HeldBody body, LoadCases cases, Func<ContactState, LoadCases?> under, bool apart, Geometry.Vec3 origin, double reach)
    {
        double reaction = 0;
        var columns = body.Directions.Length;
        Weigh(body, cases, _weights);
        var approach = _scene.Resin.ApproachShare;
        Span<double> lift = stackalloc double[6], moved = stackalloc double[18];
        cases.Lift(lift);
        if (!body.CanTurn)
        {
            body.Moved(lift, moved[..6]);
            body.Moved(cases.Of(LoadPart.OffX), moved.Slice(6, 6));
            body.Moved(cases.Of(LoadPart.OffY), moved.Slice(12, 6));
        }
        foreach (var answer in body.Answers)
        {
            if (apart)
            {
                var (elements, bars) = Of(answer);
                var stride = Borne.Stride(answer.Elements.Length);
                elements.KeepElements(new AnswerSums(answer.Inner, stride, 5, columns, _weights), 0, stride, approach, _layerNow + 1);
                bars.KeepBars(new AnswerSums(answer.BarForces, Borne.Stride(answer.Bars.Length), 1, columns, _weights), approach, _layerNow + 1);
            }
            else
            {
                var sums = OfWhole(answer.Hold.Network).Sums;
                if (!sums.Any) _touched.Add(sums);
                sums.Add(answer, _weights, columns);
            }
            reaction += Contacts(body, answer, cases, lift, moved, under, origin, reach);
        }
        return reaction;
    }

    /// <summary>Ends a layer: keeps the worst of what was summed over bodies.</summary>
    public void End(double approach)
    {
        foreach (var sums in _touched) sums.End(approach, _layerNow + 1);
        _touched.Clear();
    }

    private static void Weigh(HeldBody body, LoadCases cases, double[] weights)
    {
        var columns = body.Directions.Length;
        for (var c = 0; c < columns; c++)
        {
            var d = body.Directions[c];
            double s = cases.Of(LoadPart.Separation)[d], w = cases.Of(LoadPart.Weight)[d];
            weights[c] = s + w + cases.Of(LoadPart.Cups)[d];
            weights[columns + c] = s;
            weights[2 * columns + c] = cases.Of(LoadPart.OffX)[d];
            weights[3 * columns + c] = cases.Of(LoadPart.OffY)[d];
            weights[4 * columns + c] = w;
        }
    }

    // All whole answers of a network have the same elements in the same order, so they keep their worst together.
    private (Borne Elements, Borne Bars) Of(UnitAnswer answer)
    {
        if (answer.Places is null) return OfWhole(answer.Hold.Network) is var whole ? (whole.Elements, whole.Bars) : default;
        if (answer.Worst is not { } worst)
        {
            answer.Worst = worst = (Begin(answer.Elements), new Borne(answer.Bars.Length));
            _single.Add((answer, worst.Elements, worst.Bars));
        }
        return worst;
    }

    private (Borne Elements, Borne Bars, NetworkSums Sums) OfWhole(FrameNetwork network)
    {
        if (_whole.TryGetValue(network, out var known)) return known;
        Borne elements = Begin(network.Elements), bars = new(network.Bars.Length);
        return _whole[network] = (elements, bars, new NetworkSums(network, elements, bars));
    }

    private Borne Begin(int[] elements)
    {
        double[] Each(Func<int, double> of) => [.. elements.Select(of)];
        return new Borne(Each(e => _perAreaLower[e]), Each(e => _perAreaUpper[e]),
            // At a contact the tip is checked by itself; its bending there is none (pinned).
            Each(e => _contactAbove[e] ? 0 : _perAreaUpper[e]), Each(e => _perModulusLower[e]), Each(e => _contactAbove[e] ? 0 : _perModulusUpper[e]));
    }

    /// <summary>Adds what was found in later layers; of equal ones the lowest layer stays. What a strut bore standing free is not among it.</summary>
    public void Add(StrutChecks later)
    {
        Gather();
        later.Gather();
        for (var i = 0; i < _worst.Length; i++) Take(ref _worst[i], later._worst[i]);
    }

    private static void Take(ref Worst worst, in Worst now)
    {
        Take(ref worst.Pull, ref worst.PullAt, now.Pull, now.PullAt);
        Take(ref worst.Push, ref worst.PushAt, now.Push, now.PushAt);
        Take(ref worst.PullStress, ref worst.PullStressAt, now.PullStress, now.PullStressAt);
        Take(ref worst.PushStress, ref worst.PushStressAt, now.PushStress, now.PushStressAt);
        worst.Bending = Math.Max(worst.Bending, now.Bending);
    }

    private static void Take(ref double worst, ref int at, double now, int nowAt)
    {
        if (now > worst || (now == worst && nowAt < at && nowAt > 0)) (worst, at) = (now, nowAt);
    }

    // Puts what answers and networks kept together; of equal ones the lowest layer stays.
    private void Gather()
    {
        foreach (var (answer, elements, bars) in CollectionsMarshal.AsSpan(_single)) Gather(answer.Elements, answer.Bars, elements, bars);
        foreach (var (network, (elements, bars, _)) in _whole) Gather(network.Elements, network.Bars, elements, bars);
        _single.Clear();
        _whole.Clear();
    }

    private void Gather(int[] elements, int[] bars, Borne ofElements, Borne ofBars)
    {
        for (var i = 0; i < elements.Length; i++) Take(ref _worst[elements[i]], ofElements[i]);
        for (var i = 0; i < bars.Length; i++) Take(ref _worst[_frame.Elements.Count + bars[i]], ofBars[i]);
    }
}
