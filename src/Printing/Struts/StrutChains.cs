using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>Reads the accepted tubes as chains from raft to figure and builds the graph from them.</summary>
internal sealed class StrutChains
{
    /// <summary>A tip that does not taper is shorter than this many of its radii.</summary>
    private const double MostTipShare = 12;

    private readonly Scene _scene;
    private readonly StrutEvidence _evidence;
    private readonly SortedSet<int> _accepted;
    private readonly Dictionary<int, int> _chain = [];
    private readonly Dictionary<int, bool> _turned = [];
    private readonly Dictionary<int, Role> _partRole = [];
    private readonly Dictionary<int, int> _firstSegment = [];
    private readonly Dictionary<int, int> _above = [];
    private readonly List<StrutSegment> _segments = [];

    /// <summary>For an end of a tube, the tubes whose own end lies on it without its lying on them.</summary>
    private readonly Dictionary<(int Part, int End), List<EndJoin>> _endsOn = [];

    public StrutChains(Scene scene, StrutEvidence evidence, SortedSet<int> accepted)
    {
        _scene = scene;
        _evidence = evidence;
        _accepted = accepted;
        foreach (var m in accepted)
            for (var e = 0; e < 2; e++)
                foreach (var j in scene.Parts[m].Joins[e])
                    if (j.OtherEnd >= 0 && accepted.Contains(j.Other) && !scene.Parts[j.Other].Joins[j.OtherEnd].Any(k => k.Other == m))
                    {
                        if (!_endsOn.TryGetValue((j.Other, j.OtherEnd), out var list)) _endsOn[(j.Other, j.OtherEnd)] = list = [];
                        list.Add(new EndJoin(m, e == 0 ? 0 : scene.Parts[m].Tube!.Pieces.Count - 1, e, scene.Parts[m].EndRadius(e), e));
                    }
    }

    /// <summary>Role of a whole shell that was accepted: that of its longest segment.</summary>
    public Role RoleOf(int shell) => _partRole[shell];

    /// <summary>The shells of the graph by source shell, joint balls last.</summary>
    public List<int> SourceShells { get; } = [];

    public StrutGraph Build(IReadOnlyList<int> balls)
    {
        Trace();
        var shells = new List<StrutShell>();
        var cutter = new LocalShell.Cutter(_scene.Mesh);
        // Chains in order, from the raft upwards; braces after them.
        var order = _accepted.OrderBy(m => _chain[m]).ThenBy(m => Depth(m)).ThenBy(m => m).ToList();
        foreach (var m in order)
        {
            _firstSegment[m] = _segments.Count;
            var tube = Oriented(m);
            var roles = PieceRoles(m, tube);
            var ids = new List<int>();
            for (var i = 0; i < tube.Pieces.Count; i++)
            {
                var g = tube.Pieces[i];
                ids.Add(_segments.Count);
                _segments.Add(new StrutSegment
                {
                    Id = _segments.Count,
                    Chain = _chain[m],
                    Role = roles[i],
                    From = g.A,
                    To = g.B,
                    RadiusFrom = g.RadiusA,
                    RadiusTo = g.RadiusB,
                    Sides = g.Section.Sides,
                    AreaShare = g.Section.AreaShare,
                    InertiaShare = g.Section.InertiaShare,
                    Confidence = _evidence.Confidence[m],
                    Shell = shells.Count,
                    FromJoins = i > 0 ? [_segments.Count - 1] : [],
                    ToJoins = i + 1 < tube.Pieces.Count ? [_segments.Count + 1] : [],
                    FromHeldBy = i > 0 ? EndHeldBy.Strut : EndHeldBy.Nothing,
                    ToHeldBy = i + 1 < tube.Pieces.Count ? EndHeldBy.Strut : EndHeldBy.Nothing,
                });
            }
            _partRole[m] = tube.Pieces.Count == 1 ? roles[0] : roles.Contains(Role.Pillar) ? Role.Pillar
                : roles.Select((r, i) => (r, tube.Pieces[i].Length)).GroupBy(x => x.r).MaxBy(x => x.Sum(y => y.Length))!.Key;
            shells.Add(new StrutShell(_scene.Parts[m].Mended ?? cutter.TakeMesh(_scene.Parts[m].Shell.Triangles), ids, []));
            SourceShells.Add(m);
        }
        Hold(order);
        foreach (var b in balls)
        {
            shells.Add(new StrutShell(cutter.TakeMesh(_scene.Parts[b].Shell.Triangles), [], JointSegments(b)));
            SourceShells.Add(b);
        }
        return new StrutGraph(_segments, shells);
    }

