using System.Numerics;
using Stiltwright.Geometry.Cutting;

namespace Stiltwright.Geometry.Booleans;

/// <summary>
/// Winding numbers of both operands before and behind every piece. Around an edge the pieces are put in order by angle: between one and the next lies
/// one space, so each piece's numbers follow from its neighbour's. What hangs together over edges needs one number from outside: an exact ray.
/// </summary>
internal sealed class PieceWindings
{
    private readonly BooleanFacets _facets;
    private readonly PieceSurfaces _pieces;
    private readonly ulong[] _keys;
    private readonly int[] _halves;
    private readonly int[] _group;
    private readonly List<int> _starts = [];
    private readonly int[] _surface;
    private readonly List<int> _first = [];

    private PieceWindings(BooleanFacets facets, PieceSurfaces pieces)
    {
        (_facets, _pieces) = (facets, pieces);
        var n = pieces.Count;
        _keys = new ulong[3 * n];
        _halves = new int[3 * n];
        _group = new int[3 * n];
        _surface = new int[n];
        Array.Fill(_surface, -1);
        for (var t = 0; t < n; t++)
            for (var k = 0; k < 3; k++)
            {
                int a = Corner(t, k), b = Corner(t, (k + 1) % 3);
                _keys[3 * t + k] = (ulong)(uint)Math.Min(a, b) << 32 | (uint)Math.Max(a, b);
                _halves[3 * t + k] = 3 * t + k;
            }
        Array.Sort(_keys, _halves);
        for (var i = 0; i < _keys.Length; i++)
        {
            if (i == 0 || _keys[i] != _keys[i - 1]) _starts.Add(i);
            _group[_halves[i]] = _starts.Count - 1;
        }
        _starts.Add(_keys.Length);
    }

    /// <summary>Finds all numbers.</summary>
    /// <exception cref="CuttingException">The surfaces are not closed.</exception>
    public static void Settle(BooleanFacets facets, PieceSurfaces pieces, CancellationToken cancel)
    {
        var run = new PieceWindings(facets, pieces);
        run.Spread(cancel);
        run.Anchor();
    }

    private int Corner(int t, int k) => k == 0 ? _pieces[t].A : k == 1 ? _pieces[t].B : _pieces[t].C;

    // Walks over edges from piece to piece; numbers are those beside the surface's first piece.
    private void Spread(CancellationToken cancel)
    {
        var queue = new Queue<int>();
        var done = new bool[_starts.Count - 1];
        for (var seed = 0; seed < _pieces.Count; seed++)
        {
            if (_surface[seed] >= 0) continue;
            _surface[seed] = _first.Count;
            _first.Add(seed);
            queue.Enqueue(seed);
            while (queue.TryDequeue(out var t))
                for (var k = 0; k < 3; k++)
                {
                    var g = _group[3 * t + k];
                    if (done[g]) continue;
                    done[g] = true;
                    Around(g, t, queue);
                }
            cancel.ThrowIfCancellationRequested();
        }
    }

    // The number of the space after a piece, going round its edge; and the front from the space before it.
    private void Around(int group, int from, Queue<int> queue)
    {
        var sheets = _halves.AsSpan(_starts[group], _starts[group + 1] - _starts[group]);
        if (sheets.Length == 1) throw Open(sheets[0]);
        if (sheets.Length > 2) Order(sheets, (int)(_keys[_starts[group]] >> 32), (int)(uint)_keys[_starts[group]]);
        var at = 0;
        while (sheets[at] / 3 != from) at++;
        var (a, b) = After(sheets[at]);
        for (var i = 1; i <= sheets.Length; i++)
        {
            var h = sheets[(at + i) % sheets.Length];
            ref var p = ref _pieces[h / 3];
            var (frontA, frontB) = Upwards(h) ? (a - p.StepA, b - p.StepB) : (a, b);
            if (_surface[h / 3] < 0)
            {
                _surface[h / 3] = _surface[from];
                (p.FrontA, p.FrontB) = (frontA, frontB);
                queue.Enqueue(h / 3);
            }
            else if (p.FrontA != frontA || p.FrontB != frontB) throw Open(h);
            (a, b) = After(h);
        }
    }

    // A piece that runs along the edge from its lesser vertex has its front on the side of growing angle.
    private bool Upwards(int half) => Corner(half / 3, half % 3) < Corner(half / 3, (half % 3 + 1) % 3);

    private (int A, int B) After(int half)
    {
        ref var p = ref _pieces[half / 3];
        return Upwards(half) ? (p.FrontA, p.FrontB) : (p.FrontA + p.StepA, p.FrontB + p.StepB);
    }

