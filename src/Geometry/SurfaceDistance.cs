using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry;

/// <summary>Distances from one surface to another one.</summary>
/// <param name="LargestMm">Largest distance found that is within the limit, mm.</param>
/// <param name="Beyond">Points farther away than the limit.</param>
public sealed record DistanceMeasure(double LargestMm, IReadOnlyList<Vec3> Beyond);

/// <summary>
/// Measures how far a surface lies from another one, by exact distances from all its corners and the middles of its edges and
/// triangles. Between two flat facets the distance is greatest at a corner of one of them or where two edges pass each other; the
/// latter is met by the middles only nearly, so a bound that must hold everywhere needs some room above what is measured.
/// </summary>
public static class SurfaceDistance
{
    /// <summary>Measures from one surface to another.</summary>
    /// <param name="from">The surface whose points are taken.</param>
    /// <param name="to">The surface to which the distance is taken.</param>
    /// <param name="limitMm">Points beyond this are listed; the search ends there.</param>
    /// <param name="maxThreads">Threads at most; 0: as many as there are processors. The result does not depend on it.</param>
    public static DistanceMeasure Measure(Mesh from, TriangleTree to, double limitMm, int maxThreads = 0)
    {
        ArgumentNullException.ThrowIfNull(from);
        ArgumentNullException.ThrowIfNull(to);
        int n = from.TriangleCount, vertices = from.VertexCount;
        var corners = from.CornersArray;
        var used = new bool[vertices];
        foreach (var c in corners) used[c] = true;
        const int block = 4096;
        int blocks = (n + block - 1) / block, vertexBlocks = (vertices + block - 1) / block;
        var most = new double[blocks + vertexBlocks];
        var beyond = new List<Vec3>?[blocks + vertexBlocks];
        Parallel.For(0, most.Length, TriangleTree.Threads(maxThreads), b =>
        {
            var seed = -1;
            double largest = 0, limit2 = limitMm * limitMm;
            if (b < blocks)
                for (var t = b * block; t < Math.Min(n, (b + 1) * block); t++)
                {
                    var (p, q, r) = from.Triangle(t);
                    Look((p + q + r) / 3);
                    // An edge belongs to the triangle that runs along it upwards.
                    if (corners[3 * t] < corners[3 * t + 1]) Look((p + q) * 0.5);
                    if (corners[3 * t + 1] < corners[3 * t + 2]) Look((q + r) * 0.5);
                    if (corners[3 * t + 2] < corners[3 * t]) Look((r + p) * 0.5);
                }
            else
                for (var v = (b - blocks) * block; v < Math.Min(vertices, (b - blocks + 1) * block); v++)
                    if (used[v]) Look(from.Vertex(v));
            most[b] = Math.Sqrt(largest);

            void Look(Vec3 x)
            {
                var best2 = limit2;
                var place = to.ClosestPlace(x, null, ref best2, seed);
                if (place < 0) (beyond[b] ??= []).Add(x);
                else
                {
                    seed = place;
                    largest = Math.Max(largest, best2);
                }
            }
        });
        return new DistanceMeasure(most.DefaultIfEmpty(0).Max(), [.. beyond.Where(l => l is not null).SelectMany(l => l!)]);
    }
}
