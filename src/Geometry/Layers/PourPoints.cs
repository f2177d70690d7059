namespace Stiltwright.Geometry.Layers;

/// <summary>A place of a cavity that liquid gathers at (or air, seen the other way).</summary>
/// <param name="At">The place, on the cavity's surface, mm.</param>
/// <param name="HeightMm">Its height against the direction, mm: the dot product with the opposite of it.</param>
/// <param name="ProminenceMm">
/// How far the surface must be climbed from it before a lower such place can be reached, mm; infinity for the lowest of all.
/// </param>
/// <param name="BasinMm2">Area of the surface that leads down to it before it meets an older one, mm2.</param>
public readonly record struct PourPoint(Vec3 At, double HeightMm, double ProminenceMm, double BasinMm2);

/// <summary>
/// Finds the places of a cavity's surface that lie lowest in a direction, each with the height of the ridge that parts it
/// from a lower one (a join tree of the surface's vertices). With the direction turned round it gives where air stays.
/// </summary>
public static class PourPoints
{
    /// <summary>The lowest places, most prominent first; the first of each shell has infinite prominence.</summary>
    /// <param name="cavity">The cavity's surface, facing out of the void (positive volume).</param>
    /// <param name="down">The way liquid runs.</param>
    /// <param name="leastProminenceMm">Leaves out dents shallower than this, mm.</param>
    /// <exception cref="ArgumentException">The direction is zero.</exception>
    public static IReadOnlyList<PourPoint> Find(Mesh cavity, Vec3 down, double leastProminenceMm = 0.2)
    {
        if (!(down.Length > 0)) throw new ArgumentException("The direction in which liquid runs has no length.", nameof(down));
        var up = -down.Unit();
        var n = cavity.VertexCount;
        var height = new double[n];
        var facing = new double[n];
        var area = new double[n];
        for (var v = 0; v < n; v++) height[v] = cavity.Vertex(v).Dot(up);
        for (var t = 0; t < cavity.TriangleCount; t++)
        {
            var a = cavity.AreaVector(t);
            for (var k = 0; k < 3; k++)
            {
                facing[cavity.Corners[3 * t + k]] += a.Dot(up);
                area[cavity.Corners[3 * t + k]] += a.Length / 3;
            }
        }
        var (start, neighbour) = Neighbours(cavity);
        var order = new int[n];
        for (var v = 0; v < n; v++) order[v] = v;
        Array.Sort(order, (a, b) => height[a] != height[b] ? height[a].CompareTo(height[b]) : a.CompareTo(b));
        var rank = new int[n];
        for (var k = 0; k < n; k++) rank[order[k]] = k;

        var parent = new int[n];
        Array.Fill(parent, -1);
        var lowest = new int[n];
        var basin = new double[n];
        var found = new List<PourPoint>();
        int Root(int v)
        {
            while (parent[v] != v) v = parent[v] = parent[parent[v]];
            return v;
        }
        foreach (var v in order)
        {
            parent[v] = lowest[v] = v;
            basin[v] = area[v];
            for (var e = start[v]; e < start[v + 1]; e++)
            {
                if (rank[neighbour[e]] > rank[v]) continue;
                int a = Root(v), b = Root(neighbour[e]);
                if (a == b) continue;
                var (older, younger) = rank[lowest[a]] < rank[lowest[b]] ? (a, b) : (b, a);
                // A vertex that merely continues a basin is its own dent of depth 0.
                if (lowest[younger] != v) Note(lowest[younger], height[v] - height[lowest[younger]], basin[younger]);
                parent[younger] = older;
                basin[older] += basin[younger];
            }
        }
        for (var v = 0; v < n; v++)
            if (parent[v] == v && start[v] < start[v + 1]) Note(lowest[v], double.PositiveInfinity, basin[v]);
        return [.. found.OrderByDescending(p => p.ProminenceMm).ThenBy(p => p.HeightMm)];

        // The tip of a spike that hangs into the void is low too, but there the surface faces up: no liquid stands on it.
        void Note(int v, double prominence, double area)
        {
            if (prominence >= leastProminenceMm && facing[v] < 0) found.Add(new PourPoint(cavity.Vertex(v), height[v], prominence, area));
        }
    }

    /// <summary>Both ends of every edge, by vertex.</summary>
    private static (int[] Start, int[] Neighbour) Neighbours(Mesh mesh)
    {
        var start = new int[mesh.VertexCount + 1];
        var c = mesh.Corners;
        foreach (var v in c) start[v + 1] += 2;
        for (var v = 0; v < mesh.VertexCount; v++) start[v + 1] += start[v];
        var next = start.AsSpan(0, mesh.VertexCount).ToArray();
        var neighbour = new int[start[mesh.VertexCount]];
        for (var t = 0; t < c.Length; t += 3)
            for (var k = 0; k < 3; k++)
            {
                neighbour[next[c[t + k]]++] = c[t + (k + 1) % 3];
                neighbour[next[c[t + k]]++] = c[t + (k + 2) % 3];
            }
        return (start, neighbour);
    }
}
