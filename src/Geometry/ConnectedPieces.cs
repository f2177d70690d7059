namespace Stiltwright.Geometry;

/// <summary>
/// The pieces of a mesh that hang together by vertices, the coarsest sort of shell (surfaces that only share a vertex are one piece;
/// <see cref="ShellFinder"/> parts those). Union-find whose roots are least members, so a link is one compare-and-swap, paths may be halved
/// by all threads at once (an entry only ever becomes another ancestor), and the result does not depend on the order.
/// Anderson and Woll 1991, STOC.
/// </summary>
public sealed class ConnectedPieces
{
    private const int TrianglesAtOnce = 1 << 15;

    private ConnectedPieces(int[] ofVertex, int[] triangles) => (OfVertex, Triangles) = (ofVertex, triangles);

    /// <summary>Piece of each vertex, numbered in order of their least vertices; -1 for a vertex that no triangle uses.</summary>
    public int[] OfVertex { get; }

    /// <summary>Number of triangles of each piece.</summary>
    public int[] Triangles { get; }

    /// <summary>Number of pieces.</summary>
    public int Count => Triangles.Length;

    /// <summary>Finds the pieces. Linear but for the inverse Ackermann function.</summary>
    public static ConnectedPieces Of(Mesh mesh)
    {
        ArgumentNullException.ThrowIfNull(mesh);
        return Of(mesh.VertexCount, mesh.CornersArray);
    }

    internal static ConnectedPieces Of(int vertices, int[] corners)
    {
        var parent = new int[vertices];
        for (var v = 0; v < parent.Length; v++) parent[v] = v;
        var blocks = (corners.Length / 3 + TrianglesAtOnce - 1) / TrianglesAtOnce;
        Parallel.For(0, blocks, Ranges.Threads, block =>
        {
            var end = (int)Math.Min(corners.Length, 3L * (block + 1) * TrianglesAtOnce);
            for (var i = 3 * block * TrianglesAtOnce; i < end; i += 3)
            {
                int a = corners[i], b = corners[i + 1], c = corners[i + 2];
                if (parent[a] == parent[b] && parent[b] == parent[c]) continue; // the same parent: one piece already
                Link(parent, a, b);
                Link(parent, a, c);
            }
        });

        // A vertex's parent is never greater than the vertex, so one pass upwards numbers all. A root alone may be unused.
        var pieces = 0;
        var alone = false;
        for (var v = 0; v < parent.Length; v++)
        {
            var p = parent[v];
            parent[v] = p == v ? pieces++ : parent[p];
        }
        var counts = new int[pieces];
        Parallel.For(0, blocks, Ranges.Threads, () => new int[pieces], (block, _, own) =>
        {
            var end = (int)Math.Min(corners.Length, 3L * (block + 1) * TrianglesAtOnce);
            for (var i = 3 * block * TrianglesAtOnce; i < end; i += 3) own[parent[corners[i]]]++;
            return own;
        }, own =>
        {
            lock (counts)
                for (var p = 0; p < own.Length; p++) counts[p] += own[p];
        });
        foreach (var n in counts) alone |= n == 0;
        return alone ? WithoutUnused(parent, counts) : new ConnectedPieces(parent, counts);
    }

    private static ConnectedPieces WithoutUnused(int[] of, int[] counts)
    {
        var number = new int[counts.Length];
        var kept = 0;
        for (var p = 0; p < counts.Length; p++) number[p] = counts[p] == 0 ? -1 : kept++;
        for (var v = 0; v < of.Length; v++) of[v] = number[of[v]];
        return new ConnectedPieces(of, [.. counts.Where(n => n > 0)]);
    }

    private static int Root(int[] parent, int v)
    {
        while (true)
        {
            var p = parent[v];
            if (p == v) return v;
            var g = parent[p];
            if (g == p) return p;
            parent[v] = g;
            v = g;
        }
    }

    private static void Link(int[] parent, int a, int b)
    {
        while (true)
        {
            a = Root(parent, a);
            b = Root(parent, b);
            if (a == b) return;
            if (a > b) (a, b) = (b, a);
            if (Interlocked.CompareExchange(ref parent[b], a, b) == b) return;
        }
    }
}
