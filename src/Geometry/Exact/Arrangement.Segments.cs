using System.Numerics;

namespace Stiltwright.Geometry.Exact;

internal sealed partial class Arrangement
{
    /// <summary>
    /// Lays a directed segment between two vertices given by <see cref="Add"/>; the count left of it is <paramref name="step"/> higher than right.
    /// </summary>
    public void AddSegment(int a, int b, int step = 1)
    {
        var number = _segments.Count;
        _segments.Add((a, b));
        var end = b;
        while (a != end) a = Advance(a, end, number, step);
    }

    /// <summary>The points along the segment from vertex a to vertex b as now divided, both ends included.</summary>
    public void Chain(int a, int b, List<int> chain)
    {
        chain.Clear();
        chain.Add(_id[a]);
        var at = a;
        for (var guard = 0; at != b; guard++)
        {
            if (guard > _n) throw new InvalidOperationException("A segment was lost in its facet.");
            var next = -1;
            foreach (var v in StarOf(at))
                if (v.Fixed && (v.Vertex == b || Turn(at, b, v.Vertex) == 0 && Ahead(at, b, v.Vertex))) { next = v.Vertex; break; }
            if (next < 0) throw new InvalidOperationException("A segment was lost in its facet.");
            chain.Add(_id[next]);
            at = next;
        }
    }

    private readonly List<(int Vertex, bool Fixed)> _around = [];

    private List<(int Vertex, bool Fixed)> StarOf(int a)
    {
        _around.Clear();
        foreach (var t in Fan(a))
        {
            var k = IndexOf(t, a);
            _around.Add((_tv[3 * t + (k + 1) % 3], _line[3 * t + k] >= 0));
            _around.Add((_tv[3 * t + (k + 2) % 3], _line[3 * t + (k + 2) % 3] >= 0));
        }
        return _around;
    }

    private readonly List<int> _fan = [];

    // The triangles around a vertex, counter-clockwise from any (from the border where there is one).
    private List<int> Fan(int a)
    {
        _fan.Clear();
        var first = _star[a];
        var t = first;
        do
        {
            _fan.Add(t);
            t = _tn[3 * t + (IndexOf(t, a) + 2) % 3];
        } while (t >= 0 && t != first);
        if (t < 0)
            for (t = _tn[3 * first + IndexOf(first, a)]; t >= 0; t = _tn[3 * t + IndexOf(t, a)]) _fan.Add(t);
        return _fan;
    }

    private int IndexOf(int t, int v) => _tv[3 * t] == v ? 0 : _tv[3 * t + 1] == v ? 1 : 2;

    // Of a vertex on the line through a and b: true if it lies on b's side of a. Exact, since points may lie far closer together than doubles tell.
    private bool Ahead(int a, int b, int v)
    {
        var along = Order(b, a, _u, _axisU);
        return along != 0 ? along == Order(v, a, _u, _axisU) : Order(b, a, _v, _axisV) * Order(v, a, _v, _axisV) > 0;
    }

    // Sign of the difference of two vertices' coordinates on an axis.
    private int Order(int p, int q, double[] near, int axis)
    {
        var d = near[p] - near[q];
        if (Math.Abs(d) > 2 * CutPoints.Error + 1e-15 * Math.Abs(near[p])) return Math.Sign(d);
        WideDecisions++;
        var (pv, pw) = ExactOf(p, axis);
        var (qv, qw) = ExactOf(q, axis);
        return (pv * qw - qv * pw).Sign;
    }

