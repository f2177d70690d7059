using Stiltwright.Geometry;

namespace Stiltwright.Printing.Loads;

/// <summary>Keeps, from layer to layer, which bodies there are and which contacts hold them.</summary>
internal sealed class HeldBodies
{
    private readonly FigureLayers _figure;
    private readonly bool[] _groundedLeaf;
    private readonly Vec3 _origin;
    private readonly double _reach;
    private readonly Queue<ContactState> _toJoin;
    private readonly Queue<int> _mergeLayers;
    private readonly int[] _baseLeaves;
    private readonly SortedDictionary<int, HeldBody> _bodies = [];
    private readonly HashSet<int> _grounded = [];
    private readonly int[] _groundedList;

    public HeldBodies(FigureLayers figure, List<ContactState> contacts, bool[] groundedLeaf, Vec3 origin, double reach)
    {
        (_figure, _groundedLeaf, _origin, _reach) = (figure, groundedLeaf, origin, reach);
        _toJoin = new Queue<ContactState>(contacts.OrderBy(c => c.FromLayer).ThenBy(c => c.Index));
        _baseLeaves = [.. contacts.Where(c => c.BaseBody >= 0).Select(c => c.BaseBody).Distinct().Order()];
        _groundedList = [.. Enumerable.Range(0, groundedLeaf.Length).Where(b => groundedLeaf[b])];
        _mergeLayers = new Queue<int>(figure.Bodies.Where(b => b.MergesInto >= 0 && b.MergeLayer < figure.Count).Select(b => b.MergeLayer).Distinct().Order());
    }

    /// <summary>Bodies that are held, those that stand on others first.</summary>
    public List<HeldBody> Order { get; private set; } = [];

    /// <summary>True if a body stands on raft or platform.</summary>
    public bool IsGrounded(int root) => _grounded.Contains(root);

    /// <summary>True if contacts hold a body, if need be by way of other bodies.</summary>
    public bool IsHeld(int root) => _bodies.TryGetValue(root, out var b) && b.Storey >= 0;

    /// <summary>The held body with a number, null if there is none.</summary>
    public HeldBody? Find(int root) => _bodies.GetValueOrDefault(root);

    /// <summary>Goes on to a layer.</summary>
    public void StepTo(int layer)
    {
        var merges = layer == 0;
        while (_mergeLayers.TryPeek(out var at) && at <= layer) { _mergeLayers.Dequeue(); merges = true; }
        var joins = _toJoin.TryPeek(out var next) && next.FromLayer <= layer;
        if (!merges && !joins) return;
        var changed = new HashSet<int>();
        if (merges) Merge(layer, changed);
        while (_toJoin.TryPeek(out next) && next.FromLayer <= layer)
        {
            _toJoin.Dequeue();
            var root = _figure.RootAt(next.Body, layer);
            if (_grounded.Contains(root) || (next.BaseBody >= 0 && _figure.RootAt(next.BaseBody, layer) == root)) continue;
            if (!_bodies.TryGetValue(root, out var body)) _bodies[root] = body = new HeldBody(root, _origin, _reach);
            body.Join(next);
            changed.Add(root);
        }
        if (changed.Count == 0) return;
        var carriers = _baseLeaves.Where(b => _figure.Bodies[b].FirstLayer <= layer).Select(b => _figure.RootAt(b, layer)).ToHashSet();
        foreach (var (root, body) in _bodies)
            body.Expect(carriers.Contains(root), changed.Contains(root));
        Storeys(layer);
    }

    private void Merge(int layer, HashSet<int> changed)
    {
        _grounded.Clear();
        foreach (var leaf in _groundedList)
            if (_figure.Bodies[leaf].FirstLayer <= layer) _grounded.Add(_figure.RootAt(leaf, layer));
        foreach (var old in _bodies.Keys.ToArray())
        {
            var root = _figure.RootAt(old, layer);
            if (_grounded.Contains(root)) { _bodies.Remove(old); changed.Add(root); continue; }
            if (root == old) continue;
            var moving = _bodies[old];
            _bodies.Remove(old);
            changed.Add(root);
            if (!_bodies.TryGetValue(root, out var stay)) { _bodies[root] = Again(root, [moving], layer); continue; }
            // The larger one's factors are kept; the smaller one's contacts join it.
            _bodies[root] = Again(root, Count(moving) > Count(stay) ? [moving, stay] : [stay, moving], layer);
        }
    }

    private static int Count(HeldBody body) => body.Holds.Sum(h => h.Contacts.Count);

    private HeldBody Again(int root, HeldBody[] parts, int layer)
    {
        bool Inside(ContactState c) => c.BaseBody >= 0 && _figure.RootAt(c.BaseBody, layer) == root; // a strut between two places of one body
        var body = new HeldBody(root, _origin, _reach);
        var rest = new List<ContactState>();
        foreach (var part in parts)
            foreach (var hold in part.Holds)
            {
                if (ReferenceEquals(part, parts[0]) && !hold.Contacts.Any(Inside)) body.Holds.Add(hold);
                else rest.AddRange(hold.Contacts.Where(c => !Inside(c)));
            }
        foreach (var c in rest) body.Join(c);
        return body;
    }

    // How many bodies lie between each one and the ground.
    private void Storeys(int layer)
    {
        foreach (var b in _bodies.Values) b.Storey = -1;
        for (var storey = 0; ; storey++)
        {
            var found = new List<HeldBody>();
            foreach (var b in _bodies.Values)
            {
                if (b.Storey >= 0) continue;
                foreach (var c in b.Holds.SelectMany(h => h.Contacts))
                {
                    var under = c.BaseBody < 0 ? -1 : _figure.RootAt(c.BaseBody, layer);
                    if (under >= 0 && !_grounded.Contains(under) && !(_bodies.TryGetValue(under, out var u) && u.Storey >= 0)) continue;
                    found.Add(b);
                    break;
                }
            }
            foreach (var b in found) b.Storey = storey;
            if (found.Count == 0) break;
        }
        Order = [.. _bodies.Values.Where(b => b.Storey >= 0 && b.Holds.Count > 0).OrderByDescending(b => b.Storey).ThenBy(b => b.Root)];
    }

    /// <summary>Body, at a layer, that a contact's strut stands on; null for raft, platform or a body that stands there.</summary>
    public HeldBody? Under(ContactState contact, int layer) =>
        contact.BaseBody < 0 ? null : _bodies.GetValueOrDefault(_figure.RootAt(contact.BaseBody, layer));
}
