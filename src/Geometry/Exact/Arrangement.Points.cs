namespace Stiltwright.Geometry.Exact;

internal sealed partial class Arrangement
{
    private readonly List<int> _legal = [];

    /// <summary>Puts a new vertex into the triangulation. Gives the vertex itself, or the older one at the very same place.</summary>
    private int Place(int p)
    {
        var t = _last < _nt ? _last : 0;
        var steps = 0;
        while (true)
        {
            int a = _tv[3 * t], b = _tv[3 * t + 1], c = _tv[3 * t + 2];
            int ab = Turn(a, b, p), bc = ab < 0 ? 1 : Turn(b, c, p), ca = ab < 0 || bc < 0 ? 1 : Turn(c, a, p);
            if (ab >= 0 && bc >= 0 && ca >= 0)
            {
                _last = t;
                if (ab > 0 && bc > 0 && ca > 0) { SplitInside(t, p); return p; }
                if (ab == 0 && bc == 0) return b;
                if (bc == 0 && ca == 0) return c;
                if (ca == 0 && ab == 0) return a;
                SplitEdge(t, ab == 0 ? 0 : bc == 0 ? 1 : 2, p);
                return p;
            }
            var next = _tn[3 * t + (ab < 0 ? 0 : bc < 0 ? 1 : 2)];
            // A walk in a triangulation that is not quite Delaunay may go round; then each triangle is tried in turn.
            if (next < 0 || ++steps > 4 * _nt + 16) next = Search(p);
            t = next;
        }
    }

    private int Search(int p)
    {
        for (var t = 0; t < _nt; t++)
            if (Turn(_tv[3 * t], _tv[3 * t + 1], p) >= 0 && Turn(_tv[3 * t + 1], _tv[3 * t + 2], p) >= 0 && Turn(_tv[3 * t + 2], _tv[3 * t], p) >= 0) return t;
        throw new InvalidOperationException("A cut point lies outside its facet.");
    }

    // Hangs the edge record (beside, jump, line) of a former edge on edge k of triangle t and turns the neighbour to it.
    private void Hang(int t, int k, (int Beside, int Jump, int Line) edge, int from)
    {
        var e = 3 * t + k;
        (_tn[e], _jump[e], _line[e]) = edge;
        if (edge.Beside < 0 || from == t) return;
        for (var f = 3 * edge.Beside; f < 3 * edge.Beside + 3; f++)
            if (_tn[f] == from && _tv[f] == _tv[3 * t + (k + 1) % 3] && _tv[Next(f)] == _tv[e]) { _tn[f] = t; return; }
    }

    private static int Next(int e) => e % 3 == 2 ? e - 2 : e + 1;

    private (int, int, int) Edge(int t, int k) => (_tn[3 * t + k], _jump[3 * t + k], _line[3 * t + k]);

    private void Corners(int t, int a, int b, int c)
    {
        (_tv[3 * t], _tv[3 * t + 1], _tv[3 * t + 2]) = (a, b, c);
        _star[a] = _star[b] = _star[c] = t;
    }

    private void SplitInside(int t, int p)
    {
        int a = _tv[3 * t], b = _tv[3 * t + 1], c = _tv[3 * t + 2];
        var (bc, ca) = (Edge(t, 1), Edge(t, 2));
        int t1 = NewTriangle(b, c, p), t2 = NewTriangle(c, a, p);
        Corners(t, a, b, p);
        Hang(t1, 0, bc, t);
        Hang(t2, 0, ca, t);
        Hang(t, 1, (t1, 0, -1), t);
        Hang(t, 2, (t2, 0, -1), t);
        (_tn[3 * t1 + 1], _tn[3 * t1 + 2]) = (t2, t);
        (_tn[3 * t2 + 1], _tn[3 * t2 + 2]) = (t, t1);
        _legal.Clear();
        _legal.AddRange([t, t1, t2]);
        Legalise(p);
    }