    private CuttingException Open(int half)
    {
        var v = Corner(half / 3, half % 3);
        var u = _facets.Lattice.UnitMm;
        return new CuttingException("The surfaces do not close there", v < _facets.VertexCount
            ? new Vec3(_facets.Xyz[3 * v], _facets.Xyz[3 * v + 1], _facets.Xyz[3 * v + 2]) * u
            : new Vec3(_facets.Points.Coordinate(v - _facets.VertexCount, 0), _facets.Points.Coordinate(v - _facets.VertexCount, 1), _facets.Points.Coordinate(v - _facets.VertexCount, 2)) * u);
    }

    // Sorts the pieces around the edge from u to v by angle, counter-clockwise seen against the edge's direction. A piece's normal, turned so
    // that it runs along the edge, is a quarter turn ahead of the piece itself; so the normals' order is the pieces'. All in integers.
    private void Order(Span<int> sheets, int u, int v)
    {
        var axis = 0;
        int sign;
        while ((sign = Compare(v, u, axis)) == 0) axis++;
        var first = Ahead(sheets[0]);
        sheets.Sort((g, h) =>
        {
            if (g == h) return 0;
            var (m, n) = (Ahead(g), Ahead(h));
            int x = Half(m), y = Half(n);
            if (x != y) return x - y;
            return -sign * Cross(m, n);
        });

        (Int128 X, Int128 Y, Int128 Z) Ahead(int half)
        {
            var (x, y, z) = _facets.Normal(_pieces[half / 3].Facet);
            return Upwards(half) ? (x, y, z) : (-x, -y, -z);
        }
        int Cross((Int128 X, Int128 Y, Int128 Z) m, (Int128 X, Int128 Y, Int128 Z) n) => Int128.Sign(axis == 0 ? m.Y * n.Z - m.Z * n.Y : axis == 1 ? m.Z * n.X - m.X * n.Z : m.X * n.Y - m.Y * n.X);
        // 0: ahead of the first by less than half a turn (or with it), 1: by half a turn or more.
        int Half((Int128 X, Int128 Y, Int128 Z) m)
        {
            var cross = sign * Cross(first, m);
            if (cross != 0) return cross > 0 ? 0 : 1;
            return first.X * m.X + first.Y * m.Y + first.Z * m.Z > 0 ? 0 : 1;
        }
    }

    private int Compare(int u, int v, int axis)
    {
        if (u < _facets.VertexCount && v < _facets.VertexCount) return _facets.Xyz[3 * u + axis].CompareTo(_facets.Xyz[3 * v + axis]);
        var ((uv, uw), (vv, vw)) = (Exact(u, axis), Exact(v, axis));
        return (uv * vw - vv * uw).Sign;
    }

    private (BigInteger Value, BigInteger Divisor) Exact(int v, int axis) =>
        v < _facets.VertexCount ? (_facets.Xyz[3 * v + axis], BigInteger.One) : _facets.Points.Exact(v - _facets.VertexCount, axis);

    // One ray a surface, straight up from the middle of a piece that is not upright.
    private void Anchor()
    {
        var chosen = new int[_first.Count];
        Array.Fill(chosen, -1);
        for (var t = 0; t < _pieces.Count; t++)
            if (chosen[_surface[t]] < 0 && _facets.Normal(_pieces[t].Facet).Z != 0) chosen[_surface[t]] = t;
        var samples = new ExactSample[chosen.Length];
        for (var s = 0; s < chosen.Length; s++)
        {
            if (chosen[s] < 0) throw new InvalidOperationException("A surface is upright everywhere.");
            samples[s] = Middle(chosen[s]);
        }
        var above = UpwardRays.Count(_facets, samples);
        var lift = new (int A, int B)[chosen.Length];
        for (var s = 0; s < chosen.Length; s++)
        {
            ref var p = ref _pieces[chosen[s]];
            var up = _facets.Normal(p.Facet).Z > 0;
            lift[s] = (above[s].A - p.FrontA - (up ? 0 : p.StepA), above[s].B - p.FrontB - (up ? 0 : p.StepB));
        }
        for (var t = 0; t < _pieces.Count; t++)
        {
            ref var p = ref _pieces[t];
            (p.FrontA, p.FrontB) = (p.FrontA + lift[_surface[t]].A, p.FrontB + lift[_surface[t]].B);
        }
    }

    private ExactSample Middle(int t)
    {
        var w = BigInteger.One;
        for (var k = 0; k < 3; k++) w *= Exact(Corner(t, k), 0).Divisor;
        var sum = new BigInteger[3];
        for (var axis = 0; axis < 3; axis++)
            for (var k = 0; k < 3; k++)
            {
                var (value, divisor) = Exact(Corner(t, k), axis);
                sum[axis] += value * (w / divisor);
            }
        return new ExactSample(sum[0], sum[1], sum[2], 3 * w);
    }
}
