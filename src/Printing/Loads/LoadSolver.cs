using Stiltwright.Geometry;
using Stiltwright.Printing.Strength;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Loads;

/// <summary>
/// Follows the print layer by layer. What has been printed of the figure is one or several rigid bodies, each held by the
/// contacts that its layers have reached; struts are trees of elastic beams tied by braces, pinned at the figure. Each
/// layer pulls its regions (separation load, off centre to any side), cups suck, all that hangs weighs; on approach the
/// same regions are pushed. The answer is what every segment bears at worst and how hard that uses it.
/// Braces count as built from the first contact on; a body that begins on raft or platform takes no load to the struts;
/// while there are several bodies on one braced frame, each is solved on the frame without the others.
/// </summary>
public static class LoadSolver
{
    private sealed record Solved(LoadScene Scene, LoadResult Result);

    // The last answers, the newest first: stages one after the other ask for the same ones (the source, the struts as they left the stage before).
    private const int Kept = 3;
    private static readonly List<Solved> Known = [];
    private static readonly Lock KnownLock = new();

    /// <summary>Solves a scene at all its layers. The same struts in the same surroundings give the answer that is known already.</summary>
    /// <exception cref="OperationCanceledException">Asked to stop.</exception>
    public static LoadResult Solve(LoadScene scene, CancellationToken cancellation)
    {
        ArgumentNullException.ThrowIfNull(scene);
        cancellation.ThrowIfCancellationRequested();
        lock (KnownLock)
            if (Known.FindIndex(k => Same(k.Scene, scene)) is >= 0 and var at)
            {
                var known = Known[at];
                Known.RemoveAt(at);
                Known.Insert(0, known);
                return known.Result;
            }
        var result = new LoadRun(scene).Solve(null, null, cancellation);
        lock (KnownLock)
        {
            Known.Insert(0, new Solved(scene, result));
            if (Known.Count > Kept) Known.RemoveAt(Kept);
        }
        return result;
    }

    private static bool Same(LoadScene a, LoadScene b) => ReferenceEquals(a.Struts, b.Struts) && a with { Vents = b.Vents } == b && a.Vents.SequenceEqual(b.Vents);

    /// <summary>
    /// Solves a scene at the layers that tell most: where a contact joins, the one before, and every fourth. What it answers is
    /// never more than the truth and seldom much less: enough to guess a size, not to say that one holds.
    /// </summary>
    internal static LoadResult Glance(LoadScene scene, CancellationToken cancellation)
    {
        var run = new LoadRun(scene);
        return run.Solve(run.Telling(), null, cancellation);
    }

    /// <summary>Solves a scene at some layers only; what it leaves behind tells how uses depend on sizes.</summary>
    internal static LoadResult Solve(LoadScene scene, bool[]? layers, LoadTrace? trace, CancellationToken cancellation) =>
        new LoadRun(scene).Solve(layers, trace, cancellation);
}

/// <summary>One run of the solver.</summary>
internal sealed class LoadRun
{
    private const long WorthTwo = 20_000; // contacts times layers from which on two parts pay

    private readonly LoadScene _scene;
    private readonly FigureLayers _figure;
    private readonly StrutFrame _frame;
    private readonly List<ContactState> _contacts = [];
    private readonly List<ContactState> _missing = [];
    private readonly bool[] _groundedLeaf;
    private readonly Vec3 _origin;
    private readonly double _reach;

    public LoadRun(LoadScene scene)
    {
        _scene = scene;
        _figure = scene.Figure;
        _frame = StrutFrame.Build(scene.Struts);
        _groundedLeaf = [.. _figure.Bodies.Select(b => (b.FirstLayer - 0.5) * _figure.LayerMm <= scene.RaftTopMm + 1e-9)];
        FindContacts();
        FrameNetwork.Build(_frame, scene.Resin, _contacts);
        var box = Box3.Empty;
        foreach (var c in _contacts) box = box.With(c.Contact.At);
        _origin = box.IsEmpty ? Vec3.Zero : box.Center;
        _reach = Math.Max(1, box.Size.Length / 2);
    }

    private void FindContacts()
    {
        var bodyOfRoot = new int[_frame.Roots.Count];
        for (var t = 0; t < bodyOfRoot.Length; t++)
            bodyOfRoot[t] = _frame.StandsOnFigure[t] is { } on ? _figure.BodyOfContact(on.At, on.Inwards, on.RadiusMm) : -1;
        var taken = new HashSet<int>();
        foreach (var c in _frame.Contacts)
        {
            if (!taken.Add(c.Node)) continue;
            var tree = _frame.Tree[c.Node];
            var body = _figure.BodyOfContact(c.At, c.Inwards, c.RadiusMm);
            var onFigure = _frame.StandsOnFigure[tree] is not null;
            if (body < 0 || (onFigure && bodyOfRoot[tree] < 0))
            {
                _missing.Add(new ContactState(_missing.Count, c, -1, 0, -1));
                continue;
            }
            var from = Math.Max(_figure.LayerFrom(c.At.Z), _figure.Bodies[body].FirstLayer);
            if (onFigure) from = Math.Max(from, _figure.Bodies[bodyOfRoot[tree]].FirstLayer);
            if (from >= _figure.Count) { _missing.Add(new ContactState(_missing.Count, c, -1, 0, -1)); continue; }
            _contacts.Add(new ContactState(_contacts.Count, c, body, from, onFigure ? bodyOfRoot[tree] : -1));
        }
    }

