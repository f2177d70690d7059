using Stiltwright.Geometry;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Loads;

/// <summary>A piece of a segment between two nodes; part of a tree that grows from where it stands.</summary>
/// <param name="Segment">Segment it is a piece of.</param>
/// <param name="Lower">Node nearer the tree's root.</param>
/// <param name="Upper">Node farther from it.</param>
/// <param name="RadiusLower">Corner radius at the lower node, mm.</param>
/// <param name="RadiusUpper">Corner radius at the upper node, mm.</param>
internal readonly record struct FrameElement(int Segment, int Lower, int Upper, double RadiusLower, double RadiusUpper);

/// <summary>A bar with pinned ends between two trees (or a tree and the ground): a brace.</summary>
/// <param name="Segment">Segment.</param>
/// <param name="NodeA">Node, or -1 for the ground.</param>
/// <param name="NodeB">Node, or -1 for the ground.</param>
/// <param name="A">End, mm.</param>
/// <param name="B">End, mm.</param>
internal readonly record struct FrameBar(int Segment, int NodeA, int NodeB, Vec3 A, Vec3 B);

/// <summary>A strut end on the figure.</summary>
/// <param name="Segment">Segment.</param>
/// <param name="Node">Its node.</param>
/// <param name="At">Where, mm.</param>
/// <param name="Inwards">Into the figure.</param>
/// <param name="RadiusMm">Corner radius there.</param>
internal readonly record struct FrameContact(int Segment, int Node, Vec3 At, Vec3 Inwards, double RadiusMm);

/// <summary>
/// The struts as a frame: trees of rigidly joined beams, clamped where they stand, and braces as pinned bars between
/// them. Segments are cut where another one joins along their length, so every join is a node.
/// </summary>
internal sealed class StrutFrame
{
    // What reaches less than this below its place on the figure still stands there, mm.
    private const double BelowMm = 0.5;

    private readonly StrutGraph _graph;
    private readonly List<Vec3> _place = [];
    private readonly List<FrameElement> _elements = [];
    private readonly List<FrameBar> _bars = [];
    private readonly List<FrameContact> _contacts = [];
    private int[] _parentElement = [];
    private int[] _tree = [];

    private StrutFrame(StrutGraph graph) => _graph = graph;

    /// <summary>Segments that the frame is made of.</summary>
    public StrutGraph Graph => _graph;

    /// <summary>Place of each node.</summary>
    public IReadOnlyList<Vec3> Places => _place;

    /// <summary>Elements; an element comes after the one it stands on.</summary>
    public IReadOnlyList<FrameElement> Elements => _elements;

    /// <summary>Bars.</summary>
    public IReadOnlyList<FrameBar> Bars => _bars;

    /// <summary>Ends on the figure that carry it.</summary>
    public IReadOnlyList<FrameContact> Contacts => _contacts;

    /// <summary>Element that ends at a node from below; -1 for a root.</summary>
    public int[] ParentElement => _parentElement;

    /// <summary>Tree of a node; -1 where it belongs to none.</summary>
    public int[] Tree => _tree;

    /// <summary>For each tree: the contact-like end it is clamped to when it stands on the figure, else null.</summary>
    public List<FrameContact?> StandsOnFigure { get; } = [];

    /// <summary>Root node of each tree.</summary>
    public List<int> Roots { get; } = [];

    /// <summary>Members that stand on nothing.</summary>
    public List<int> Floating { get; } = [];

    /// <summary>Braces that join no two places.</summary>
    public List<int> LooseBraces { get; } = [];

    /// <summary>Builds the frame of a graph.</summary>
    public static StrutFrame Build(StrutGraph graph)
    {
        var f = new StrutFrame(graph);
        f.Join();
        return f;
    }

    private static bool Stands(EndHeldBy e) => e is EndHeldBy.Raft or EndHeldBy.Platform;

