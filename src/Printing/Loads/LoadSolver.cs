using Stiltwright.Geometry;
using Stiltwright.Printing.Strength;

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
    /// <summary>Solves a scene.</summary>
    /// <exception cref="OperationCanceledException">Asked to stop.</exception>
    public static LoadResult Solve(LoadScene scene, CancellationToken cancellation)
    {
        ArgumentNullException.ThrowIfNull(scene);
        return new LoadRun(scene).Solve(null, null, cancellation);
    }

    /// <summary>Solves a scene at some layers only; what it leaves behind tells how uses depend on sizes.</summary>
    internal static LoadResult Solve(LoadScene scene, bool[]? layers, LoadTrace? trace, CancellationToken cancellation) =>
        new LoadRun(scene).Solve(layers, trace, cancellation);
}

/// <summary>One run of the solver.</summary>
internal sealed class LoadRun
{
    private readonly LoadScene _scene;
    private readonly FigureLayers _figure;
    private readonly StrutFrame _frame;
    private readonly List<ContactState> _contacts = [];
    private readonly List<ContactState> _missing = [];
    private readonly StrutChecks _checks;
    private readonly LayerLoads _loads;
    private readonly bool[] _groundedLeaf;
    private readonly Vec3 _origin;
    private readonly double _reach;
    private readonly Dictionary<(LoadRemarkKind, int), LoadRemark> _remarks = [];

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
        _checks = new StrutChecks(scene, _frame);
        _loads = new LayerLoads(scene);
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

    public LoadResult Solve(bool[]? only, LoadTrace? trace, CancellationToken cancellation)
    {
        var bodies = new HeldBodies(_figure, _contacts, _groundedLeaf, _origin, _reach);
        var layers = new LayerLoad[_figure.Count];
        _checks.StandFree();
        for (var k = 0; k < _figure.Count; k++)
        {
            if ((k & 63) == 0) cancellation.ThrowIfCancellationRequested();
            bodies.StepTo(k);
            _loads.StepTo(k);
            if (only is null || only[k]) layers[k] = Evaluate(k, bodies, trace);
        }
        var segments = _checks.Segments();
        if (trace is not null) (trace.Frame, trace.Hardest, trace.Leans) = (_frame, _checks.HardestParts(), _checks.Leans);
        return new LoadResult(segments, ContactLoads(), layers, Remarks());
    }

    private LayerLoad Evaluate(int k, HeldBodies bodies, LoadTrace? trace)
    {
        double separation = 0, cups = 0, weight = 0, reaction = 0;
        foreach (var root in _loads.Active)
        {
            var load = _loads.Of(root);
            if (bodies.IsGrounded(root)) continue;
            if (!bodies.IsHeld(root))
            {
                Remark(LoadRemarkKind.BodyNotHeld, -1, root, k, _loads.PlaceOf(root, k), load.Separation.Force + load.Cups.Force + load.Weight.Force);
                continue;
            }
            separation += load.Separation.Force;
            cups += load.Cups.Force;
            weight += load.Weight.Force;
        }
        // Bodies on bodies hand their load down, so the topmost come first.
        var handed = new Dictionary<HeldBody, LoadCases>();
        Span<double> six = stackalloc double[6];
        _checks.Begin(k);
        foreach (var body in bodies.Order) body.Answer();
        var apart = _checks.Apart(bodies.Order);
        foreach (var body in bodies.Order)
        {
            if (!handed.TryGetValue(body, out var cases)) cases = new LoadCases(_loads.Of(body.Root), _origin);
            LoadCases? Under(ContactState c)
            {
                var under = bodies.Under(c, k);
                if (under is null) return null;
                if (!handed.TryGetValue(under, out var below)) handed[under] = below = new LoadCases(_loads.Of(under.Root), _origin);
                return below;
            }
            reaction += apart ? _checks.AddApart(body, cases, Under, _origin, _reach) : _checks.Add(body, cases, Under, _origin, _reach);
            if (trace is not null)
            {
                if (!trace.Layers.TryGetValue(k, out var list)) trace.Layers[k] = list = [];
                list.Add((body.State, cases));
            }
            if (!body.CanTurn || !_loads.Pulls(body.Root)) continue;
            cases.Lift(six);
            Remark(LoadRemarkKind.BodyCanTurn, -1, body.Root, k, _loads.PlaceOf(body.Root, k), body.UnheldMoment(six));
        }
        if (!apart) _checks.End(_scene.Resin.ApproachShare);
        return new LayerLoad(separation, cups, weight, reaction);
    }

    private void Remark(LoadRemarkKind kind, int segment, int body, int layer, Vec3 at, double amount)
    {
        var key = (kind, body >= 0 ? body : segment);
        _remarks[key] = _remarks.TryGetValue(key, out var old)
            ? old with { LastLayer = layer + 1, Amount = Math.Max(old.Amount, amount) }
            : new LoadRemark(kind, segment, body, layer + 1, layer + 1, at, amount);
    }

    private List<LoadRemark> Remarks()
    {
        var list = new List<LoadRemark>();
        foreach (var c in _missing) list.Add(new LoadRemark(LoadRemarkKind.ContactMissesFigure, c.Contact.Segment, -1, 0, 0, c.Contact.At, 0));
        foreach (var s in _frame.Floating) list.Add(new LoadRemark(LoadRemarkKind.StrutStandsOnNothing, s, -1, 0, 0, _scene.Struts.Segments[s].From, 0));
        foreach (var s in _frame.LooseBraces) list.Add(new LoadRemark(LoadRemarkKind.BraceLoose, s, -1, 0, 0, _scene.Struts.Segments[s].From, 0));
        list.AddRange(_remarks.Values.OrderBy(r => r.FirstLayer).ThenBy(r => r.Kind).ThenBy(r => r.Body));
        return list;
    }

    private List<ContactLoad> ContactLoads()
    {
        var first = new Dictionary<int, int>(); // earliest contact layer of each body
        foreach (var c in _contacts) first[c.Body] = Math.Min(first.GetValueOrDefault(c.Body, int.MaxValue), c.FromLayer);
        var list = new List<ContactLoad>();
        foreach (var c in _contacts)
        {
            var begins = !_groundedLeaf[c.Body] && c.FromLayer == first[c.Body] && c.FromLayer - _figure.Bodies[c.Body].FirstLayer <= 4;
            var capacity = _checks.TipCapacityN(c.Contact);
            list.Add(new ContactLoad(c.Contact.Segment, c.Contact.At, c.Body, c.FromLayer + 1, c.PullN, c.SideShiftMm, begins, c.CupPullN > 0.2 * capacity));
        }
        foreach (var c in _missing) list.Add(new ContactLoad(c.Contact.Segment, c.Contact.At, -1, 0, 0, 0, false, false));
        return list;
    }
}
