using Stiltwright.Geometry.Exact;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Cutting;

/// <summary>
/// What one group of shells does to the surface of the tool: each tool triangle the group crosses is divided, and the group's winding
/// number is carried from corner to corner (equal across triangles that are not crossed, by one more or less across a curve).
/// </summary>
internal sealed class ToolSide
{
    private readonly record struct Facet(int Tool, int First, int Count, int Rel0, int Rel1, int Rel2);
    private readonly record struct Piece(int A, int B, int C, int Rel);
    private readonly record struct Curve(int A, int B, int Rel, int Beside, int Facet);

    private readonly Mesh _tool;
    private readonly int[] _tc;
    private readonly List<int> _region = [];
    private readonly List<Facet> _facets = [];
    private readonly List<Piece> _pieces = [];
    private readonly List<Curve> _curves = [];
    private readonly List<int> _vertices = [];
    private readonly Dictionary<int, int> _crossed = [];
    // Weighted union-find over the vertices of the region: winding here minus winding at the parent.
    private int[] _parent = [], _over = [];
    private readonly Dictionary<int, int> _base = [];
    private readonly List<(int Vertex, int Local)> _asked = [];

    public ToolSide(Mesh tool, int group)
    {
        _tool = tool;
        _tc = tool.CornersArray;
        Group = group;
    }

    public int Group { get; }

    public bool Crossed => _facets.Count > 0;

    /// <summary>Vertices of the tool at which a ray must tell (or confirm) the group's winding number.</summary>
    public IEnumerable<int> Asked => _asked.Select(a => a.Vertex);

    /// <summary>Divides one crossed tool triangle. Chains get the points found along segments that met others.</summary>
    public void Divide(int t, ReadOnlySpan<CutSegment> segments, Arrangement plane, Dictionary<(int Soup, int Tool), int[]> chains)
    {
        var xyz = _tool.XyzArray;
        int a = 3 * _tc[3 * t], b = 3 * _tc[3 * t + 1], c = 3 * _tc[3 * t + 2];
        var normal = Predicates.Normal(xyz, a, b, c);
        var d = (Int128)normal.X * xyz[a] + (Int128)normal.Y * xyz[a + 1] + (Int128)normal.Z * xyz[a + 2];
        plane.Start([xyz[a], xyz[a + 1], xyz[a + 2], xyz[b], xyz[b + 1], xyz[b + 2], xyz[c], xyz[c + 1], xyz[c + 2]], normal, d);
        foreach (var s in segments)
        {
            plane.Add(s.End, s.EndOnTool);
            plane.Add(s.Start, s.StartOnTool);
        }
        // Seen in the tool's triangle the inside of the soup lies left of the segment run backwards.
        foreach (var s in segments) plane.AddSegment(plane.Add(s.End, s.EndOnTool), plane.Add(s.Start, s.StartOnTool));
        if (plane.Entangled)
        {
            var chain = new List<int>();
            foreach (var s in segments)
            {
                plane.Chain(plane.Add(s.End, s.EndOnTool), plane.Add(s.Start, s.StartOnTool), chain);
                chain.Reverse();
                if (chain.Any(p => p < 0)) throw new CuttingException("A curve of the cut runs through a corner of the tool", _tool.Vertex(_tc[3 * t]));
                chains[(s.Soup, t)] = chain.ToArray();
            }
        }
        if (!plane.Settle()) throw new CuttingException("The shells cut here are not closed", _tool.Vertex(_tc[3 * t]));
        var facet = _facets.Count;
        _crossed[t] = facet;
        _facets.Add(new Facet(t, _pieces.Count, plane.TriangleCount, plane.Relative(plane.TriangleAtCorner(0)),
            plane.Relative(plane.TriangleAtCorner(1)), plane.Relative(plane.TriangleAtCorner(2))));
        for (var i = 0; i < plane.TriangleCount; i++)
        {
            int x = Code(i, 0), y = Code(i, 1), z = Code(i, 2);
            _pieces.Add(new Piece(x, y, z, plane.Relative(i)));
            for (var k = 0; k < 3; k++)
            {
                var o = plane.Beside(i, k);
                if (o > i && plane.OnSegment(i, k)) _curves.Add(new Curve(Code(i, k), Code(i, (k + 1) % 3), plane.Relative(i), plane.Relative(o), facet));
            }
        }

        int Code(int i, int k)
        {
            var code = plane.Corner(i, k);
            return code >= 0 ? code : ~_tc[3 * t + ~code];
        }
    }

