using Stiltwright.Geometry.Simplifying;

namespace Stiltwright.Geometry.Fields.Creases;

/// <summary>
/// A closed 2-manifold surface that gains vertices: edges and triangles are split, edges flipped, vertices moved. Each change keeps
/// it closed and 2-manifold. Corners are numbered as in <see cref="CornerTable"/>.
/// </summary>
internal sealed class GrowingSurface
{
    private readonly Lattice _lattice;
    private int[] _vertex;
    private int[] _opposite;
    private int[] _xyz;
    private int[] _cornerOf;

    internal GrowingSurface(Lattice lattice, int[] xyz, int[] corners)
    {
        _lattice = lattice;
        Vertices = xyz.Length / 3;
        Triangles = corners.Length / 3;
        var table = new CornerTable(Vertices, corners, EdgePairing.Build(new Mesh(lattice, xyz, corners)).TwinArray);
        (_vertex, _opposite, _cornerOf) = (table.Vertex, table.Opposite, table.CornerOf);
        _xyz = (int[])xyz.Clone();
    }

    internal int Vertices { get; private set; }
    internal int Triangles { get; private set; }

    internal int Vertex(int corner) => _vertex[corner];
    internal int Opposite(int corner) => _opposite[corner];
    internal Vec3 At(int vertex) => new(_xyz[3 * vertex] * _lattice.UnitMm, _xyz[3 * vertex + 1] * _lattice.UnitMm, _xyz[3 * vertex + 2] * _lattice.UnitMm);

    /// <summary>Whether a triangle has not vanished in a collapse.</summary>
    internal bool Lives(int triangle) => _vertex[3 * triangle] >= 0;

    /// <summary>The surface as arrays, without vertices that no triangle uses.</summary>
    internal (int[] Xyz, int[] Corners) Packed()
    {
        var number = new int[Vertices];
        var corners = new List<int>(3 * Triangles);
        for (var c = 0; c < 3 * Triangles; c++)
        {
            if (_vertex[c] < 0) continue;
            number[_vertex[c]] = 1;
            corners.Add(_vertex[c]);
        }
        var xyz = new List<int>(3 * Vertices);
        for (var v = 0; v < Vertices; v++)
        {
            if (number[v] == 0) continue;
            number[v] = xyz.Count / 3;
            xyz.AddRange(_xyz.AsSpan(3 * v, 3));
        }
        return (xyz.ToArray(), corners.ConvertAll(v => number[v]).ToArray());
    }

    /// <summary>The nearest point of the lattice.</summary>
    internal Vec3 Rounded(Vec3 p) => new(_lattice.ToMm(_lattice.Round(p.X)), _lattice.ToMm(_lattice.Round(p.Y)), _lattice.ToMm(_lattice.Round(p.Z)));

    /// <summary>Adds a point's lattice coordinates to a list.</summary>
    internal void AddUnits(Vec3 p, List<int> xyz) => xyz.AddRange([_lattice.Round(p.X), _lattice.Round(p.Y), _lattice.Round(p.Z)]);

    /// <summary>The corners around a vertex, one a triangle; -1 where there are more than the span holds.</summary>
    internal int Ring(int vertex, Span<int> corners)
    {
        int first = _cornerOf[vertex], c = first, n = 0;
        do
        {
            if (n == corners.Length) return -1;
            corners[n++] = c;
            c = CornerTable.Next(_opposite[CornerTable.Next(c)]);
        }
        while (c != first);
        return n;
    }

    internal void Move(int vertex, Vec3 p) =>
        (_xyz[3 * vertex], _xyz[3 * vertex + 1], _xyz[3 * vertex + 2]) = (_lattice.Round(p.X), _lattice.Round(p.Y), _lattice.Round(p.Z));

    /// <summary>Puts a vertex on the edge across from a corner. Of its four triangles the last two are new.</summary>
    internal (int, int, int, int) SplitEdge(int corner, Vec3 p)
    {
        int c = corner, o = _opposite[c], v = _vertex[c], a = _vertex[CornerTable.Next(c)], b = _vertex[CornerTable.Previous(c)], w = _vertex[o];
        int va = _opposite[CornerTable.Previous(c)], vb = _opposite[CornerTable.Next(c)], wa = _opposite[CornerTable.Next(o)], wb = _opposite[CornerTable.Previous(o)];
        int m = AddVertex(p), t1 = c / 3, t2 = o / 3, t3 = AddTriangles(2), t4 = t3 + 1;
        Put(t1, v, a, m);
        Put(t3, v, m, b);
        Put(t2, w, b, m);
        Put(t4, w, m, a);
        Join(3 * t1, 3 * t4);
        Join(3 * t1 + 1, 3 * t3 + 2);
        Join(3 * t1 + 2, va);
        Join(3 * t3, 3 * t2);
        Join(3 * t3 + 1, vb);
        Join(3 * t2 + 1, 3 * t4 + 2);
        Join(3 * t2 + 2, wb);
        Join(3 * t4 + 1, wa);
        return (t1, t2, t3, t4);
    }

