namespace Stiltwright.Geometry.Spatial;

public sealed partial class TriangleTree
{
    /// <summary>
    /// Pairs of triangles of this mesh whose boxes share a point (candidates for a crossing), each pair once with the smaller number
    /// first, sorted. Triangles that share a vertex number are neighbours and left out unless asked for.
    /// </summary>
    public void CrossingPairs(List<(int A, int B)> pairs, bool withNeighbours = false, int maxThreads = 0)
    {
        ArgumentNullException.ThrowIfNull(pairs);
        var corners = Mesh.CornersArray;
        Collect(this, pairs, maxThreads, (a, b) => a < b && (withNeighbours || !SharesCorner(corners, a, b)));
    }

    /// <summary>Pairs (triangle of this mesh, triangle of the other) whose boxes share a point, sorted.</summary>
    public void CrossingPairs(TriangleTree other, List<(int A, int B)> pairs, int maxThreads = 0)
    {
        ArgumentNullException.ThrowIfNull(other);
        ArgumentNullException.ThrowIfNull(pairs);
        Collect(other, pairs, maxThreads, null);
    }

    /// <summary>True if two triangles of one mesh share a vertex number.</summary>
    internal static bool SharesCorner(int[] corners, int a, int b)
    {
        for (var i = 0; i < 3; i++)
            for (var j = 0; j < 3; j++)
                if (corners[3 * a + i] == corners[3 * b + j]) return true;
        return false;
    }

    private void Collect(TriangleTree other, List<(int A, int B)> pairs, int maxThreads, Func<int, int, bool>? accept)
    {
        pairs.Clear();
        if (_children.Length == 0 || other._children.Length == 0) return;
        const int block = 2048;
        var places = _ids.Length;
        var blocks = (places + block - 1) / block;
        var found = new List<(int, int)>[blocks];
        Parallel.For(0, blocks, Threads(maxThreads), at =>
        {
            var list = found[at] = [];
            var reach = Box3.Empty;
            int end = Math.Min(places, (at + 1) * block);
            for (var i = at * block; i < end; i++) reach = reach.With(BoxOf(i));
            if (!reach.Meets(other._bounds)) return;
            var near = new List<int>();
            for (var i = at * block; i < end; i++)
            {
                if (_ids[i] < 0) continue;
                near.Clear();
                other.Overlapping(BoxOf(i), near);
                var a = _ids[i];
                foreach (var b in near)
                    if (accept is null || accept(a, b)) list.Add((a, b));
            }
        });
        pairs.EnsureCapacity(found.Sum(l => l.Count));
        foreach (var l in found) pairs.AddRange(l);
        pairs.Sort();
    }
}
