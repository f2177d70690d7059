namespace Stiltwright.Geometry.Simplifying;

/// <summary>
/// Connectivity of a closed 2-manifold triangle mesh: for every corner its vertex and the corner across its edge in the
/// neighbouring triangle; for every vertex one of its corners (-1: vertex no longer used). Removed triangles have vertex -1.
/// </summary>
internal sealed class CornerTable
{
    internal readonly int[] Vertex;
    internal readonly int[] Opposite;
    internal readonly int[] CornerOf;

    /// <param name="vertices">Number of vertices.</param>
    /// <param name="corners">Three vertex numbers a triangle; one fan of triangles around every vertex. Copied.</param>
    /// <param name="twin">For half-edge 3t + k of triangle t its partner, which runs the other way; none may be missing.</param>
    internal CornerTable(int vertices, int[] corners, int[] twin)
    {
        Vertex = (int[])corners.Clone();
        Opposite = new int[corners.Length];
        CornerOf = new int[vertices];
        CornerOf.AsSpan().Fill(-1);
        for (var c = 0; c < corners.Length; c++)
        {
            CornerOf[corners[c]] = c;
            // The edge across from a corner begins at the next one; its partner's triangle has its third corner before the partner's first.
            Opposite[c] = Previous(twin[Next(c)]);
        }
    }

    internal static int Next(int c) => c % 3 == 2 ? c - 2 : c + 1;
    internal static int Previous(int c) => c % 3 == 0 ? c + 2 : c - 1;

    /// <summary>The next corner around the same vertex, counter-clockwise seen from outside.</summary>
    internal int Around(int c) => Next(Opposite[Next(c)]);

    /// <summary>The corners around the vertex of a corner, one a triangle, beginning with that corner; -1 where there are more than the span holds.</summary>
    internal int RingFrom(int first, Span<int> corners)
    {
        var c = first;
        var n = 0;
        do
        {
            if (n == corners.Length) return -1;
            corners[n++] = c;
            c = Around(c);
        }
        while (c != first);
        return n;
    }

    /// <summary>The corners around a vertex.</summary>
    internal int Ring(int vertex, Span<int> corners) => RingFrom(CornerOf[vertex], corners);

    /// <summary>
    /// Draws the edge across from a corner together: its end vertex merges into its start vertex, two triangles vanish. The
    /// caller has checked that this keeps the mesh 2-manifold.
    /// </summary>
    internal void Collapse(int corner, ReadOnlySpan<int> ringOfEnd)
    {
        int t1 = corner, atA = Next(t1), atB = Previous(t1);
        int t2 = Opposite[t1], atB2 = Next(t2), atA2 = Previous(t2);
        int a = Vertex[atA], b = Vertex[atB], d1 = Vertex[t1], d2 = Vertex[t2];
        foreach (var c in ringOfEnd) Vertex[c] = a;
        int o1 = Opposite[atA], o2 = Opposite[atB], o3 = Opposite[atA2], o4 = Opposite[atB2];
        (Opposite[o1], Opposite[o2]) = (o2, o1);
        (Opposite[o3], Opposite[o4]) = (o4, o3);
        // o2 lies across the edge from a to d1: order o2, a, d1. o3 lies across the edge from b to d2: order o3, b, d2.
        CornerOf[a] = Next(o2);
        CornerOf[d1] = Previous(o2);
        CornerOf[d2] = Previous(o3);
        CornerOf[b] = -1;
        Vertex[t1] = Vertex[atA] = Vertex[atB] = Vertex[t2] = Vertex[atA2] = Vertex[atB2] = -1;
    }
}