    /// <summary>Puts a vertex into a triangle. Of its three triangles the last two are new.</summary>
    internal (int, int, int) SplitTriangle(int triangle, Vec3 p)
    {
        int t = 3 * triangle, a = _vertex[t], b = _vertex[t + 1], c = _vertex[t + 2], bc = _opposite[t], ca = _opposite[t + 1], ab = _opposite[t + 2];
        int m = AddVertex(p), t2 = AddTriangles(2), t3 = t2 + 1;
        Put(triangle, a, b, m);
        Put(t2, b, c, m);
        Put(t3, c, a, m);
        Join(t, 3 * t2 + 1);
        Join(t + 1, 3 * t3);
        Join(t + 2, ab);
        Join(3 * t2, 3 * t3 + 1);
        Join(3 * t2 + 2, bc);
        Join(3 * t3 + 2, ca);
        return (triangle, t2, t3);
    }

    /// <summary>Whether the edge across from a corner may be flipped: the other diagonal is no edge yet and its ends keep three triangles.</summary>
    internal bool MayFlip(int corner)
    {
        int v = _vertex[corner], w = _vertex[_opposite[corner]];
        if (v == w) return false;
        Span<int> ring = stackalloc int[64];
        var n = Ring(v, ring);
        if (n < 0) return false;
        for (var i = 0; i < n; i++)
            if (_vertex[CornerTable.Next(ring[i])] == w) return false;
        return Ring(_vertex[CornerTable.Next(corner)], ring) is > 3 && Ring(_vertex[CornerTable.Previous(corner)], ring) is > 3;
    }

    /// <summary>Flips the edge across from a corner.</summary>
    internal (int, int) Flip(int corner)
    {
        int c = corner, o = _opposite[c], v = _vertex[c], a = _vertex[CornerTable.Next(c)], b = _vertex[CornerTable.Previous(c)], w = _vertex[o];
        int va = _opposite[CornerTable.Previous(c)], vb = _opposite[CornerTable.Next(c)], wa = _opposite[CornerTable.Next(o)], wb = _opposite[CornerTable.Previous(o)];
        int t1 = c / 3, t2 = o / 3;
        Put(t1, v, a, w);
        Put(t2, w, b, v);
        Join(3 * t1, wa);
        Join(3 * t1 + 1, 3 * t2 + 1);
        Join(3 * t1 + 2, va);
        Join(3 * t2, vb);
        Join(3 * t2 + 2, wb);
        return (t1, t2);
    }

    /// <summary>
    /// Whether the edge across from a corner may be drawn together: its ends have exactly the two common neighbours across it, and those
    /// keep three triangles (link condition, Dey et al. 1999).
    /// </summary>
    internal bool MayCollapse(int corner)
    {
        int a = _vertex[CornerTable.Next(corner)], b = _vertex[CornerTable.Previous(corner)], v = _vertex[corner], w = _vertex[_opposite[corner]];
        Span<int> ringA = stackalloc int[64], ringB = stackalloc int[64];
        int na = Ring(a, ringA), nb = Ring(b, ringB), common = 0;
        if (na < 4 || nb < 3 || v == w) return false;
        for (var i = 0; i < nb; i++)
            for (var j = 0; j < na; j++)
                if (_vertex[CornerTable.Next(ringB[i])] == _vertex[CornerTable.Next(ringA[j])]) common++;
        return common == 2 && Ring(v, ringA) is > 3 && Ring(w, ringA) is > 3;
    }

    /// <summary>Draws the edge across from a corner together: its end vertex merges into its start, two triangles vanish.</summary>
    internal void Collapse(int corner)
    {
        int t1 = corner, atA = CornerTable.Next(t1), atB = CornerTable.Previous(t1), t2 = _opposite[t1], atB2 = CornerTable.Next(t2), atA2 = CornerTable.Previous(t2);
        int a = _vertex[atA], v = _vertex[t1], w = _vertex[t2];
        Span<int> ring = stackalloc int[64];
        var n = Ring(_vertex[atB], ring);
        for (var i = 0; i < n; i++) _vertex[ring[i]] = a;
        int o1 = _opposite[atA], o2 = _opposite[atB], o3 = _opposite[atA2], o4 = _opposite[atB2];
        Join(o1, o2);
        Join(o3, o4);
        // o2 lies across the edge from a to v: order o2, a, v. o3 lies across the edge from b to w: order o3, b, w.
        _cornerOf[a] = CornerTable.Next(o2);
        _cornerOf[v] = CornerTable.Previous(o2);
        _cornerOf[w] = CornerTable.Previous(o3);
        _vertex[t1] = _vertex[atA] = _vertex[atB] = _vertex[t2] = _vertex[atA2] = _vertex[atB2] = -1;
    }

    private void Put(int t, int a, int b, int c)
    {
        (_vertex[3 * t], _vertex[3 * t + 1], _vertex[3 * t + 2]) = (a, b, c);
        (_cornerOf[a], _cornerOf[b], _cornerOf[c]) = (3 * t, 3 * t + 1, 3 * t + 2);
    }

    private void Join(int c, int d) => (_opposite[c], _opposite[d]) = (d, c);

    private int AddVertex(Vec3 p)
    {
        if (Vertices == _cornerOf.Length)
        {
            Array.Resize(ref _cornerOf, Vertices + Vertices / 4 + 64);
            Array.Resize(ref _xyz, 3 * _cornerOf.Length);
        }
        Move(Vertices, p);
        return Vertices++;
    }

    private int AddTriangles(int count)
    {
        if (3 * (Triangles + count) > _vertex.Length)
        {
            Array.Resize(ref _vertex, 3 * (Triangles + Triangles / 4 + 64));
            Array.Resize(ref _opposite, _vertex.Length);
        }
        Triangles += count;
        return Triangles - count;
    }
}