    private void SplitEdge(int t, int k, int p)
    {
        int a = _tv[3 * t + k], b = _tv[3 * t + (k + 1) % 3], c = _tv[3 * t + (k + 2) % 3];
        var (ab, bc, ca) = (Edge(t, k), Edge(t, (k + 1) % 3), Edge(t, (k + 2) % 3));
        var o = ab.Item1;
        var f = 0;
        if (o >= 0)
            while (_tn[3 * o + f] != t || _tv[3 * o + f] != b) f++;
        var t1 = NewTriangle(p, b, c);
        Corners(t, a, p, c);
        Hang(t, 2, ca, t);
        Hang(t1, 1, bc, t);
        (_tn[3 * t + 1], _jump[3 * t + 1], _line[3 * t + 1]) = (t1, 0, -1);
        _tn[3 * t1 + 2] = t;
        (_tn[3 * t], _jump[3 * t], _line[3 * t]) = (-1, ab.Item2, ab.Item3);
        (_tn[3 * t1], _jump[3 * t1], _line[3 * t1]) = (-1, ab.Item2, ab.Item3);
        _legal.Clear();
        _legal.AddRange([t, t1]);
        if (o >= 0)
        {
            var d = _tv[3 * o + (f + 2) % 3];
            var (ba, ad, db) = (Edge(o, f), Edge(o, (f + 1) % 3), Edge(o, (f + 2) % 3));
            var o1 = NewTriangle(p, a, d);
            Corners(o, b, p, d);
            Hang(o, 2, db, o);
            Hang(o1, 1, ad, o);
            (_tn[3 * o + 1], _jump[3 * o + 1], _line[3 * o + 1]) = (o1, 0, -1);
            _tn[3 * o1 + 2] = o;
            (_tn[3 * o], _jump[3 * o], _line[3 * o]) = (t1, ba.Item2, ba.Item3);
            (_tn[3 * o1], _jump[3 * o1], _line[3 * o1]) = (t, ba.Item2, ba.Item3);
            (_tn[3 * t], _tn[3 * t1]) = (o1, o);
            _legal.AddRange([o, o1]);
        }
        Legalise(p);
    }

    // Turns the edge k of t shared with its neighbour to the other diagonal; the caller has proven that the four points are convex.
    private void Flip(int t, int k)
    {
        int a = _tv[3 * t + k], b = _tv[3 * t + (k + 1) % 3], c = _tv[3 * t + (k + 2) % 3];
        var o = _tn[3 * t + k];
        var f = 0;
        while (_tn[3 * o + f] != t || _tv[3 * o + f] != b) f++;
        var d = _tv[3 * o + (f + 2) % 3];
        var (bc, ca, ad, db) = (Edge(t, (k + 1) % 3), Edge(t, (k + 2) % 3), Edge(o, (f + 1) % 3), Edge(o, (f + 2) % 3));
        Corners(t, a, d, c);
        Corners(o, d, b, c);
        Hang(t, 0, ad, o);
        Hang(t, 2, ca, t);
        Hang(o, 0, db, o);
        Hang(o, 1, bc, t);
        (_tn[3 * t + 1], _jump[3 * t + 1], _line[3 * t + 1]) = (o, 0, -1);
        (_tn[3 * o + 2], _jump[3 * o + 2], _line[3 * o + 2]) = (t, 0, -1);
    }

    // Flips towards Delaunay around a new vertex. Only shape depends on the rounded circle test; that a flip is allowed is exact.
    private void Legalise(int p)
    {
        var budget = 64 + 4 * _nt;
        while (_legal.Count > 0 && budget-- > 0)
        {
            var t = _legal[^1];
            _legal.RemoveAt(_legal.Count - 1);
            var i = _tv[3 * t] == p ? 0 : _tv[3 * t + 1] == p ? 1 : _tv[3 * t + 2] == p ? 2 : -1;
            if (i < 0) continue;
            var k = (i + 1) % 3;
            var o = _tn[3 * t + k];
            if (o < 0 || _line[3 * t + k] >= 0) continue;
            int b = _tv[3 * t + k], c = _tv[3 * t + (k + 1) % 3];
            var d = _tv[3 * o] != b && _tv[3 * o] != c ? _tv[3 * o] : _tv[3 * o + 1] != b && _tv[3 * o + 1] != c ? _tv[3 * o + 1] : _tv[3 * o + 2];
            if (!InCircle(p, b, c, d) || Turn(p, b, d) <= 0 || Turn(p, d, c) <= 0) continue;
            Flip(t, k);
            _legal.Add(t);
            _legal.Add(o);
        }
    }

    private bool InCircle(int a, int b, int c, int d)
    {
        double au = _u[a] - _u[d], av = _v[a] - _v[d], bu = _u[b] - _u[d], bv = _v[b] - _v[d], cu = _u[c] - _u[d], cv = _v[c] - _v[d];
        double a2 = au * au + av * av, b2 = bu * bu + bv * bv, c2 = cu * cu + cv * cv;
        double x = a2 * (bu * cv - bv * cu), y = b2 * (cu * av - cv * au), z = c2 * (au * bv - av * bu);
        return x + y + z > 1e-9 * (Math.Abs(x) + Math.Abs(y) + Math.Abs(z));
    }
}
