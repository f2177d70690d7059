using Stiltwright.Geometry.Exact;

namespace Stiltwright.Geometry.Booleans;

/// <summary>
/// The triangles of both operands in one list, corners of equal places being one vertex, triangles without area left out (what they joined is
/// joined by the points that their neighbours get), and what meets each of them.
/// </summary>
internal sealed class BooleanFacets
{
    // Points and segments laid into each facet that is met at all, by facet.
    private readonly Dictionary<int, List<int>> _points = [];
    private readonly Dictionary<int, List<(int From, int To)>> _segments = [];
    private readonly Dictionary<int, int> _pointOfVertex = [];
    private readonly Dictionary<int, int> _vertexOfPoint = [];
    private readonly UnionFind _together;

    public BooleanFacets(Mesh a, Mesh b)
    {
        Lattice = a.Lattice;
        var number = new Dictionary<(int, int, int), int>(a.VertexCount + b.VertexCount);
        var xyz = new List<int>();
        var corners = new List<int>();
        foreach (var mesh in (Mesh[])[a, b])
        {
            var map = new int[mesh.VertexCount];
            for (var v = 0; v < map.Length; v++)
            {
                var key = (mesh.Xyz[3 * v], mesh.Xyz[3 * v + 1], mesh.Xyz[3 * v + 2]);
                if (number.TryAdd(key, number.Count)) xyz.AddRange([key.Item1, key.Item2, key.Item3]);
                map[v] = number[key];
            }
            for (var i = 0; i < mesh.Corners.Length; i += 3)
            {
                int x = map[mesh.Corners[i]], y = map[mesh.Corners[i + 1]], z = map[mesh.Corners[i + 2]];
                if (Predicates.Normal(mesh.XyzArray, 3 * mesh.Corners[i], 3 * mesh.Corners[i + 1], 3 * mesh.Corners[i + 2]) == (0, 0, 0)) continue;
                corners.Add(x);
                corners.Add(y);
                corners.Add(z);
            }
            if (FirstOfB < 0) FirstOfB = corners.Count / 3;
        }
        Xyz = [.. xyz];
        Corners = [.. corners];
        _together = new UnionFind(Count);
    }

    public Lattice Lattice { get; }

    public int[] Xyz { get; }

    public int[] Corners { get; }

    public int Count => Corners.Length / 3;

    /// <summary>Facets from here on belong to the second operand.</summary>
    public int FirstOfB { get; } = -1;

    /// <summary>All exact points; equal places have one number.</summary>
    public CutPoints Points { get; } = new(unique: true);

    public int VertexCount => Xyz.Length / 3;

    public (long X, long Y, long Z) Normal(int f) => Predicates.Normal(Xyz, 3 * Corners[3 * f], 3 * Corners[3 * f + 1], 3 * Corners[3 * f + 2]);

    /// <summary>The exact point of a lattice vertex.</summary>
    public int PointOf(int vertex)
    {
        if (_pointOfVertex.TryGetValue(vertex, out var point)) return point;
        point = Points.AddWide(Xyz[3 * vertex], Xyz[3 * vertex + 1], Xyz[3 * vertex + 2], 1);
        _vertexOfPoint[point] = vertex;
        return _pointOfVertex[vertex] = point;
    }

    /// <summary>The vertex of the result for a point: a lattice vertex where one lies there, else a new one (numbered behind all of those).</summary>
    public int VertexOf(int point) => _vertexOfPoint.TryGetValue(point, out var v) ? v : VertexCount + point;

    public bool IsCorner(int f, int point) =>
        _vertexOfPoint.TryGetValue(point, out var v) && (Corners[3 * f] == v || Corners[3 * f + 1] == v || Corners[3 * f + 2] == v);

    /// <summary>Notes that a point lies on a facet.</summary>
    public void Lay(int f, int point)
    {
        if (IsCorner(f, point)) return;
        if (!_points.TryGetValue(f, out var list)) _points[f] = list = [];
        list.Add(point);
    }

    /// <summary>Notes that a segment lies on a facet.</summary>
    public void Lay(int f, int from, int to)
    {
        Lay(f, from);
        Lay(f, to);
        if (IsCorner(f, from) && IsCorner(f, to)) return; // one of its own edges
        if (!_segments.TryGetValue(f, out var list)) _segments[f] = list = [];
        list.Add((from, to));
    }

    /// <summary>Notes that two facets overlap in one plane, so that they must be divided together.</summary>
    public void Join(int f, int g) => _together.Join(f, g);

    public int GroupOf(int f) => _together.Find(f);

    public bool IsMet(int f) => _points.ContainsKey(f) || _segments.ContainsKey(f);

    public IReadOnlyList<int> PointsOn(int f) => _points.TryGetValue(f, out var list) ? list : [];

    public IReadOnlyList<(int From, int To)> SegmentsOn(int f) => _segments.TryGetValue(f, out var list) ? list : [];
}
