using System.Numerics;

namespace Stiltwright.Geometry.Exact;

/// <summary>
/// A facet (a triangle of lattice points) divided by points and directed segments in its plane into smaller triangles, with exact
/// decisions. Left of each segment a winding count is one higher than right of it; <see cref="Relative"/> gives the count
/// of every small triangle. Segments may cross, touch and overlap; where they cross a new point is made. Points
/// on an edge of the facet carry that edge as a bit (edge e runs from corner e to the next), so that being in line is known, not reckoned.
/// Reused from facet to facet: call <see cref="Start"/> first.
/// </summary>
internal sealed partial class Arrangement(CutPoints points)
{
    // Vertices: 0..2 are the facet's corners.
    private int _n, _nt, _last;
    private double[] _u = new double[64], _v = new double[64];
    private int[] _id = new int[64];
    private byte[] _mask = new byte[64];
    private int[] _star = new int[64];
    // Triangles: edge e of triangle t runs from corner e to corner e + 1; beside it lies _tn; _line is the segment on it or -1.
    private int[] _tv = new int[384], _tn = new int[384], _jump = new int[384], _line = new int[384];
    private int[] _relative = new int[128];
    private readonly int[] _corner = new int[9];
    private readonly BigInteger[] _plane = new BigInteger[4];
    private int _axisU, _axisV, _axisW;
    private readonly Dictionary<int, int> _local = [];
    private readonly List<(int A, int B)> _segments = [];
    private readonly List<int> _stack = [];
    private readonly Queue<(int, int)> _queue = new();

    /// <summary>Decisions that needed big integers so far.</summary>
    public long WideDecisions { get; private set; }

    /// <summary>All decisions so far.</summary>
    public long Decisions { get; private set; }

    /// <summary>True if a segment of this facet met a point or another segment between its ends, or two points fell together.</summary>
    public bool Entangled { get; private set; }

    /// <summary>Number of small triangles.</summary>
    public int TriangleCount => _nt;

    /// <summary>
    /// Begins a facet with the nine coordinates of its corners, and the equation a x + b y + c z = d of its plane if that is not the
    /// plane of the three corners.
    /// </summary>
    public void Start(ReadOnlySpan<int> corners, (long A, long B, long C) normal, Int128 d, int scale = 1)
    {
        corners[..9].CopyTo(_corner);
        double ax = Math.Abs((double)normal.A), ay = Math.Abs((double)normal.B), az = Math.Abs((double)normal.C);
        _axisW = ax >= ay && ax >= az ? 0 : ay >= az ? 1 : 2;
        (_axisU, _axisV) = ((_axisW + 1) % 3, (_axisW + 2) % 3);
        if ((_axisW == 0 ? normal.A : _axisW == 1 ? normal.B : normal.C) < 0) (_axisU, _axisV) = (_axisV, _axisU);
        (_plane[0], _plane[1], _plane[2], _plane[3]) = ((BigInteger)normal.A * scale, (BigInteger)normal.B * scale, (BigInteger)normal.C * scale, d);
        _n = _nt = 0;
        _local.Clear();
        _segments.Clear();
        Entangled = false;
        for (var k = 0; k < 3; k++)
            NewVertex(~k, corners[3 * k + _axisU], corners[3 * k + _axisV], (byte)(1 << k | 1 << (k + 2) % 3));
        NewTriangle(0, 1, 2);
        _last = 0;
    }

    /// <summary>Adds a point of the facet; <paramref name="edges"/> has bit e set where it lies on edge e. Gives its vertex here.</summary>
    public int Add(int point, byte edges)
    {
        point = points.Canonical(point);
        if (_local.TryGetValue(point, out var known))
        {
            if ((_mask[known] | edges) != _mask[known]) _mask[known] |= edges;
            return known;
        }
        var v = NewVertex(point, points.Coordinate(point, _axisU), points.Coordinate(point, _axisV), edges);
        var at = Place(v);
        if (at != v)
        {
            // It lies where another vertex is.
            Entangled = true;
            _n--;
            if (_id[at] >= 0)
            {
                points.Join(_id[at], point);
                _id[at] = points.Canonical(point);
            }
            _mask[at] |= edges;
        }
        _local[point] = at;
        return at;
    }

    /// <summary>Corner <paramref name="k"/> of a small triangle: a point's number, or ~c for corner c of the facet.</summary>
    public int Corner(int t, int k) => _id[_tv[3 * t + k]];

