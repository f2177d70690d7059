namespace Stiltwright.Geometry;

/// <summary>
/// Which triangle lies on the other side of every triangle edge. Half-edge 3t + k runs from corner k of triangle t to the
/// next corner. Edges with more than two triangles are resolved by the angular order of their sheets around the edge, so
/// that surfaces which only touch along an edge are not joined by it; the geometry stays as it is.
/// </summary>
public sealed class EdgePairing
{
    private readonly int[] _twin;
    private readonly bool[]? _clash;

    private EdgePairing(Mesh mesh, int[] twin, bool[]? clash, int crowded)
    {
        Mesh = mesh;
        _twin = twin;
        _clash = clash;
        CrowdedEdges = crowded;
    }

    /// <summary>The mesh.</summary>
    public Mesh Mesh { get; }

    /// <summary>The half-edge on the other side, or -1 for an open edge. Pairs are mutual.</summary>
    public ReadOnlySpan<int> Twin => _twin;

    /// <summary>The array itself, for parallel loops; never write to it.</summary>
    public int[] TwinArray => _twin;

    /// <summary>Edges with more than two triangles.</summary>
    public int CrowdedEdges { get; }

    /// <summary>True where the triangles on both sides run along the edge in the same direction (one of them is turned).</summary>
    public bool Clashes(int halfEdge) => _clash is not null && _clash[halfEdge];

    /// <summary>True if any pair clashes.</summary>
    public bool AnyClash => _clash is not null;

    /// <summary>
    /// Pairs all half-edges in linear time: one counting pass by the lower vertex, then tiny sorts. Where an edge is crowded,
    /// triangles that already hang together over other edges are paired first, then neighbours around the edge with solid
    /// between them.
    /// </summary>
    public static EdgePairing Build(Mesh mesh)
    {
        ArgumentNullException.ThrowIfNull(mesh);
        var corners = mesh.CornersArray;
        var halves = corners.Length;
        var twin = new int[halves];
        Array.Fill(twin, -1);
        var starts = new int[mesh.VertexCount + 1];
        for (var h = 0; h < halves; h++) starts[Math.Min(corners[h], corners[Next(h)]) + 1]++;
        for (var v = 0; v < mesh.VertexCount; v++) starts[v + 1] += starts[v];
        // Upper vertex, then half-edge, in one 64-bit key.
        var keys = new ulong[halves];
        var place = starts.AsSpan(0, mesh.VertexCount).ToArray();
        for (var h = 0; h < halves; h++)
        {
            int a = corners[h], b = corners[Next(h)];
            keys[place[Math.Min(a, b)]++] = (ulong)(uint)Math.Max(a, b) << 32 | (uint)h;
        }
        var blocks = (mesh.VertexCount + VerticesAtOnce - 1) / VerticesAtOnce;
        var crowdedOf = new List<(int From, int Count)>?[blocks];
        var clashOf = new List<int>?[blocks];
        Parallel.For(0, blocks, Ranges.Threads, block =>
        {
            List<(int, int)>? crowded = null;
            List<int>? clashing = null;
            for (var v = block * VerticesAtOnce; v < Math.Min(mesh.VertexCount, (block + 1) * VerticesAtOnce); v++)
            {
                int from = starts[v], to = starts[v + 1];
                Sort(keys.AsSpan(from, to - from));
                for (var i = from; i < to;)
                {
                    var upper = keys[i] >> 32;
                    var j = i + 1;
                    while (j < to && keys[j] >> 32 == upper) j++;
                    if (upper != (uint)v) // an edge from a vertex to itself belongs to a triangle that names it twice
                    {
                        if (j - i == 2)
                        {
                            int g = (int)(uint)keys[i], h = (int)(uint)keys[i + 1];
                            twin[g] = h;
                            twin[h] = g;
                            if (corners[g] == corners[h]) (clashing ??= []).Add(g);
                        }
                        else if (j - i > 2) (crowded ??= []).Add((i, j - i));
                    }
                    i = j;
                }
            }
            crowdedOf[block] = crowded;
            clashOf[block] = clashing;
        });
        bool[]? clash = null;
        foreach (var list in clashOf)
            if (list is not null)
                foreach (var g in list)
                {
                    clash ??= new bool[halves];
                    clash[g] = clash[twin[g]] = true;
                }
        var edges = crowdedOf.Sum(l => l?.Count ?? 0);
        if (edges > 0) Fans.Resolve(mesh, keys, crowdedOf, twin, ref clash);
        return new EdgePairing(mesh, twin, clash, edges);
    }

    /// <summary>
    /// The mesh with vertices doubled where sheets that are not paired with each other share them, so that around every
    /// vertex there is one fan of triangles. Triangles keep their numbers and places; the same mesh comes back if nothing is shared.
    /// </summary>
    public Mesh WithSheetsApart() => WithSheetsApart(out _);

    /// <summary>The same, and the vertices that were doubled (as numbered before).</summary>
    public Mesh WithSheetsApart(out IReadOnlyList<int> doubled)
    {
        var corners = Mesh.CornersArray;
        // Corners around one vertex are joined over paired edges; each group keeps or gets a vertex of its own.
        var group = new UnionFind(corners.Length);
        for (var h = 0; h < corners.Length; h++)
        {
            var g = _twin[h];
            if (g < h) continue;
            int a = h, b = Next(h), c = g, d = Next(g);
            if (corners[a] == corners[c]) { group.Join(a, c); group.Join(b, d); }
            else { group.Join(a, d); group.Join(b, c); }
        }
        var owner = new int[Mesh.VertexCount];
        var list = new List<int>();
        int[]? moved = null;
        Dictionary<int, int>? extra = null;
        for (var h = 0; h < corners.Length; h++)
        {
            var root = group.Find(h);
            ref var o = ref owner[corners[h]];
            if (o == 0) o = root + 1;
            else if (o != root + 1)
            {
                moved ??= (int[])corners.Clone();
                extra ??= [];
                if (!extra.TryGetValue(root, out var v))
                {
                    extra[root] = v = Mesh.VertexCount + list.Count;
                    list.Add(corners[h]);
                }
                moved[h] = v;
            }
        }
        doubled = list;
        if (moved is null) return Mesh;
        var xyz = new int[Mesh.XyzArray.Length + 3 * list.Count];
        Mesh.Xyz.CopyTo(xyz);
        for (var i = 0; i < list.Count; i++)
            Mesh.Xyz.Slice(3 * list[i], 3).CopyTo(xyz.AsSpan(3 * (Mesh.VertexCount + i)));
        return new Mesh(Mesh.Lattice, xyz, moved);
    }

    /// <summary>The next half-edge of the same triangle.</summary>
    public static int Next(int halfEdge) => halfEdge % 3 == 2 ? halfEdge - 2 : halfEdge + 1;

    private const int VerticesAtOnce = 1 << 14;

    private static void Sort(Span<ulong> keys)
    {
        if (keys.Length > 24)
        {
            keys.Sort();
            return;
        }
        for (var i = 1; i < keys.Length; i++)
        {
            var k = keys[i];
            var j = i - 1;
            while (j >= 0 && keys[j] > k) { keys[j + 1] = keys[j]; j--; }
            keys[j + 1] = k;
        }
    }
}
