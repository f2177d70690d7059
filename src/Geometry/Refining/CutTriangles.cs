using System.Runtime.InteropServices;

namespace Stiltwright.Geometry.Refining;

/// <summary>A corner: its vertex and its weights of the first two corners of the triangle that it was cut from.</summary>
internal readonly record struct Node(int Vertex, int U, int V);

/// <summary>
/// Gathers the triangles of one round and pairs their half-edges as it goes: half-edges of the round before are known by their
/// numbers, and each of them became one or two.
/// </summary>
internal sealed class CutTriangles
{
    private readonly bool[] _marks;
    private readonly int[] _oldTwin;
    private readonly int[] _begin, _end; // of each old half-edge: the new one at its start, and the one at its end
    private readonly List<int> _corners, _twin, _source, _u, _v;
    private int _now;

    internal CutTriangles(int triangles, bool[] marks, int[] twin)
    {
        (_marks, _oldTwin) = (marks, twin);
        _begin = new int[marks.Length];
        _end = new int[marks.Length];
        var room = 2 * triangles;
        (_corners, _twin, _source, _u, _v) = (new(3 * room), new(3 * room), new(room), new(3 * room), new(3 * room));
    }

    /// <summary>The next triangles come from this one of the input.</summary>
    internal void Begin(int source) => _now = source;

    /// <summary>A triangle that stays; h are its old half-edges.</summary>
    internal void Whole(Node a, Node b, Node c, int h0, int h1, int h2)
    {
        var t = Add(a, b, c);
        Outer(h0, t);
        Outer(h1, t + 1);
        Outer(h2, t + 2);
    }

    /// <summary>Cut from m, the middle of the first edge, to the corner across.</summary>
    internal void InTwo(Node a, Node b, Node c, Node m, int h0, int h1, int h2)
    {
        int s = Add(a, m, c), t = Add(m, b, c);
        Outer(h0, s, t);
        Outer(h1, t + 1);
        Outer(h2, s + 2);
        Pair(s + 1, t + 2);
    }

    /// <summary>Cut at the middles m and k of the first two edges, and what is left over either diagonal.</summary>
    internal void InThree(Node a, Node b, Node c, Node m, Node k, int h0, int h1, int h2, bool fromMiddle)
    {
        int r = Add(m, b, k), s, t;
        if (fromMiddle)
        {
            (s, t) = (Add(m, k, c), Add(a, m, c));
            Pair(r + 2, s);
            Pair(s + 2, t + 1);
            Outer(h0, t, r);
            Outer(h1, r + 1, s + 1);
            Outer(h2, t + 2);
            return;
        }
        (s, t) = (Add(a, m, k), Add(a, k, c));
        Pair(r + 2, s + 1);
        Pair(s + 2, t);
        Outer(h0, s, r);
        Outer(h1, r + 1, t + 1);
        Outer(h2, t + 2);
    }

    /// <summary>Cut at the middles of all edges.</summary>
    internal void InFour(Node a, Node b, Node c, Node m, Node k, Node o, int h0, int h1, int h2)
    {
        int q = Add(a, m, o), r = Add(m, b, k), s = Add(o, k, c), t = Add(m, k, o);
        Pair(q + 1, t + 2);
        Pair(r + 2, t);
        Pair(s, t + 1);
        Outer(h0, q, r);
        Outer(h1, r + 1, s + 1);
        Outer(h2, s + 2, q + 2);
    }

    /// <summary>All triangles: corners, the half-edges on the other side, where they come from, weights of the corners.</summary>
    internal (int[] Corners, int[] Twin, int[] Source, int[] U, int[] V) Done()
    {
        var twin = CollectionsMarshal.AsSpan(_twin);
        for (var h = 0; h < _oldTwin.Length; h++)
        {
            var g = _oldTwin[h];
            twin[_begin[h]] = g < 0 ? -1 : _end[g];
            if (_marks[h]) twin[_end[h]] = _begin[g];
        }
        return ([.. _corners], [.. _twin], [.. _source], [.. _u], [.. _v]);
    }

    private void Outer(int old, int whole) => _begin[old] = _end[old] = whole;

    private void Outer(int old, int begin, int end) => (_begin[old], _end[old]) = (begin, end);

    private int Add(Node a, Node b, Node c)
    {
        var first = _corners.Count;
        _source.Add(_now);
        foreach (var n in (ReadOnlySpan<Node>)[a, b, c])
        {
            _corners.Add(n.Vertex);
            _u.Add(n.U);
            _v.Add(n.V);
            _twin.Add(-1);
        }
        return first;
    }

    private void Pair(int g, int h)
    {
        CollectionsMarshal.AsSpan(_twin)[g] = h;
        CollectionsMarshal.AsSpan(_twin)[h] = g;
    }
}
