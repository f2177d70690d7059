using Stiltwright.Geometry.Exact;

namespace Stiltwright.Geometry.Cutting;

/// <summary>One run of <see cref="PlaneCut"/>.</summary>
internal sealed class PlaneCutRun
{
    // Integer normals go up to 2^25, coordinates to 2^24: n.p stays below 2^51, twice that below 2^52, exact in long.
    private const double NormalScale = 1 << 25;

    // A crossed triangle, turned so that corner 0 (Apex) is alone on its side; P lies on edge 0-1, Q on edge 2-0.
    private readonly record struct Crossed(int Triangle, int Apex, int Next, int Last, int P, int Q, bool ApexAbove);

    private readonly Mesh _mesh;
    private readonly int[] _xyz, _corners;
    private readonly long _nx, _ny, _nz, _twiceD;
    private readonly double _unitsOfN;
    private readonly CutPoints _points = new();
    private readonly List<Crossed> _crossed = [];

    public PlaneCutRun(Mesh mesh, Vec3 n, double offsetMm)
    {
        _mesh = mesh;
        (_xyz, _corners) = (mesh.XyzArray, mesh.CornersArray);
        var scale = NormalScale / Math.Max(Math.Abs(n.X), Math.Max(Math.Abs(n.Y), Math.Abs(n.Z)));
        (_nx, _ny, _nz) = ((long)Math.Round(n.X * scale), (long)Math.Round(n.Y * scale), (long)Math.Round(n.Z * scale));
        var reach = 4.0 * Lattice.MaxUnits;
        _twiceD = 2 * (long)Math.Round(Math.Clamp(offsetMm * mesh.Lattice.UnitsPerMm, -reach, reach) * scale) + 1;
        _unitsOfN = scale;
    }

    // Twice n.p - d, an odd number: never zero.
    private long Height(int v) => 2 * (_nx * _xyz[3 * v] + _ny * _xyz[3 * v + 1] + _nz * _xyz[3 * v + 2]) - _twiceD;

    public PlaneCutResult Run()
    {
        var above = new bool[_mesh.VertexCount];
        for (var v = 0; v < above.Length; v++) above[v] = Height(v) > 0;
        var below = new List<int>();
        var over = new List<int>();
        var known = new Dictionary<(int, int), int>();
        for (var i = 0; i < _corners.Length; i += 3)
        {
            bool a = above[_corners[i]], b = above[_corners[i + 1]], c = above[_corners[i + 2]];
            if (a == b && b == c)
            {
                var kept = a ? over : below;
                kept.Add(_corners[i]);
                kept.Add(_corners[i + 1]);
                kept.Add(_corners[i + 2]);
                continue;
            }
            var k = b == c ? 0 : a == c ? 1 : 2;
            int apex = _corners[i + k], next = _corners[i + (k + 1) % 3], last = _corners[i + (k + 2) % 3];
            _crossed.Add(new Crossed(i / 3, apex, next, last, PointOn(known, apex, next), PointOn(known, last, apex), above[apex]));
        }
        if (_crossed.Count == 0) return new PlaneCutResult(Half(below, 0, []), Half(over, 0, []), 0, 0, below.Count / 3, over.Count / 3);

        int belowKept = below.Count, overKept = over.Count;
        var chains = new Dictionary<int, int[]>();
        var (sheets, area) = Caps(chains);
        var newXyz = new List<int>();
        var vertexOfPoint = new int[_points.Count];
        Array.Fill(vertexOfPoint, -1);
        int At(int point)
        {
            point = _points.Canonical(point);
            if (vertexOfPoint[point] < 0) vertexOfPoint[point] = Make(point);
            return vertexOfPoint[point];
        }
        int Make(int point)
        {
            for (var k = 0; k < 3; k++) newXyz.Add(_points.Rounded(point, k));
            return _mesh.VertexCount + newXyz.Count / 3 - 1;
        }
        Split(chains, At, below, over);
        foreach (var s in sheets)
        {
            s.Below.Emit(false, At, Make, below);
            s.Above.Emit(true, At, Make, over);
        }
        var (low, lowKept) = Close(below, belowKept, newXyz);
        var (high, highKept) = Close(over, overKept, newXyz);
        return new PlaneCutResult(low, high, area, _crossed.Count, lowKept, highKept);
    }

    private int PointOn(Dictionary<(int, int), int> known, int p, int q)
    {
        if (p > q) (p, q) = (q, p);
        if (known.TryGetValue((p, q), out var point)) return point;
        long hp = Height(p), hq = Height(q);
        return known[(p, q)] = _points.AddOnEdge(_xyz[3 * p], _xyz[3 * p + 1], _xyz[3 * p + 2], _xyz[3 * q], _xyz[3 * q + 1], _xyz[3 * q + 2], hp, (Int128)hp - hq);
    }

