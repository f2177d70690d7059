namespace Stiltwright.Geometry.Fields;

/// <summary>Whether every directed edge of a mesh occurs as often as its reverse.</summary>
internal static class Closedness
{
    /// <summary>Number of directed edges without a partner, and a point on the first of them.</summary>
    internal static (int Unmatched, Vec3 At) Check(Mesh mesh)
    {
        var corners = mesh.CornersArray;
        // Half-edges gathered at their smaller vertex: the larger one, with the direction in the sign.
        var start = new int[mesh.VertexCount + 1];
        for (var i = 0; i < corners.Length; i++) start[Math.Min(corners[i], corners[Next(i)]) + 1]++;
        for (var v = 0; v < mesh.VertexCount; v++) start[v + 1] += start[v];
        var fill = start.AsSpan(0, mesh.VertexCount).ToArray();
        var other = new int[corners.Length];
        for (var i = 0; i < corners.Length; i++)
        {
            int a = corners[i], b = corners[Next(i)];
            if (a == b) { other[fill[a]++] = 0; continue; }
            other[fill[Math.Min(a, b)]++] = a < b ? b + 1 : -(a + 1);
        }
        var unmatched = 0;
        var at = Vec3.Zero;
        for (var v = 0; v < mesh.VertexCount; v++)
        {
            var list = other.AsSpan(start[v], start[v + 1] - start[v]);
            for (var i = 0; i < list.Length; i++)
            {
                if (list[i] == 0) continue;
                var partner = list[(i + 1)..].IndexOf(-list[i]);
                if (partner >= 0) { list[i + 1 + partner] = 0; continue; }
                if (unmatched++ == 0) at = (mesh.Vertex(v) + mesh.Vertex(Math.Abs(list[i]) - 1)) * 0.5;
            }
        }
        return (unmatched, at);

        static int Next(int i) => i % 3 == 2 ? i - 2 : i + 1;
    }
}