    // Lays the segment from a towards end up to the next vertex on it, which is returned.
    private int Advance(int a, int end, int number, int step)
    {
        int cross = -1, edge = -1;
        foreach (var t in Fan(a))
        {
            var k = IndexOf(t, a);
            int p = _tv[3 * t + (k + 1) % 3], q = _tv[3 * t + (k + 2) % 3];
            if (p == end) { Mark(t, k, number, step); return end; }
            if (q == end) { Mark(t, (k + 2) % 3, number, -step); return end; }
            int op = Turn(a, end, p), oq = Turn(a, end, q);
            if (op == 0 && Ahead(a, end, p)) { Entangled = true; Mark(t, k, number, step); return p; }
            if (oq == 0 && Ahead(a, end, q)) { Entangled = true; Mark(t, (k + 2) % 3, number, -step); return q; }
            if (op < 0 && oq > 0) { cross = t; edge = (k + 1) % 3; break; }
        }
        if (cross < 0) throw new InvalidOperationException("A segment leaves its facet.");

        // Edges crossed on the way to the next vertex on the line.
        _queue.Clear();
        int target;
        while (true)
        {
            if (_line[3 * cross + edge] >= 0)
            {
                var x = Meet(number, _line[3 * cross + edge]);
                Entangled = true;
                _local[_id[x]] = x;
                SplitEdge(cross, edge, x);
                return Advance(a, x, number, step);
            }
            int r = _tv[3 * cross + edge], l = _tv[3 * cross + (edge + 1) % 3];
            _queue.Enqueue((r, l));
            var o = _tn[3 * cross + edge];
            if (o < 0) throw new InvalidOperationException("A segment leaves its facet.");
            var f = 0;
            while (_tn[3 * o + f] != cross || _tv[3 * o + f] != l) f++;
            var d = _tv[3 * o + (f + 2) % 3];
            if (d == end) { target = end; break; }
            var side = Turn(a, end, d);
            if (side == 0) { target = d; Entangled = true; break; }
            cross = o;
            // o runs l -> r -> d: the next edge crossed is r-d where d is left, d-l where d is right of the segment.
            edge = side > 0 ? (f + 1) % 3 : (f + 2) % 3;
        }
        FlipAway(a, target);
        foreach (var t in Fan(a))
        {
            var k = IndexOf(t, a);
            if (_tv[3 * t + (k + 1) % 3] == target) { Mark(t, k, number, step); return target; }
            if (_tv[3 * t + (k + 2) % 3] == target) { Mark(t, (k + 2) % 3, number, -step); return target; }
        }
        throw new InvalidOperationException("A segment could not be laid in its facet.");
    }

    // Flips the queued edges until none crosses the open segment from a to b (Sloan 1993).
    private void FlipAway(int a, int b)
    {
        var guard = 1000 + 64L * _queue.Count * (_queue.Count + 8);
        while (_queue.Count > 0)
        {
            if (guard-- < 0) throw new InvalidOperationException("A segment could not be laid in its facet.");
            var (r, l) = _queue.Dequeue();
            var t = -1;
            var k = 0;
            foreach (var s in Fan(r))
            {
                k = IndexOf(s, r);
                if (_tv[3 * s + (k + 1) % 3] == l) { t = s; break; }
            }
            if (t < 0) throw new InvalidOperationException("An edge was lost in its facet.");
            var o = _tn[3 * t + k];
            var f = 0;
            while (_tn[3 * o + f] != t || _tv[3 * o + f] != l) f++;
            int c = _tv[3 * t + (k + 2) % 3], d = _tv[3 * o + (f + 2) % 3];
            if (Turn(d, c, r) <= 0 == Turn(d, c, l) <= 0 || Turn(d, c, r) == 0 || Turn(d, c, l) == 0) { _queue.Enqueue((r, l)); continue; }
            Flip(t, k);
            if (c == a || c == b || d == a || d == b) continue;
            int oc = Turn(a, b, c), od = Turn(a, b, d);
            if (oc > 0 && od < 0) _queue.Enqueue((d, c));
            else if (oc < 0 && od > 0) _queue.Enqueue((c, d));
        }
    }

    private void Mark(int t, int k, int number, int step)
    {
        var e = 3 * t + k;
        _jump[e] += step;
        if (_line[e] < 0) _line[e] = number;
        var o = _tn[e];
        if (o < 0) return;
        for (var f = 3 * o; f < 3 * o + 3; f++)
            if (_tn[f] == t && _tv[f] == _tv[Next(e)]) { _jump[f] -= step; if (_line[f] < 0) _line[f] = number; return; }
    }

    // The new vertex where two segments cross: both lines and the facet's plane, in big integers.
    private int Meet(int first, int second)
    {
        var (a1, a2, a3) = Line(first);
        var (b1, b2, b3) = Line(second);
        BigInteger u = a2 * b3 - a3 * b2, v = a3 * b1 - a1 * b3, w = a1 * b2 - a2 * b1;
        if (w.IsZero) throw new InvalidOperationException("Two segments that cross are parallel.");
        WideDecisions++;
        var n = _plane[_axisW];
        Span<int> axis = [_axisU, _axisV, _axisW];
        var xyz = new BigInteger[3];
        xyz[_axisU] = u * n;
        xyz[_axisV] = v * n;
        xyz[_axisW] = _plane[3] * w - _plane[_axisU] * u - _plane[_axisV] * v;
        var point = points.AddWide(xyz[0], xyz[1], xyz[2], w * n);
        return NewVertex(point, points.Coordinate(point, _axisU), points.Coordinate(point, _axisV), 0);
    }

    private (BigInteger, BigInteger, BigInteger) Line(int segment)
    {
        var (a, b) = _segments[segment];
        var (au, aw) = ExactOf(a, _axisU);
        var (av, _) = ExactOf(a, _axisV);
        var (bu, bw) = ExactOf(b, _axisU);
        var (bv, _) = ExactOf(b, _axisV);
        return (av * bw - aw * bv, aw * bu - au * bw, au * bv - av * bu);
    }
}
