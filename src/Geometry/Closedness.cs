namespace Stiltwright.Geometry;

/// <summary>
/// The one invariant of all that is written: along every edge as many triangles run one way as the other. It holds for any
/// number of closed shells, touching or overlapping, and for nothing that has a hole.
/// </summary>
public static class Closedness
{
    /// <summary>True if the mesh has no unpaired edge.</summary>
    public static bool IsClosed(Mesh mesh) => FirstUnpairedEdge(mesh) is null;

    /// <summary>
    /// Middle of an edge whose two directions are not used equally often, mm (of all such edges the one whose lower vertex
    /// comes first); null for a closed mesh. Linear time: edges are gathered by their lower vertex in one counting pass, and
    /// each vertex's few edges are balanced among themselves.
    /// </summary>
    public static Vec3? FirstUnpairedEdge(Mesh mesh)
    {
        var corners = mesh.CornersArray;
        var starts = new int[mesh.VertexCount + 1];
        for (var t = 0; t < corners.Length; t += 3)
        {
            int a = corners[t], b = corners[t + 1], c = corners[t + 2];
            starts[Math.Min(a, b) + 1]++;
            starts[Math.Min(b, c) + 1]++;
            starts[Math.Min(c, a) + 1]++;
        }
        for (var v = 0; v < mesh.VertexCount; v++) starts[v + 1] += starts[v];
        var place = starts.AsSpan(0, mesh.VertexCount).ToArray();
        var edges = new uint[corners.Length]; // upper vertex twice, and one more where the triangle runs downwards
        for (var t = 0; t < corners.Length; t += 3)
        {
            int a = corners[t], b = corners[t + 1], c = corners[t + 2];
            Add(a, b);
            Add(b, c);
            Add(c, a);
        }
        var found = new int[Ranges.Count(mesh.VertexCount)];
        Ranges.For(mesh.VertexCount, (r, from, to) =>
        {
            found[r] = -1;
            for (var v = from; v < to; v++)
                if (Unbalanced(edges.AsSpan(starts[v], starts[v + 1] - starts[v]), v) >= 0)
                {
                    found[r] = v;
                    return;
                }
        });
        foreach (var v in found)
            if (v >= 0)
                return (mesh.Vertex(v) + mesh.Vertex(Unbalanced(edges.AsSpan(starts[v], starts[v + 1] - starts[v]), v))) * 0.5;
        return null;

        void Add(int from, int to) => edges[place[Math.Min(from, to)]++] = from < to ? (uint)to << 1 : ((uint)from << 1) | 1;
    }

    // The upper vertex of an edge that runs more often one way than the other, or -1. An edge from a vertex to itself counts for nothing.
    private static int Unbalanced(Span<uint> edges, int lower)
    {
        edges.Sort();
        for (var i = 0; i < edges.Length;)
        {
            var upper = edges[i] >> 1;
            var balance = 0;
            for (; i < edges.Length && edges[i] >> 1 == upper; i++) balance += (edges[i] & 1) == 0 ? 1 : -1;
            if (balance != 0 && upper != (uint)lower) return (int)upper;
        }
        return -1;
    }
}