    /// <summary>From every contact down to the ground; what is on no such way is a brace.</summary>
    private void Trace()
    {
        var next = 0;
        foreach (var m in _accepted)
        {
            var part = _scene.Parts[m];
            if (part.Low || _chain.ContainsKey(m)) continue;
            var upper = _evidence.MeetsFigure(part, 1) ? 1 : _evidence.MeetsFigure(part, 0) && !_evidence.OnFigure.Contains(m) ? 0 : -1;
            if (upper < 0) continue;
            var id = next++;
            var at = m;
            var top = upper;
            var child = -1;
            while (true)
            {
                _chain[at] = id;
                _turned[at] = top == 0;
                if (child >= 0) _above[at] = child;
                var (parent, parentTop) = Below(_scene.Parts[at], 1 - top);
                if (parent < 0 || _chain.ContainsKey(parent)) break;
                child = at;
                at = parent;
                top = parentTop;
            }
        }
        foreach (var m in _accepted)
        {
            if (_chain.ContainsKey(m)) continue;
            // Foot discs and feet that a pillar passes through belong to the pillar's chain.
            var on = _accepted.Where(o => o != m && _chain.ContainsKey(o) && StandsIn(_scene.Parts[o], m)).ToList();
            var ground = _evidence.Grounded(_scene.Parts[m], 0) || _scene.Parts[m].Low;
            _turned[m] = false;
            if (ground && on.Count > 0 && _scene.Parts[m].Tube!.Length < 4 * _scene.Parts[m].Tube!.LargestRadius)
            {
                // Of several that overlap it, the one that stands in its middle.
                var own = on.MinBy(o => _scene.Parts[m].Tube!.Nearest(_scene.Parts[o].End(_turned[o] ? 1 : 0)).Distance);
                _chain[m] = _chain[own];
                _above[m] = own;
                _partRole[m] = Role.Foot;
            }
        }
        foreach (var m in _accepted)
            if (!_chain.ContainsKey(m))
            {
                _chain[m] = next++;
                _partRole[m] = Role.Brace;
            }
    }

    private static bool StandsIn(ScenePart part, int foot) => part.OnLow[0] == foot || part.OnLow[1] == foot || part.Joins.Any(l => l.Any(j => j.Other == foot));

