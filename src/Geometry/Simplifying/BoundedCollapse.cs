using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Simplifying;

/// <summary>
/// Draws edges of a closed 2-manifold mesh together, cheapest first, as long as the result stays within a limit of the original:
/// every original vertex knows a triangle of the result that lies near it, and its exact distance from that triangle decides
/// (Klein, Liebich, Strasser 1996); so does the exact distance of every new vertex from the original surface.
/// Costs are quadrics. The work goes in passes: in each, edges below a threshold (a share of all costs) are drawn together,
/// slab of space by slab in parallel. An edge whose star reaches over a border of slabs waits for the next pass, whose slabs are
/// shifted; so the result is the same for any number of threads.
/// </summary>
internal sealed class BoundedCollapse
{
    private const int MostPasses = 80;
    private const double LengthWeight = 1e-5;
    private readonly Lattice _lattice;
    private readonly CornerTable _table;
    private readonly Vec3[] _points;
    private readonly Quadric[] _quadrics;
    private readonly TriangleTree _original;
    // Original vertices near a triangle of the result, as lists: the first one of each triangle, the next one of each vertex; -1 ends a list.
    private readonly int[] _first, _next;
    private readonly bool[] _moved;
    private readonly bool[] _locked;
    private readonly float[] _cost;
    private readonly byte[] _weighed, _merged, _touched;
    private readonly int[] _owner;
    private readonly double _limit;
    private readonly bool _careful;
    private readonly ParallelOptions _options;
    private int _live;

    /// <param name="original">The surface as it was.</param>
    /// <param name="table">Its connectivity; changed.</param>
    /// <param name="locked">Vertices that stay.</param>
    /// <param name="limit">Distance within which corners of either surface stay from the other, mm.</param>
    /// <param name="careful">Holds the middles of new edges and triangles to the limit as well: slower.</param>
    /// <param name="maxThreads">Threads at most.</param>
    /// <param name="cancel">Stops the work.</param>
    internal BoundedCollapse(TriangleTree original, CornerTable table, bool[] locked, double limit, bool careful, int maxThreads, CancellationToken cancel)
    {
        _original = original;
        _lattice = original.Mesh.Lattice;
        _table = table;
        _locked = locked;
        _limit = limit;
        _careful = careful;
        _options = new ParallelOptions { MaxDegreeOfParallelism = TriangleTree.Threads(maxThreads).MaxDegreeOfParallelism, CancellationToken = cancel };
        var xyz = original.Mesh.XyzArray;
        var vertices = xyz.Length / 3;
        _points = new Vec3[vertices];
        _quadrics = new Quadric[vertices];
        _merged = new byte[vertices];
        _touched = new byte[vertices];
        _owner = new int[vertices];
        _first = new int[table.Vertex.Length / 3];
        _next = new int[vertices];
        _moved = new bool[vertices];
        _first.AsSpan().Fill(-1);
        _cost = new float[table.Vertex.Length];
        _weighed = new byte[table.Vertex.Length];
        _live = _first.Length;
        var unit = _lattice.UnitMm;
        For(vertices, (from, to) =>
        {
            for (var v = from; v < to; v++) _points[v] = new Vec3(xyz[3 * v] * unit, xyz[3 * v + 1] * unit, xyz[3 * v + 2] * unit);
        });
        For(vertices, (from, to) =>
        {
            for (var v = from; v < to; v++)
            {
                int first = table.CornerOf[v], c = first;
                if (first < 0) continue;
                do
                {
                    _quadrics[v].Add(_points[v], _points[table.Vertex[CornerTable.Next(c)]], _points[table.Vertex[CornerTable.Previous(c)]]);
                    c = table.Around(c);
                }
                while (c != first);
            }
        });
    }

    /// <summary>Draws together until no more than so many triangles are left or nothing more is allowed.</summary>
    internal (int[] Xyz, int[] Corners) Run(int leastTriangles)
    {
        var share = 0.25;
        int slabs = 32, idle = 0;
        for (var pass = 1; pass < MostPasses && _live > leastTriangles; pass++)
        {
            var wanted = (double)(_live - leastTriangles) / _live;
            if (Threshold(pass, Math.Min(share, Math.Max(0.02, 0.7 * wanted))) is not { } threshold) break;
            var before = _live;
            Pass(pass, threshold, slabs, leastTriangles);
            var gone = before - _live;
            if (gone * 20L < before) share = Math.Min(1, 2 * share);
            idle = gone * 50L < before ? idle + 1 : 0;
            // Long edges that reach over the slabs get wider ones in the end.
            if (idle < 2 || share < 1) continue;
            if (slabs == 1) break;
            slabs /= 4;
            idle = 0;
            if (slabs == 0) slabs = 1;
        }
        return Packed();
    }