    private void Join()
    {
        var segs = _graph.Segments;
        var n = segs.Count;
        var ends = new JoinSet(2 * n);
        var cuts = new List<(double At, int End)>[n]; // places along a segment where other ends join, by end number
        for (var i = 0; i < n; i++) cuts[i] = [];

        for (var pass = 0; pass < 2; pass++) // members first, then braces on top of them
            for (var i = 0; i < n; i++)
            {
                var brace = segs[i].Role == Role.Brace;
                if (brace != (pass == 1)) continue;
                for (var e = 0; e < 2; e++)
                {
                    var p = e == 0 ? segs[i].From : segs[i].To;
                    var r = e == 0 ? segs[i].RadiusFrom : segs[i].RadiusTo;
                    var joins = e == 0 ? segs[i].FromJoins : segs[i].ToJoins;
                    // Thick braces that end near each other on one pillar touch, thin ones no longer do: each holds to the pillar, at its own place.
                    var onMember = brace && joins.Any(j => (uint)j < (uint)n && segs[j].Role != Role.Brace && Along(segs[j], p) is var (at, gap)
                        && gap <= segs[j].RadiusFrom + (segs[j].RadiusTo - segs[j].RadiusFrom) * at + r);
                    foreach (var j in joins)
                    {
                        if ((uint)j >= (uint)n || j == i) continue;
                        if (onMember && segs[j].Role == Role.Brace) continue;
                        if (!brace && segs[j].Role == Role.Brace) continue; // a brace says itself where it joins
                        var (s, gap) = Along(segs[j], p);
                        var rj = segs[j].RadiusFrom + (segs[j].RadiusTo - segs[j].RadiusFrom) * s;
                        if (gap > 2 * (r + rj)) continue; // j joins elsewhere along this segment and says so itself
                        var near = Math.Min(0.3 * segs[j].Length, 1.2 * (r + rj));
                        if (s * segs[j].Length <= near) ends.Union(2 * i + e, 2 * j);
                        else if ((1 - s) * segs[j].Length <= near) ends.Union(2 * i + e, 2 * j + 1);
                        else if (segs[j].Role != Role.Brace || brace) cuts[j].Add((s, 2 * i + e));
                    }
                }
            }

        // An end that lies along another member is that member's node; cuts of one member closer than a radius are one node.
        for (var j = 0; j < n; j++)
        {
            cuts[j].Sort((a, b) => a.At != b.At ? a.At.CompareTo(b.At) : a.End.CompareTo(b.End));
            for (var k = 1; k < cuts[j].Count; k++)
                if ((cuts[j][k].At - cuts[j][k - 1].At) * segs[j].Length < 0.25 * (segs[j].RadiusFrom + segs[j].RadiusTo)) ends.Union(cuts[j][k].End, cuts[j][k - 1].End);
        }

        var nodeOf = new Dictionary<int, int>();
        int Node(int end, Vec3 place)
        {
            var root = ends.Find(end);
            if (nodeOf.TryGetValue(root, out var at)) return at;
            nodeOf[root] = _place.Count;
            _place.Add(place);
            return _place.Count - 1;
        }

        var pieces = new List<FrameElement>();
        for (var j = 0; j < n; j++)
        {
            var g = segs[j];
            if (g.Role == Role.Brace) continue;
            var last = Node(2 * j, EndPlace(g, 0));
            double lastS = 0;
            foreach (var (s, end) in cuts[j])
            {
                var node = Node(end, g.From + (g.To - g.From) * s);
                if (node == last) continue;
                pieces.Add(new FrameElement(j, last, node, Radius(g, lastS), Radius(g, s)));
                (last, lastS) = (node, s);
            }
            var top = Node(2 * j + 1, EndPlace(g, 1));
            if (top != last) pieces.Add(new FrameElement(j, last, top, Radius(g, lastS), g.RadiusTo));
        }
        Grow(pieces, nodeOf, ends);
        for (var j = 0; j < n; j++)
            if (segs[j].Role == Role.Brace) AddBrace(j, nodeOf, ends);
    }

    private void AddBrace(int j, Dictionary<int, int> nodeOf, JoinSet ends)
    {
        var g = _graph.Segments[j];
        int End(int e)
        {
            if (nodeOf.TryGetValue(ends.Find(2 * j + e), out var node) && _tree[node] >= 0) return node;
            return Stands(e == 0 ? g.FromHeldBy : g.ToHeldBy) ? -1 : -2;
        }
        int a = End(0), b = End(1);
        if (a == -2 || b == -2 || a == b) { LooseBraces.Add(j); return; }
        _bars.Add(new FrameBar(j, a, b, a >= 0 ? _place[a] : g.From, b >= 0 ? _place[b] : g.To));
    }