    /// <summary>The tube that carries this one at its lower end, and which of its ends is the upper one there; -1 for none.</summary>
    private (int Part, int Top) Below(ScenePart part, int end)
    {
        if (part.Low) return (-1, 1);
        var grounded = _evidence.Grounded(part, end);
        (int Part, int Top) best = (-1, 1);
        double bestRadius = 0;
        var found = new List<(int Part, int Top, double Radius)>();
        foreach (var j in part.Joins[end].Concat(_endsOn.TryGetValue((part.Index, end), out var back) ? back : []))
        {
            if (!_accepted.Contains(j.Other)) continue;
            var other = _scene.Parts[j.Other];
            // An end on the ground is carried by nothing but its own foot: wider, shorter, on the ground too.
            // Feet of neighbours overlap: its own is the one in whose middle it stands.
            if (grounded && !other.Low && !(_evidence.Grounded(other, 0) && other.Tube!.Length < 4 * other.Tube.LargestRadius && other.EndRadius(0) > 1.05 * part.EndRadius(end) && other.Tube!.Length < part.Tube!.Length
                && other.Tube.Nearest(part.End(end)).Distance < 0.5 * other.EndRadius(0))) continue;
            var top = j.OtherEnd >= 0 && !other.Low ? j.OtherEnd : 1;
            // The carrier leads down: its far end is lower than the junction.
            if (!other.Low && other.End(1 - top).Z > part.End(end).Z + 1e-6 && !_evidence.OnFigure.Contains(other.Index))
            {
                if (j.OtherEnd >= 0 && !grounded) continue;
                top = 1;
                if (other.End(0).Z > part.End(end).Z + _scene.Settings.TouchMm) continue;
            }
            var weight = j.Radius * (j.OtherEnd >= 0 ? 1.3 : 1);
            // Where several struts pass close by, its own ends just where it begins.
            if (j.OtherEnd >= 0 && !other.Low)
                weight *= 1 + 0.5 * Math.Max(0, 1 - part.End(end).DistanceTo(other.End(j.OtherEnd)) / (0.5 * j.Radius));
            // Of several feet its own: the one it stands in the middle of.
            if (grounded) weight = 1 / (1 + other.Tube!.Nearest(part.End(end)).Distance);
            found.Add((j.Other, top, weight));
        }
        foreach (var f in found)
        {
            // The topmost of several: one that stands on another candidate comes before it.
            var carried = found.Any(o => o.Part != f.Part && o.Radius > 0.6 * part.EndRadius(end)
                && _scene.Parts[o.Part].Joins[1 - o.Top].Any(j => j.Other == f.Part)
                && part.Joins[end].Any(j => j.Other == o.Part && j.OtherEnd >= 0));
            var weight = carried ? f.Radius * 0.01 : f.Radius;
            if (weight > bestRadius)
            {
                bestRadius = weight;
                best = (f.Part, f.Top);
            }
        }
        if (best.Part < 0 && part.OnLow[end] >= 0 && _accepted.Contains(part.OnLow[end])) return (part.OnLow[end], 1);
        return best;
    }

    private TubeShape Oriented(int m) => _turned[m] ? _scene.Parts[m].Tube!.Reversed() : _scene.Parts[m].Tube!;

    /// <summary>Steps from the contact down to the part: sorts a chain from the raft upwards.</summary>
    private int Depth(int m)
    {
        var n = 0;
        while (_above.TryGetValue(m, out var up) && n < 1000)
        {
            n--;
            m = up;
        }
        return n;
    }

    private Role[] PieceRoles(int m, TubeShape tube)
    {
        var part = _scene.Parts[m];
        var n = tube.Pieces.Count;
        var roles = new Role[n];
        if (_partRole.TryGetValue(m, out var fixedRole))
        {
            Array.Fill(roles, fixedRole);
            return roles;
        }
        Array.Fill(roles, IsFoot(m) ? Role.Foot : Role.Pillar);
        if (roles[0] == Role.Foot) return roles;
        var low = _turned[m] ? 1 : 0;
        var carried = Below(part, low).Part;
        var onFigure = part.OnBulk[low] is not null && _evidence.OnFigure.Contains(m);
        var atFigure = _evidence.MeetsFigure(part, 1 - low);
        var grounded = _evidence.Grounded(part, low);

        if (n == 1)
        {
            if (onFigure && !atFigure || IsTip(m) || _above.TryGetValue(m, out var up) && IsTip(up) && LeadsToTip(m)) roles[0] = Role.Tip;
            return roles;
        }

        var shaft = tube.Pieces.MaxBy(p => p.Length);
        var narrow = Math.Min(shaft.RadiusA, shaft.RadiusB);
        if (grounded)
            for (var i = 0; i + 1 < n; i++)
            {
                // A foot ends in a shoulder, or tapers quickly.
                var g = tube.Pieces[i];
                if (g.Length > 4 * g.RadiusA || !(tube.Pieces[i + 1].RadiusA <= g.RadiusB / 1.15 || g.RadiusB <= 0.75 * g.RadiusA)) break;
                roles[i] = Role.Foot;
            }
        if (atFigure)
            for (var i = n - 1; i > 0 && roles[i] == Role.Pillar; i--)
            {
                var g = tube.Pieces[i];
                var bulge = i + 1 < n && g.Length < 2 * g.RadiusA && g.RadiusA < 0.8 * narrow;
                if (g.RadiusB > (i == n - 1 ? 0.95 : 0.75) * g.RadiusA && !bulge) break;
                roles[i] = Role.Tip;
            }
        if (onFigure)
            for (var i = 0; i + 1 < n && roles[i] == Role.Pillar && tube.Pieces[i].RadiusA < 0.85 * tube.Pieces[i].RadiusB; i++) roles[i] = Role.Tip;
        return roles;
    }