    private void For(int count, Action<int, int> work) =>
        Parallel.For(0, Ranges.Count(count), _options, r => work(r * Ranges.Size, Math.Min(count, (r + 1) * Ranges.Size)));

    // Brings all costs up to date and gives the one below which a share of them lies; null where no edge is left to try.
    private float? Threshold(int pass, double share)
    {
        var corners = _cost.Length;
        For(corners, (from, to) =>
        {
            for (var c = from; c < to; c++)
            {
                if (_table.Vertex[c] < 0) continue;
                int a = _table.Vertex[CornerTable.Next(c)], b = _table.Vertex[CornerTable.Previous(c)];
                if (a < b) Weigh(c, a, b, pass);
            }
        });
        var every = Math.Max(1, corners / 300_000);
        var sample = new List<float>();
        for (var c = 0; c < corners; c += every)
            if (_table.Vertex[c] >= 0 && _table.Vertex[CornerTable.Next(c)] < _table.Vertex[CornerTable.Previous(c)] && float.IsFinite(_cost[c])) sample.Add(_cost[c]);
        if (sample.Count == 0) return every == 1 ? null : float.MaxValue;
        sample.Sort();
        return sample[Math.Min(sample.Count - 1, (int)(share * sample.Count))];
    }

    // A cost stands as long as neither end was merged; a refusal as long as nothing changed around the ends.
    private float Weigh(int c, int a, int b, int pass)
    {
        var weighed = _weighed[c];
        var cost = _cost[c];
        if (weighed > 0 && (float.IsFinite(cost) ? _merged[a] < weighed && _merged[b] < weighed : _touched[a] < weighed && _touched[b] < weighed)) return cost;
        _weighed[c] = (byte)pass;
        if (_locked[a] || _locked[b]) return _cost[c] = float.PositiveInfinity;
        Quadric.Sum(_quadrics[a], _quadrics[b], out var q);
        var p = Place(q, a, b);
        return _cost[c] = (float)(Math.Max(0, q.At(p)) + LengthWeight * q.Weight * (_points[a] - _points[b]).LengthSquared);
    }

    private Vec3 Place(in Quadric q, int a, int b)
    {
        var middle = (_points[a] + _points[b]) * 0.5;
        var p = q.LeastNear(middle);
        return (p - middle).LengthSquared <= (_points[a] - _points[b]).LengthSquared ? p : middle;
    }

    private void Pass(int pass, float threshold, int slabs, int leastTriangles)
    {
        // Slabs across the longest side, shifted by half a slab every other pass.
        var box = Box3.Empty;
        foreach (var v in _table.Vertex)
            if (v >= 0) box = box.With(_points[v]);
        var size = box.Size;
        var axis = size.X >= size.Y && size.X >= size.Z ? 0 : size.Y >= size.Z ? 1 : 2;
        var width = size[axis] / slabs;
        double origin = box.Min[axis], shift = pass % 2 == 0 ? 0 : width / 2;
        For(_points.Length, (from, to) =>
        {
            for (var v = from; v < to; v++) _owner[v] = Math.Clamp((int)((_points[v][axis] - origin + shift) / width), 0, slabs);
        });
        var vertex = _table.Vertex;
        var start = new int[slabs + 2];
        for (var t = 0; t < vertex.Length; t += 3)
            if (vertex[t] >= 0) start[_owner[vertex[t]] + 1]++;
        for (var s = 0; s <= slabs; s++) start[s + 1] += start[s];
        var fill = start.AsSpan(0, slabs + 1).ToArray();
        var order = new int[start[^1]];
        for (var t = 0; t < vertex.Length; t += 3)
            if (vertex[t] >= 0) order[fill[_owner[vertex[t]]]++] = t;
        var excess = (_live - leastTriangles + 1) / 2;
        var drawn = new int[slabs + 1];
        Parallel.For(0, slabs + 1, _options, s =>
        {
            // Each slab may draw together its part of what is still too many.
            var most = leastTriangles == 0 ? int.MaxValue : (int)Math.Ceiling((double)excess * (start[s + 1] - start[s]) / order.Length);
            var work = new Work();
            for (var i = start[s]; i < start[s + 1] && drawn[s] < most; i++)
                for (var k = 0; k < 3; k++)
                {
                    var c = order[i] + k;
                    if (vertex[c] < 0) break;
                    int a = vertex[CornerTable.Next(c)], b = vertex[CornerTable.Previous(c)];
                    if (a > b || _owner[a] != s || _owner[b] != s || !(Weigh(c, a, b, pass) <= threshold) || float.IsInfinity(_cost[c])) continue;
                    switch (Try(c, a, b, s, pass, work))
                    {
                        case true: drawn[s]++; break;
                        case false: (_cost[c], _weighed[c]) = (float.PositiveInfinity, (byte)pass); break;
                    }
                }
        });
        foreach (var d in drawn) _live -= 2 * d;
    }