    private (List<(PatchSheets Below, PatchSheets Above)>, double AreaMm2) Caps(Dictionary<int, int[]> chains)
    {
        var groups = ShellGroups.Of(_mesh);
        var byGroup = new SortedDictionary<int, List<int>>();
        for (var i = 0; i < _crossed.Count; i++)
        {
            var g = groups.OfVertex[_crossed[i].Apex];
            if (!byGroup.TryGetValue(g, out var list)) byGroup[g] = list = [];
            list.Add(i);
        }
        var sheets = new List<(PatchSheets, PatchSheets)>();
        var plane = new Arrangement(_points);
        double area = 0;
        foreach (var list in byGroup.Values)
        {
            RefuseOpen(list);
            StartPlane(plane);
            try
            {
                foreach (var i in list)
                {
                    var (start, end) = Ends(_crossed[i]);
                    plane.Add(start, 0);
                    plane.Add(end, 0);
                }
                foreach (var i in list)
                {
                    var (start, end) = Ends(_crossed[i]);
                    plane.AddSegment(plane.Add(start, 0), plane.Add(end, 0));
                }
                if (plane.Entangled) ReadChains(plane, list, chains);
            }
            catch (InvalidOperationException e)
            {
                throw new CuttingException("The section could not be divided: " + e.Message, _mesh.Vertex(_crossed[list[0]].Apex), e);
            }
            if (!plane.Settle()) throw new CuttingException("The shells cut here are not closed", _mesh.Vertex(_crossed[list[0]].Apex));
            PatchSheets low = new(), high = new();
            var outside = plane.Relative(plane.TriangleAtCorner(0));
            for (var t = 0; t < plane.TriangleCount; t++)
            {
                var w = plane.Relative(t) - outside;
                for (var k = 0; k < 3; k++)
                {
                    var o = plane.Beside(t, k);
                    if (o <= t || !plane.OnSegment(t, k)) continue;
                    int p = _points.Canonical(plane.Corner(t, k)), q = _points.Canonical(plane.Corner(t, (k + 1) % 3)), beside = plane.Relative(o) - outside;
                    low.AddCurve(p, q, w, beside);
                    high.AddCurve(p, q, w, beside);
                }
                if (w == 0) continue;
                int a = plane.Corner(t, 0), b = plane.Corner(t, 1), c = plane.Corner(t, 2);
                if (a < 0 || b < 0 || c < 0) throw new CuttingException("The shells cut here are not closed", _mesh.Vertex(_crossed[list[0]].Apex));
                (a, b, c) = (_points.Canonical(a), _points.Canonical(b), _points.Canonical(c));
                low.AddTriangle(a, b, c, w);
                high.AddTriangle(a, b, c, w);
                if (w > 0) area += (Place(b) - Place(a)).Cross(Place(c) - Place(a)).Length / 2;
            }
            sheets.Add((low, high));
        }
        var u = _mesh.Lattice.UnitMm;
        return (sheets, area * u * u);
    }

    private Vec3 Place(int point) => new(_points.Coordinate(point, 0), _points.Coordinate(point, 1), _points.Coordinate(point, 2));

    // A triangle in the plane that holds every lattice point's projection along the normal's largest part.
    private void StartPlane(Arrangement plane)
    {
        const int m = 1 << 25;
        double ax = Math.Abs((double)_nx), ay = Math.Abs((double)_ny), az = Math.Abs((double)_nz);
        var w = ax >= ay && ax >= az ? 0 : ay >= az ? 1 : 2;
        var (u, v) = ((w + 1) % 3, (w + 2) % 3);
        if ((w == 0 ? _nx : w == 1 ? _ny : _nz) < 0) (u, v) = (v, u);
        Span<int> corners = stackalloc int[9];
        corners.Clear();
        (corners[u], corners[v]) = (-m, -m);
        (corners[3 + u], corners[3 + v]) = (3 * m, -m);
        (corners[6 + u], corners[6 + v]) = (-m, 3 * m);
        plane.Start(corners, (_nx, _ny, _nz), _twiceD, 2);
    }

    // Seen from above, the group's inside lies left of the way from the edge that goes down through the plane to the one that comes up.
    private static (int Start, int End) Ends(in Crossed c) => c.ApexAbove ? (c.P, c.Q) : (c.Q, c.P);

    private void RefuseOpen(List<int> list)
    {
        var balance = new Dictionary<int, int>();
        foreach (var i in list)
        {
            var (start, end) = Ends(_crossed[i]);
            balance[start] = balance.GetValueOrDefault(start) + 1;
            balance[end] = balance.GetValueOrDefault(end) - 1;
        }
        foreach (var i in list)
            foreach (var point in (ReadOnlySpan<int>)[_crossed[i].P, _crossed[i].Q])
                if (balance[point] != 0) throw new CuttingException("The plane cuts a shell that is not closed", Place(point) * _mesh.Lattice.UnitMm);
    }