    /// <summary>A single piece that ends at the figure, stands on a shaft, and tapers or is thinner than that shaft.</summary>
    private bool IsTip(int m)
    {
        var part = _scene.Parts[m];
        if (part.Low || part.Tube!.Pieces.Count != 1) return false;
        var low = _turned[m] ? 1 : 0;
        var carried = Below(part, low).Part;
        if (!_evidence.MeetsFigure(part, 1 - low) || carried < 0 || _scene.Parts[carried].Low || IsFoot(carried)) return false;
        var g = Oriented(m).Pieces[0];
        if (g.RadiusB < 0.95 * g.RadiusA || part.Joins[low].Any(j => j.Other == carried && j.Radius > 1.25 * g.RadiusA)) return true;
        // The end piece of a strut that does not taper: short against itself and against the shaft it goes on from.
        return g.Length < MostTipShare * g.RadiusA && g.Length < 0.7 * _scene.Parts[carried].Tube!.Length && part.Joins[low].Any(j => j.Other == carried && j.OtherEnd >= 0);
    }

    /// <summary>The first half of a bent tip: short, and tapering towards the second.</summary>
    private bool LeadsToTip(int m)
    {
        var g = Oriented(m).Pieces[0];
        var carried = Below(_scene.Parts[m], _turned[m] ? 1 : 0).Part;
        return carried >= 0 && !_scene.Parts[carried].Low && !IsFoot(carried) && g.RadiusB < 0.85 * g.RadiusA && g.Length < 4 * g.RadiusA;
    }

    /// <summary>Stands on the ground, carries another tube, is stubby, and wider than that.</summary>
    private bool IsFoot(int m)
    {
        var part = _scene.Parts[m];
        if (!_above.TryGetValue(m, out var up) || !_evidence.Grounded(part, _turned[m] ? 1 : 0)) return false;
        var tube = Oriented(m);
        var next = Oriented(up);
        if (_scene.Parts[up].Joins.All(l => l.All(j => j.Other != m)) && _scene.Parts[up].OnLow.All(l => l != m)) return false;
        if (!(tube.Length < 4 * tube.LargestRadius && tube.RadiusA >= 1.1 * next.RadiusA) || Below(part, _turned[m] ? 1 : 0).Part >= 0) return false;
        // A short shaft with nothing but a tip on it is no foot.
        return !(next.Pieces.Count == 1 && _evidence.MeetsFigure(_scene.Parts[up], _turned[up] ? 0 : 1) && next.RadiusB < 0.85 * next.RadiusA
            && !_evidence.Grounded(_scene.Parts[up], _turned[up] ? 1 : 0));
    }