    /// <summary>Layers at which a contact joins or is about to, and every fourth.</summary>
    public bool[] Telling()
    {
        const int Every = 4;
        var layers = new bool[_figure.Count];
        for (var k = 0; k < layers.Length; k += Every) layers[k] = true;
        foreach (var c in _contacts)
        {
            layers[c.FromLayer] = true;
            if (c.FromLayer > 0) layers[c.FromLayer - 1] = true;
        }
        return layers;
    }

    /// <summary>Solves at all layers, or at the given ones. The layers are shared out to two parts that two cores work at; each follows the print from its beginning.</summary>
    public LoadResult Solve(bool[]? only, LoadTrace? trace, CancellationToken cancellation)
    {
        var half = Half(only);
        LoadPass Pass(int from, int to) => new(_scene, _frame, [.. _contacts.Select(c => c.Copy())], _groundedLeaf, _origin, _reach, from, to, only, trace is null ? null : new LoadTrace());
        LoadPass[] passes = half > 0 ? [Pass(0, half), Pass(half, _figure.Count)] : [Pass(0, _figure.Count)];
        if (passes.Length == 1) passes[0].Run(cancellation);
        else SideBySide.Run(() => passes[0].Run(cancellation), () => passes[1].Run(cancellation));
        var first = passes[0];
        if (passes.Length == 2) first.Add(passes[1]);
        var segments = first.Checks.Segments();
        if (trace is not null)
        {
            (trace.Frame, trace.Hardest, trace.Leans) = (_frame, first.Checks.HardestParts(), first.Checks.Leans);
            foreach (var p in passes)
                foreach (var (layer, bodies) in p.Trace!.Layers) trace.Layers[layer] = bodies;
        }
        return new LoadResult(segments, ContactLoads(first), first.Layers, Remarks(first));
    }

    // The layer before which about half of the work lies: each layer costs what it has in contacts.
    private int Half(bool[]? only)
    {
        var joined = new int[_figure.Count + 1];
        foreach (var c in _contacts) joined[c.FromLayer]++;
        long sum = 0, now = 0;
        var cost = new long[_figure.Count];
        for (var k = 0; k < cost.Length; k++)
        {
            now += joined[k];
            if (only is null || only[k]) sum += now;
            cost[k] = sum;
        }
        if (sum < WorthTwo) return 0;
        var half = Array.FindIndex(cost, x => 2 * x >= sum);
        return half + 1 < _figure.Count ? half + 1 : 0;
    }

    private List<LoadRemark> Remarks(LoadPass pass)
    {
        var list = new List<LoadRemark>();
        foreach (var c in _missing) list.Add(new LoadRemark(LoadRemarkKind.ContactMissesFigure, c.Contact.Segment, -1, 0, 0, c.Contact.At, 0));
        foreach (var s in _frame.Floating) list.Add(new LoadRemark(LoadRemarkKind.StrutStandsOnNothing, s, -1, 0, 0, _scene.Struts.Segments[s].From, 0));
        foreach (var s in _frame.LooseBraces) list.Add(new LoadRemark(LoadRemarkKind.BraceLoose, s, -1, 0, 0, _scene.Struts.Segments[s].From, 0));
        list.AddRange(pass.Remarks.Values.OrderBy(r => r.FirstLayer).ThenBy(r => r.Kind).ThenBy(r => r.Body));
        return list;
    }

    private List<ContactLoad> ContactLoads(LoadPass pass)
    {
        var first = new Dictionary<int, int>(); // earliest contact layer of each body
        foreach (var c in pass.Contacts) first[c.Body] = Math.Min(first.GetValueOrDefault(c.Body, int.MaxValue), c.FromLayer);
        var list = new List<ContactLoad>();
        foreach (var c in pass.Contacts)
        {
            var begins = !_groundedLeaf[c.Body] && c.FromLayer == first[c.Body] && c.FromLayer - _figure.Bodies[c.Body].FirstLayer <= 4;
            var capacity = pass.Checks.TipCapacityN(c.Contact);
            list.Add(new ContactLoad(c.Contact.Segment, c.Contact.At, c.Body, c.FromLayer + 1, c.PullN, c.SideShiftMm, begins, c.CupPullN > 0.2 * capacity));
        }
        foreach (var c in _missing) list.Add(new ContactLoad(c.Contact.Segment, c.Contact.At, -1, 0, 0, 0, false, false));
        return list;
    }
}
