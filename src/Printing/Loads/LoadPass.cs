using Stiltwright.Geometry;

namespace Stiltwright.Printing.Loads;

/// <summary>Some layers of a print, one after the other; the layers before them are followed but not looked at.</summary>
internal sealed class LoadPass(LoadScene scene, StrutFrame frame, List<ContactState> contacts, bool[] groundedLeaf, Vec3 origin, double reach,
    int from, int to, bool[]? only, LoadTrace? trace)
{
    private readonly FigureLayers _figure = scene.Figure;
    private readonly LayerLoads _loads = new(scene);
    private readonly AnswerRoom _room = new();

    /// <summary>The worst so far.</summary>
    public StrutChecks Checks { get; } = new(scene, frame, contacts);

    /// <summary>The contacts, with what was learned of them.</summary>
    public List<ContactState> Contacts { get; } = contacts;

    /// <summary>What is kept for asking how uses depend on sizes; null if nothing is.</summary>
    public LoadTrace? Trace { get; } = trace;

    /// <summary>Loads of the layers that were looked at.</summary>
    public LayerLoad[] Layers { get; } = new LayerLoad[scene.Figure.Count];

    /// <summary>What could not be treated as usual, by kind and body or segment.</summary>
    public Dictionary<(LoadRemarkKind Kind, int Of), LoadRemark> Remarks { get; } = [];

    /// <summary>Works through the layers.</summary>
    public void Run(CancellationToken cancellation)
    {
        var bodies = new HeldBodies(_figure, Contacts, groundedLeaf, origin, reach);
        if (from == 0) Checks.StandFree();
        for (var k = 0; k < to; k++)
        {
            if ((k & 63) == 0) cancellation.ThrowIfCancellationRequested();
            bodies.StepTo(k);
            _loads.StepTo(k);
            if (k >= from && (only is null || only[k])) Layers[k] = Evaluate(k, bodies);
        }
    }

    /// <summary>Adds what a pass through later layers found.</summary>
    public void Add(LoadPass later)
    {
        Checks.Add(later.Checks);
        for (var i = 0; i < Contacts.Count; i++) Contacts[i].Add(later.Contacts[i]);
        for (var k = 0; k < Layers.Length; k++)
            if (later.Layers[k] != default) Layers[k] = later.Layers[k];
        foreach (var (key, r) in later.Remarks)
            Remarks[key] = Remarks.TryGetValue(key, out var old) ? old with { LastLayer = r.LastLayer, Amount = Math.Max(old.Amount, r.Amount) } : r;
    }

    private LayerLoad Evaluate(int k, HeldBodies bodies)
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
        Checks.Begin(k);
        foreach (var body in bodies.Order) body.Answer(_room);
        var apart = Checks.Apart(bodies.Order);
        foreach (var body in bodies.Order)
        {
            if (!handed.TryGetValue(body, out var cases)) cases = new LoadCases(_loads.Of(body.Root), origin);
            LoadCases? Under(ContactState c)
            {
                var under = bodies.Under(c, k);
                if (under is null) return null;
                if (!handed.TryGetValue(under, out var below)) handed[under] = below = new LoadCases(_loads.Of(under.Root), origin);
                return below;
            }
            reaction += Checks.Add(body, cases, Under, apart, origin, reach);
            if (Trace is not null)
            {
                if (!Trace.Layers.TryGetValue(k, out var list)) Trace.Layers[k] = list = [];
                list.Add((body.State, cases));
            }
            if (!body.CanTurn || !_loads.Pulls(body.Root)) continue;
            cases.Lift(six);
            Remark(LoadRemarkKind.BodyCanTurn, -1, body.Root, k, _loads.PlaceOf(body.Root, k), body.UnheldMoment(six));
        }
        Checks.End(scene.Resin.ApproachShare);
        return new LayerLoad(separation, cups, weight, reaction);
    }

    private void Remark(LoadRemarkKind kind, int segment, int body, int layer, Vec3 at, double amount)
    {
        var key = (kind, body >= 0 ? body : segment);
        Remarks[key] = Remarks.TryGetValue(key, out var old)
            ? old with { LastLayer = layer + 1, Amount = Math.Max(old.Amount, amount) }
            : new LoadRemark(kind, segment, body, layer + 1, layer + 1, at, amount);
    }
}