    /// <summary>The vertex at corner k of a small triangle.</summary>
    public int VertexAt(int t, int k) => _tv[3 * t + k];

    /// <summary>The triangle beside edge k, or -1 at the facet's border.</summary>
    public int Beside(int t, int k) => _tn[3 * t + k];

    /// <summary>True if a segment runs along edge k of a small triangle.</summary>
    public bool OnSegment(int t, int k) => _line[3 * t + k] >= 0;

    /// <summary>The count in a small triangle; call <see cref="Settle"/> first. The facet's first small triangle has 0.</summary>
    public int Relative(int t) => _relative[t];

    /// <summary>A small triangle that has corner c of the facet.</summary>
    public int TriangleAtCorner(int c) => _star[c];

    /// <summary>Reckons the counts. False where going round in two ways gives two counts (the segments do not close).</summary>
    public bool Settle()
    {
        if (_relative.Length < _nt) _relative = new int[Math.Max(_nt, 2 * _relative.Length)];
        Array.Fill(_relative, int.MinValue, 0, _nt);
        _stack.Clear();
        _stack.Add(0);
        _relative[0] = 0;
        var sound = true;
        while (_stack.Count > 0)
        {
            var t = _stack[^1];
            _stack.RemoveAt(_stack.Count - 1);
            for (var e = 3 * t; e < 3 * t + 3; e++)
            {
                var o = _tn[e];
                if (o < 0) continue;
                var r = _relative[t] - _jump[e];
                if (_relative[o] == int.MinValue) { _relative[o] = r; _stack.Add(o); }
                else if (_relative[o] != r) sound = false;
            }
        }
        return sound;
    }

    private int NewVertex(int id, double u, double v, byte mask)
    {
        if (_n == _u.Length)
        {
            Array.Resize(ref _u, 2 * _n);
            Array.Resize(ref _v, 2 * _n);
            Array.Resize(ref _id, 2 * _n);
            Array.Resize(ref _mask, 2 * _n);
            Array.Resize(ref _star, 2 * _n);
        }
        (_u[_n], _v[_n], _id[_n], _mask[_n]) = (u, v, id, mask);
        return _n++;
    }

    private int NewTriangle(int a, int b, int c)
    {
        var e = 3 * _nt;
        if (e + 3 > _tv.Length)
        {
            Array.Resize(ref _tv, 2 * _tv.Length);
            Array.Resize(ref _tn, 2 * _tn.Length);
            Array.Resize(ref _jump, 2 * _jump.Length);
            Array.Resize(ref _line, 2 * _line.Length);
        }
        (_tv[e], _tv[e + 1], _tv[e + 2]) = (a, b, c);
        for (var k = e; k < e + 3; k++) (_tn[k], _jump[k], _line[k]) = (-1, 0, -1);
        _star[a] = _star[b] = _star[c] = _nt;
        return _nt++;
    }

    /// <summary>Turn of three vertices: exact.</summary>
    private int Turn(int a, int b, int c)
    {
        Decisions++;
        if ((_mask[a] & _mask[b] & _mask[c]) != 0) return 0;
        double bu = _u[b] - _u[a], bv = _v[b] - _v[a], cu = _u[c] - _u[a], cv = _v[c] - _v[a];
        double x = bu * cv, y = bv * cu, det = x - y;
        // Each difference is wrong by 2 errors at most, plus rounding of the products.
        var bound = 2 * CutPoints.Error * (Math.Abs(bu) + Math.Abs(bv) + Math.Abs(cu) + Math.Abs(cv)) + 8 * CutPoints.Error * CutPoints.Error
            + 8e-16 * (Math.Abs(x) + Math.Abs(y));
        if (det > bound) return 1;
        if (det < -bound) return -1;
        WideDecisions++;
        var (au2, aw2) = ExactOf(a, _axisU);
        var (av2, _) = ExactOf(a, _axisV);
        var (bu2, bw2) = ExactOf(b, _axisU);
        var (bv2, _) = ExactOf(b, _axisV);
        var (cu2, cw2) = ExactOf(c, _axisU);
        var (cv2, _) = ExactOf(c, _axisV);
        return (au2 * (bv2 * cw2 - bw2 * cv2) - av2 * (bu2 * cw2 - bw2 * cu2) + aw2 * (bu2 * cv2 - bv2 * cu2)).Sign;
    }

    private (BigInteger, BigInteger) ExactOf(int v, int axis) =>
        _id[v] >= 0 ? points.Exact(_id[v], axis) : (_corner[3 * ~_id[v] + axis], BigInteger.One);
}
