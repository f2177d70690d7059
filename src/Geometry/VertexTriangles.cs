namespace Stiltwright.Geometry;

/// <summary>The triangles around each vertex, ascending.</summary>
internal sealed class VertexTriangles
{
    private readonly int[] _starts;
    private readonly int[] _triangles;

    internal VertexTriangles(Mesh mesh)
    {
        var c = mesh.CornersArray;
        _starts = new int[mesh.VertexCount + 1];
        foreach (var v in c) _starts[v + 1]++;
        for (var v = 0; v < mesh.VertexCount; v++) _starts[v + 1] += _starts[v];
        _triangles = new int[c.Length];
        var at = _starts.AsSpan(0, mesh.VertexCount).ToArray();
        for (var i = 0; i < c.Length; i++) _triangles[at[c[i]]++] = i / 3;
    }

    internal ReadOnlySpan<int> Of(int vertex) => _triangles.AsSpan(_starts[vertex], _starts[vertex + 1] - _starts[vertex]);
}