    private sealed class Work
    {
        public readonly Star Star = new();
        public readonly List<int> Vertices = [];
        public readonly List<int> Places = [];
        public int Seed = -1;
    }

    // True where the edge was drawn together, false where it must not be, null where another slab has a say.
    private bool? Try(int corner, int a, int b, int slab, int pass, Work work)
    {
        var star = work.Star;
        if (!star.Gather(_table, corner)) return false;
        foreach (var v in star.Loop)
            if (_owner[v] != slab) return null;
        if (!star.Face(_points)) return false;
        Quadric.Sum(_quadrics[a], _quadrics[b], out var q);
        var p = Place(q, a, b);
        p = new Vec3(_lattice.ToMm(_lattice.Round(p.X)), _lattice.ToMm(_lattice.Round(p.Y)), _lattice.ToMm(_lattice.Round(p.Z)));
        if (!star.Covers(_points, _points[a], _points[b], p) || !Near(a, b, p, work)) return false;
        ReadOnlySpan<int> ringA = star.RingA.AsSpan(0, star.CountA), ringB = star.RingB.AsSpan(0, star.CountB);
        foreach (var v in star.Loop) _touched[v] = (byte)pass;
        _points[a] = p;
        _quadrics[a] = q;
        _merged[a] = _touched[a] = (byte)pass;
        _moved[a] = _moved[b] = true;
        _table.Collapse(corner, ringB);
        foreach (var c in ringA) _first[c / 3] = -1;
        foreach (var c in ringB) _first[c / 3] = -1;
        for (var i = 0; i < work.Vertices.Count; i++)
        {
            var t = star.TriangleOf(work.Places[i]);
            _next[work.Vertices[i]] = _first[t];
            _first[t] = work.Vertices[i];
        }
        return true;
    }

    // Whether all original vertices near the star stay within the limit of the new fan, and its middle within that of the original.
    private bool Near(int a, int b, Vec3 p, Work work)
    {
        var star = work.Star;
        work.Vertices.Clear();
        work.Places.Clear();
        if (!_moved[a] && !Stays(a) || !_moved[b] && !Stays(b)) return false;
        for (var i = 0; i < star.CountA; i++)
            if (!AllStay(star.RingA[i] / 3)) return false;
        // The first and the last triangle around b are shared with a.
        for (var i = 1; i < star.CountB - 1; i++)
            if (!AllStay(star.RingB[i] / 3)) return false;
        if (!NearOriginal(p, work)) return false;
        if (!_careful) return true;
        var loop = star.Loop;
        for (int i = loop.Length - 1, j = 0; j < loop.Length; i = j++)
        {
            Vec3 from = _points[loop[i]], to = _points[loop[j]];
            if (!NearOriginal((p + to) * 0.5, work) || !NearOriginal((p + from + to) / 3, work)) return false;
        }
        return true;

        bool AllStay(int triangle)
        {
            for (var v = _first[triangle]; v >= 0; v = _next[v])
                if (!Stays(v)) return false;
            return true;
        }

        bool Stays(int v)
        {
            var place = star.Under(_points, _original.Mesh.Vertex(v), out var distance2);
            work.Vertices.Add(v);
            work.Places.Add(place);
            return distance2 <= _limit * _limit;
        }
    }

    private bool NearOriginal(Vec3 point, Work work)
    {
        var within = _limit * _limit;
        var place = _original.ClosestPlace(point, null, ref within, work.Seed);
        if (place < 0) return false;
        work.Seed = place;
        return true;
    }

    private (int[] Xyz, int[] Corners) Packed()
    {
        var number = new int[_points.Length];
        number.AsSpan().Fill(-1);
        var xyz = new List<int>(3 * _live / 2 + 12);
        var corners = new int[3 * _live];
        var at = 0;
        foreach (var v in _table.Vertex)
        {
            if (v < 0) continue;
            if (number[v] < 0)
            {
                number[v] = xyz.Count / 3;
                xyz.Add(_lattice.Round(_points[v].X));
                xyz.Add(_lattice.Round(_points[v].Y));
                xyz.Add(_lattice.Round(_points[v].Z));
            }
            corners[at++] = number[v];
        }
        return (xyz.ToArray(), corners);
    }
}