    private void ReadChains(Arrangement plane, List<int> list, Dictionary<int, int[]> chains)
    {
        var chain = new List<int>();
        foreach (var i in list)
        {
            var (start, end) = Ends(_crossed[i]);
            plane.Chain(plane.Add(start, 0), plane.Add(end, 0), chain);
            if (!_crossed[i].ApexAbove) chain.Reverse();
            if (chain.Count != 2) chains[i] = chain.ToArray();
        }
    }

    private void Split(Dictionary<int, int[]> chains, Func<int, int> at, List<int> below, List<int> over)
    {
        for (var i = 0; i < _crossed.Count; i++)
        {
            var c = _crossed[i];
            var (tip, rest) = c.ApexAbove ? (over, below) : (below, over);
            int p = at(c.P), q = at(c.Q);
            Add(rest, p, c.Next, c.Last);
            if (!chains.TryGetValue(i, out var chain))
            {
                Add(tip, c.Apex, p, q);
                Add(rest, c.Last, q, p);
                continue;
            }
            for (var k = 0; k + 1 < chain.Length; k++)
            {
                int x = at(chain[k]), y = at(chain[k + 1]);
                Add(tip, c.Apex, x, y);
                Add(rest, c.Last, y, x);
            }
        }

        static void Add(List<int> corners, int a, int b, int c)
        {
            if (a == b || b == c || c == a) return;
            corners.Add(a);
            corners.Add(b);
            corners.Add(c);
        }
    }

    private (Mesh Mesh, int Kept) Close(List<int> corners, int kept, List<int> newXyz)
    {
        (int, int, int) At(int v)
        {
            if (v < _mesh.VertexCount) return (_xyz[3 * v], _xyz[3 * v + 1], _xyz[3 * v + 2]);
            v = 3 * (v - _mesh.VertexCount);
            return (newXyz[v], newXyz[v + 1], newXyz[v + 2]);
        }
        var fresh = Coincident.Merge(corners.GetRange(kept, corners.Count - kept), At, _mesh.VertexCount);
        corners.RemoveRange(kept, corners.Count - kept);
        corners.AddRange(fresh);
        var span = System.Runtime.InteropServices.CollectionsMarshal.AsSpan(corners);
        if (EdgeSum.Of(span) != 0)
        {
            var (a, _) = EdgeSum.FirstOpen(span);
            var (x, y, z) = At(a);
            throw new CuttingException("A half would not be closed; the shells are open there", new Vec3(x, y, z) * _mesh.Lattice.UnitMm);
        }
        return (Half(corners, kept, newXyz, out var keptNow), keptNow / 3);
    }

    private Mesh Half(List<int> corners, int kept, List<int> newXyz) => Half(corners, kept, newXyz, out _);

    // Drops pieces that lie within one unit of the plane, then vertices no longer used.
    private Mesh Half(List<int> corners, int kept, List<int> newXyz, out int keptNow)
    {
        var xyz = new int[_xyz.Length + newXyz.Count];
        _xyz.CopyTo(xyz, 0);
        newXyz.CopyTo(xyz, _xyz.Length);
        keptNow = kept;
        if (newXyz.Count > 0)
        {
            var link = new int[xyz.Length / 3];
            for (var v = 0; v < link.Length; v++) link[v] = v;
            for (var i = 0; i < corners.Count; i += 3)
                for (var k = 1; k < 3; k++)
                {
                    int a = Root(link, corners[i]), b = Root(link, corners[i + k]);
                    if (a != b) link[Math.Max(a, b)] = Math.Min(a, b);
                }
            var thick = new bool[link.Length];
            var limit = 2.1 * _unitsOfN;
            foreach (var c in corners)
                if (Math.Abs((double)_nx * xyz[3 * c] + (double)_ny * xyz[3 * c + 1] + (double)_nz * xyz[3 * c + 2] - _twiceD / 2.0) > limit / 2) thick[Root(link, c)] = true;
            var left = new List<int>(corners.Count);
            for (var i = 0; i < corners.Count; i += 3)
            {
                if (!thick[Root(link, corners[i])]) continue;
                left.Add(corners[i]);
                left.Add(corners[i + 1]);
                left.Add(corners[i + 2]);
            }
            if (left.Count != corners.Count)
            {
                keptNow = 0;
                for (var i = 0; i < kept; i += 3)
                    if (thick[Root(link, corners[i])]) keptNow += 3;
            }
            corners = left;
        }
        return Compact.Used(_mesh.Lattice, xyz, corners.ToArray());
    }

    private static int Root(int[] link, int v)
    {
        while (link[v] != v) v = link[v] = link[link[v]];
        return v;
    }
}
