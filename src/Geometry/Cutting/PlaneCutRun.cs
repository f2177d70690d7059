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

    // Bits of a vertex: above the plane; within a unit of it.
    private const byte Above = 1, Near = 2;

    public PlaneCutResult Run()
    {
        var side = new byte[_mesh.VertexCount];
        var near = (long)(2.1 * _unitsOfN);
        Ranges.For(side.Length, (_, from, to) =>
        {
            for (var v = from; v < to; v++)
            {
                var h = Height(v);
                side[v] = (byte)((h > 0 ? Above : 0) | (Math.Abs(h) <= near ? Near : 0));
            }
        });
        var (keptBelow, keptOver) = Sort(side, out var crossed, out var grazing);
        if (crossed.Count == 0)
            return new PlaneCutResult(Compact.Used(_mesh.Lattice, _xyz, [], keptBelow), Compact.Used(_mesh.Lattice, _xyz, [], keptOver), 0, 0, keptBelow.Length / 3, keptOver.Length / 3);
        var known = new Dictionary<(int, int), int>();
        foreach (var t in crossed)
        {
            int i = 3 * t, a = side[_corners[i]] & Above, b = side[_corners[i + 1]] & Above, c = side[_corners[i + 2]] & Above;
            var k = b == c ? 0 : a == c ? 1 : 2;
            int apex = _corners[i + k], next = _corners[i + (k + 1) % 3], last = _corners[i + (k + 2) % 3];
            _crossed.Add(new Crossed(t, apex, next, last, PointOn(known, apex, next), PointOn(known, last, apex), (side[apex] & Above) != 0));
        }
        var below = new List<int>();
        var over = new List<int>();
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
        var fresh = System.Runtime.InteropServices.CollectionsMarshal.AsSpan(newXyz).ToArray();
        (Mesh Mesh, int Kept) low = default, high = default;
        CuttingException? failed = null;
        Parallel.Invoke(() => Try(() => low = Close(keptBelow, below, fresh, side, grazing, 0)), () => Try(() => high = Close(keptOver, over, fresh, side, grazing, Above)));
        if (failed is not null) throw failed;
        return new PlaneCutResult(low.Mesh!, high.Mesh!, area, _crossed.Count, low.Kept, high.Kept);

        void Try(Action close)
        {
            try { close(); }
            catch (CuttingException e) { failed = e; }
        }
    }

    // Corners of the triangles wholly below and wholly above, in their old order; the others by number, and those kept ones that have a corner near the plane.
    private (int[] Below, int[] Over) Sort(byte[] side, out List<int> crossed, out List<int> grazing)
    {
        var n = _corners.Length / 3;
        var ranges = Ranges.Count(n);
        var belowAt = new int[ranges + 1];
        var overAt = new int[ranges + 1];
        var cut = new List<int>?[ranges];
        var graze = new List<int>?[ranges];
        Ranges.For(n, (r, from, to) =>
        {
            int low = 0, high = 0;
            for (var t = from; t < to; t++)
            {
                int a = side[_corners[3 * t]], b = side[_corners[3 * t + 1]], c = side[_corners[3 * t + 2]];
                var up = (a & 1) + (b & 1) + (c & 1);
                if (up == 0) low++;
                else if (up == 3) high++;
                else
                {
                    (cut[r] ??= []).Add(t);
                    continue;
                }
                if (((a | b | c) & Near) != 0) (graze[r] ??= []).Add(t);
            }
            (belowAt[r + 1], overAt[r + 1]) = (low, high);
        });
        for (var r = 0; r < ranges; r++) (belowAt[r + 1], overAt[r + 1]) = (belowAt[r + 1] + belowAt[r], overAt[r + 1] + overAt[r]);
        var below = GC.AllocateUninitializedArray<int>(3 * belowAt[ranges]);
        var over = GC.AllocateUninitializedArray<int>(3 * overAt[ranges]);
        Ranges.For(n, (r, from, to) =>
        {
            int low = 3 * belowAt[r], high = 3 * overAt[r];
            for (var i = 3 * from; i < 3 * to; i += 3)
            {
                int a = _corners[i], b = _corners[i + 1], c = _corners[i + 2];
                var up = (side[a] & 1) + (side[b] & 1) + (side[c] & 1);
                if (up == 0)
                {
                    (below[low], below[low + 1], below[low + 2]) = (a, b, c);
                    low += 3;
                }
                else if (up == 3)
                {
                    (over[high], over[high + 1], over[high + 2]) = (a, b, c);
                    high += 3;
                }
            }
        });
        crossed = [];
        grazing = [];
        for (var r = 0; r < ranges; r++)
        {
            if (cut[r] is { } c) crossed.AddRange(c);
            if (graze[r] is { } g) grazing.AddRange(g);
        }
        return (below, over);
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
            PlaneTriangle.Start(plane, (_nx, _ny, _nz), _twiceD, 2);
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

    private (Mesh Mesh, int Kept) Close(int[] kept, List<int> made, int[] newXyz, byte[] side, List<int> grazing, byte which)
    {
        (int, int, int) At(int v)
        {
            if (v < _mesh.VertexCount) return (_xyz[3 * v], _xyz[3 * v + 1], _xyz[3 * v + 2]);
            v = 3 * (v - _mesh.VertexCount);
            return (newXyz[v], newXyz[v + 1], newXyz[v + 2]);
        }
        made = Coincident.Merge(made, At, _mesh.VertexCount);
        ulong sum = 0;
        var sums = new ulong[Ranges.Count(kept.Length / 3)];
        Ranges.For(kept.Length / 3, (r, from, to) => sums[r] = EdgeSum.Of(kept.AsSpan(3 * from, 3 * (to - from))));
        foreach (var x in sums) sum += x;
        if (sum + EdgeSum.Of(System.Runtime.InteropServices.CollectionsMarshal.AsSpan(made)) != 0)
        {
            var (a, _) = EdgeSum.FirstOpen([.. kept, .. made]);
            var (x, y, z) = At(a);
            throw new CuttingException("A half would not be closed; the shells are open there", new Vec3(x, y, z) * _mesh.Lattice.UnitMm);
        }
        var corners = WithoutThinPieces(kept, made, newXyz, side, grazing, which, out var keptNow);
        return (Compact.Used(_mesh.Lattice, _xyz, newXyz, corners), keptNow / 3);
    }

    // Drops pieces that lie within one unit of the plane. Such a piece consists of triangles with all corners near it, so only triangles with a corner
    // near the plane need looking at: the new ones and those that graze it.
    private int[] WithoutThinPieces(int[] kept, List<int> made, int[] newXyz, byte[] side, List<int> grazing, byte which, out int keptNow)
    {
        var link = new Dictionary<int, int>();
        var thick = new HashSet<int>();
        int Root(int v)
        {
            var root = v;
            while (link.TryGetValue(root, out var up)) root = up;
            while (v != root && link.TryGetValue(v, out var next)) (link[v], v) = (root, next);
            return root;
        }
        bool IsNear(int v)
        {
            if (v < _mesh.VertexCount) return (side[v] & Near) != 0;
            v = 3 * (v - _mesh.VertexCount);
            return Math.Abs((double)_nx * newXyz[v] + (double)_ny * newXyz[v + 1] + (double)_nz * newXyz[v + 2] - _twiceD / 2.0) <= 1.05 * _unitsOfN;
        }
        void Join(int a, int b, int c)
        {
            int x = Root(a), y = Root(b);
            if (x != y) link[Math.Max(x, y)] = x = Math.Min(x, y);
            y = Root(c);
            if (x != y) link[Math.Max(x, y)] = Math.Min(x, y);
        }
        bool Here(int t) => (side[_corners[3 * t]] & Above) == which;
        foreach (var t in grazing)
            if (Here(t)) Join(_corners[3 * t], _corners[3 * t + 1], _corners[3 * t + 2]);
        for (var i = 0; i < made.Count; i += 3) Join(made[i], made[i + 1], made[i + 2]);
        void Mark(int v)
        {
            if (!IsNear(v)) thick.Add(Root(v));
        }
        foreach (var t in grazing)
            if (Here(t))
                for (var k = 0; k < 3; k++) Mark(_corners[3 * t + k]);
        foreach (var v in made) Mark(v);

        var thin = new HashSet<int>();
        foreach (var t in grazing)
            if (Here(t) && !thick.Contains(Root(_corners[3 * t]))) thin.Add(Root(_corners[3 * t]));
        for (var i = 0; i < made.Count; i += 3)
            if (!thick.Contains(Root(made[i]))) thin.Add(Root(made[i]));
        keptNow = kept.Length;
        if (thin.Count == 0)
        {
            var all = GC.AllocateUninitializedArray<int>(kept.Length + made.Count);
            kept.CopyTo(all, 0);
            made.CopyTo(all, kept.Length);
            return all;
        }
        var left = new List<int>(kept.Length + made.Count);
        for (var i = 0; i < kept.Length; i += 3)
            if (!thin.Contains(Root(kept[i]))) left.AddRange([kept[i], kept[i + 1], kept[i + 2]]);
        keptNow = left.Count;
        for (var i = 0; i < made.Count; i += 3)
            if (!thin.Contains(Root(made[i]))) left.AddRange([made[i], made[i + 1], made[i + 2]]);
        return left.ToArray();
    }
}