    /// <summary>
    /// Carries windings over the tool's triangles near the group. <paramref name="box"/>: the group's box in units, outside which it winds 0 times.
    /// <paramref name="local"/>: scratch, one entry a tool vertex, all -1 on entry and exit.
    /// </summary>
    public void Spread(ReadOnlySpan<int> box, TriangleTree tree, int[] local)
    {
        var xyz = _tool.XyzArray;
        var u = _tool.Lattice.UnitMm;
        tree.Overlapping(new Box3(new Vec3(box[0] * u, box[1] * u, box[2] * u), new Vec3(box[3] * u, box[4] * u, box[5] * u)).Grown(2 * u), _region);
        _region.Sort();
        foreach (var t in _region)
            for (var k = 0; k < 3; k++)
                if (local[_tc[3 * t + k]] < 0)
                {
                    local[_tc[3 * t + k]] = _vertices.Count;
                    _vertices.Add(_tc[3 * t + k]);
                }
        _parent = new int[_vertices.Count];
        _over = new int[_vertices.Count];
        for (var i = 0; i < _parent.Length; i++) _parent[i] = i;
        foreach (var t in _region)
        {
            int a = local[_tc[3 * t]], b = local[_tc[3 * t + 1]], c = local[_tc[3 * t + 2]];
            int overB = 0, overC = 0;
            if (_crossed.TryGetValue(t, out var f)) (overB, overC) = (_facets[f].Rel1 - _facets[f].Rel0, _facets[f].Rel2 - _facets[f].Rel0);
            if (!Tie(b, a, overB) || !Tie(c, a, overC)) throw new CuttingException("The windings of the shells around the tool contradict each other: they are not closed", _tool.Vertex(_tc[3 * t]));
        }
        var touched = new HashSet<int>();
        foreach (var f in _facets) touched.Add(Find(local[_tc[3 * f.Tool]]));
        for (var i = 0; i < _vertices.Count; i++)
        {
            var v = 3 * _vertices[i];
            var outside = xyz[v] < box[0] || xyz[v] > box[3] || xyz[v + 1] < box[1] || xyz[v + 1] > box[4] || xyz[v + 2] < box[2] || xyz[v + 2] > box[5];
            if (!outside) continue;
            var root = Find(i);
            if (_base.TryGetValue(root, out var known) && known != -_over[i]) throw new CuttingException("The windings of the shells around the tool contradict each other: they are not closed", _tool.Vertex(_vertices[i]));
            _base[root] = -_over[i];
        }
        // One ray for each part without a vertex outside, and for each winding met on a part that is crossed, as a check.
        var seen = new HashSet<(int, int)>();
        for (var i = 0; i < _vertices.Count; i++)
        {
            var root = Find(i);
            var ask = touched.Contains(root) ? seen.Add((root, _over[i])) : !_base.ContainsKey(root) && seen.Add((root, 0));
            if (ask) _asked.Add((_vertices[i], i));
        }
        foreach (var v in _vertices) local[v] = -1;
    }

    /// <summary>Takes the rays' answers, in the order of <see cref="Asked"/>.</summary>
    public void Answer(IReadOnlyList<int> windings)
    {
        for (var i = 0; i < _asked.Count; i++)
        {
            var at = _asked[i].Local;
            var root = Find(at);
            var here = windings[i] - _over[at];
            if (!_base.TryAdd(root, here) && _base[root] != here)
                throw new CuttingException($"Windings by ray ({windings[i]}) and by steps across curves ({_base[root] + _over[at]}) differ: the shells are not closed", _tool.Vertex(_asked[i].Vertex));
        }
    }

    /// <summary>The patches of the tool inside the group.</summary>
    public PatchSheets Patches(CutPoints points)
    {
        var sheets = new PatchSheets();
        var local = new Dictionary<int, int>();
        var any = _base.Values.Any(w => w != 0) || _facets.Count > 0;
        if (!any) return sheets;
        for (var i = 0; i < _vertices.Count; i++) local[_vertices[i]] = i;
        int Winding(int vertex)
        {
            var i = local[vertex];
            var root = Find(i);
            return _base[root] + _over[i];
        }
        int Canonical(int code) => code >= 0 ? points.Canonical(code) : code;
        foreach (var t in _region)
        {
            if (_crossed.TryGetValue(t, out var f))
            {
                var shift = Winding(_tc[3 * t]) - _facets[f].Rel0;
                for (var i = _facets[f].First; i < _facets[f].First + _facets[f].Count; i++)
                {
                    var p = _pieces[i];
                    sheets.AddTriangle(Canonical(p.A), Canonical(p.B), Canonical(p.C), p.Rel + shift);
                }
            }
            else sheets.AddTriangle(~_tc[3 * t], ~_tc[3 * t + 1], ~_tc[3 * t + 2], Winding(_tc[3 * t]));
        }
        foreach (var c in _curves)
        {
            var shift = Winding(_tc[3 * _facets[c.Facet].Tool]) - _facets[c.Facet].Rel0;
            sheets.AddCurve(Canonical(c.A), Canonical(c.B), c.Rel + shift, c.Beside + shift);
        }
        return sheets;
    }

    private int Find(int i)
    {
        var root = i;
        var over = 0;
        while (_parent[root] != root) { over += _over[root]; root = _parent[root]; }
        while (_parent[i] != root && i != root)
        {
            var next = _parent[i];
            var o = _over[i];
            (_parent[i], _over[i]) = (root, over);
            over -= o;
            i = next;
        }
        return root;
    }

    // Winding at i is `over` more than at j.
    private bool Tie(int i, int j, int over)
    {
        int ri = Find(i), rj = Find(j);
        int oi = ri == i ? 0 : _over[i], oj = rj == j ? 0 : _over[j];
        if (ri == rj) return oi == oj + over;
        // w(i) = w(ri) + oi = w(rj) + oj + over
        if (rj < ri) (_parent[ri], _over[ri]) = (rj, oj + over - oi);
        else (_parent[rj], _over[rj]) = (ri, oi - oj - over);
        return true;
    }
}