    private void Grow(List<FrameElement> pieces, Dictionary<int, int> nodeOf, JoinSet ends)
    {
        var segs = _graph.Segments;
        var nodes = _place.Count;
        _parentElement = new int[nodes];
        _tree = new int[nodes];
        Array.Fill(_parentElement, -1);
        Array.Fill(_tree, -1);
        var touching = new List<int>[nodes];
        for (var v = 0; v < nodes; v++) touching[v] = [];
        for (var p = 0; p < pieces.Count; p++) { touching[pieces[p].Lower].Add(p); touching[pieces[p].Upper].Add(p); }

        var used = new bool[pieces.Count];
        var queue = new Queue<int>();
        void Root(int node, FrameContact? on)
        {
            if (_tree[node] >= 0) return;
            _tree[node] = Roots.Count;
            Roots.Add(node);
            StandsOnFigure.Add(on);
            queue.Enqueue(node);
        }
        void Spread()
        {
            while (queue.TryDequeue(out var v))
                foreach (var p in touching[v])
                {
                    if (used[p]) continue;
                    used[p] = true;
                    var piece = pieces[p];
                    var (w, rv, rw) = piece.Lower == v ? (piece.Upper, piece.RadiusLower, piece.RadiusUpper) : (piece.Lower, piece.RadiusUpper, piece.RadiusLower);
                    if (_tree[w] >= 0) { _bars.Add(new FrameBar(piece.Segment, v, w, _place[v], _place[w])); continue; } // closes a ring
                    _tree[w] = _tree[v];
                    _parentElement[w] = _elements.Count;
                    _elements.Add(new FrameElement(piece.Segment, v, w, rv, rw));
                    queue.Enqueue(w);
                }
        }

        double Lowest(int from)
        {
            var seen = new HashSet<int> { from };
            var next = new Stack<int>();
            next.Push(from);
            var lowest = double.PositiveInfinity;
            while (next.TryPop(out var v))
            {
                lowest = Math.Min(lowest, _place[v].Z);
                foreach (var p in touching[v])
                {
                    var w = pieces[p].Lower == v ? pieces[p].Upper : pieces[p].Lower;
                    if (_tree[w] < 0 && seen.Add(w)) next.Push(w);
                }
            }
            return lowest;
        }

        for (var j = 0; j < segs.Count; j++)
        {
            if (segs[j].Role == Role.Brace) continue;
            if (Stands(segs[j].FromHeldBy)) Root(nodeOf[ends.Find(2 * j)], null);
            if (Stands(segs[j].ToHeldBy)) Root(nodeOf[ends.Find(2 * j + 1)], null);
        }
        Spread();
        // What does not stand on raft or platform may stand on the figure: the lowest such end of each rest is its root.
        var onFigure = new List<FrameContact>();
        for (var j = 0; j < segs.Count; j++)
        {
            var g = segs[j];
            if (g.Role == Role.Brace) continue;
            if (g.FromHeldBy == EndHeldBy.Figure) onFigure.Add(new FrameContact(j, nodeOf[ends.Find(2 * j)], EndPlace(g, 0), g.From - g.To, g.RadiusFrom));
            if (g.ToHeldBy == EndHeldBy.Figure) onFigure.Add(new FrameContact(j, nodeOf[ends.Find(2 * j + 1)], EndPlace(g, 1), g.To - g.From, g.RadiusTo));
        }
        foreach (var c in onFigure.OrderBy(c => c.At.Z).ThenBy(c => c.Segment))
        {
            // A rest that reaches below its lowest place on the figure begins in mid-air: it stands on nothing.
            if (_tree[c.Node] >= 0 || Lowest(c.Node) < c.At.Z - BelowMm) continue;
            Root(c.Node, c);
            Spread();
        }
        foreach (var c in onFigure)
            if (_parentElement[c.Node] >= 0) _contacts.Add(c);
        for (var j = 0; j < segs.Count; j++)
            if (segs[j].Role != Role.Brace && _tree[nodeOf[ends.Find(2 * j + 1)]] < 0) Floating.Add(j);
    }

    // The place of an end: its contact with the figure where it has one near that end.
    private static Vec3 EndPlace(StrutSegment g, int end)
    {
        var (p, by, r) = end == 0 ? (g.From, g.FromHeldBy, g.RadiusFrom) : (g.To, g.ToHeldBy, g.RadiusTo);
        if (by != EndHeldBy.Figure || g.Contact is not { } c) return p;
        var other = end == 0 ? g.To : g.From;
        return c.DistanceTo(p) < c.DistanceTo(other) && c.DistanceTo(p) < 4 * r + 0.25 * g.Length ? c : p;
    }

    private static double Radius(StrutSegment g, double s) => g.RadiusFrom + (g.RadiusTo - g.RadiusFrom) * s;

    private static (double S, double Gap) Along(StrutSegment g, Vec3 p)
    {
        var d = g.To - g.From;
        var l2 = d.LengthSquared;
        var s = l2 > 0 ? Math.Clamp((p - g.From).Dot(d) / l2, 0, 1) : 0;
        return (s, p.DistanceTo(g.From + d * s));
    }

    private sealed class JoinSet(int count)
    {
        private readonly int[] _up = [.. Enumerable.Range(0, count)];

        public int Find(int a)
        {
            while (_up[a] != a) a = _up[a] = _up[_up[a]];
            return a;
        }

        public void Union(int a, int b)
        {
            a = Find(a);
            b = Find(b);
            if (a != b) _up[Math.Max(a, b)] = Math.Min(a, b);
        }
    }
}