    /// <summary>Fills in who holds the ends of each shell's first and last segment, and the contacts.</summary>
    private void Hold(List<int> order)
    {
        var reverse = new Dictionary<(int Part, int End), List<int>>();
        foreach (var m in order)
        {
            var part = _scene.Parts[m];
            for (var e = 0; e < 2; e++)
                foreach (var j in part.Joins[e])
                    if (_accepted.Contains(j.Other) && j.OtherEnd >= 0)
                    {
                        if (!reverse.TryGetValue((j.Other, j.OtherEnd), out var list)) reverse[(j.Other, j.OtherEnd)] = list = [];
                        list.Add(SegmentAt(m, e));
                    }
        }
        foreach (var m in order)
        {
            var part = _scene.Parts[m];
            for (var e = 0; e < 2; e++)
            {
                var id = SegmentAt(m, e);
                var from = (e == 0) != _turned[m];
                var joins = new SortedSet<int>();
                foreach (var j in part.Joins[e])
                    if (_accepted.Contains(j.Other)) joins.Add(SegmentOf(j.Other, j.Piece));
                if (part.OnLow[e] >= 0 && _accepted.Contains(part.OnLow[e])) joins.Add(SegmentOf(part.OnLow[e], 0));
                if (reverse.TryGetValue((m, e), out var back)) joins.UnionWith(back);
                // A foot carries its pillar; a grounded end stands on its foot alone.
                if (_evidence.Grounded(part, e) && part.OnBulk[e] is null && from)
                {
                    var below = Below(part, e).Part;
                    joins.Clear();
                    if (below >= 0) joins.Add(SegmentOf(below, 0));
                }
                else if (_segments[id].Role == Role.Foot && !from && _above.TryGetValue(m, out var up))
                {
                    joins.Clear();
                    joins.Add(SegmentAt(up, _turned[up] ? 1 : 0));
                }
                joins.Remove(id);
                var contact = part.OnBulk[e];
                EndHeldBy held;
                Vec3? at = null, normal = null;
                if (contact is not null && (joins.Count == 0 || part.Thins(e, 0.95)))
                {
                    held = EndHeldBy.Figure;
                    (at, normal) = (contact.Point, contact.Normal);
                    joins.Clear();
                }
                else if (part.Low && e == 0) held = EndHeldBy.Platform;
                else if (joins.Count > 0) held = EndHeldBy.Strut;
                else if (part.OnLow[e] >= 0) held = EndHeldBy.Raft;
                else if (part.OnPlatform[e]) held = EndHeldBy.Platform;
                else if (part.Joins[e].Count > 0)
                {
                    // A tube that is no strut: a slender part of the figure.
                    held = EndHeldBy.Figure;
                    var met = part.Joins[e].Select(j => _scene.Contact(part, e, _scene.Parts[j.Other].Shell.Triangles)).FirstOrDefault(c => c is not null);
                    at = met?.Point ?? part.End(e);
                    normal = met?.Normal ?? (part.End(1 - e) - part.End(e)).Unit();
                }
                else held = EndHeldBy.Nothing;
                var s = _segments[id];
                s = from ? s with { FromHeldBy = held, FromJoins = [.. joins] } : s with { ToHeldBy = held, ToJoins = [.. joins] };
                if (at is not null) s = s with { Contact = at, ContactNormal = normal };
                _segments[id] = s;
            }
        }
    }

    private int SegmentAt(int m, int end)
    {
        var n = _scene.Parts[m].Tube!.Pieces.Count;
        return _firstSegment[m] + ((end == 0) != _turned[m] ? 0 : n - 1);
    }

    private int SegmentOf(int m, int piece)
    {
        var n = _scene.Parts[m].Tube!.Pieces.Count;
        return _firstSegment[m] + (_turned[m] ? n - 1 - piece : piece);
    }

    private List<int> JointSegments(int ball)
    {
        var result = new SortedSet<int>();
        var b = _scene.Parts[ball].Ball!;
        foreach (var t in _scene.TubesOfBall[ball])
            if (_accepted.Contains(t)) result.Add(SegmentOf(t, _scene.Parts[t].Tube!.Nearest(b.Centre).Piece));
        return [.. result];
    }
}
