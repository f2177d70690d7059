using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Fields;

/// <summary>Measures walls afterwards, by exact distances from points of the cavity's surface to the figure's outer surface.</summary>
internal static class WallMeasure
{
    private const int MostSamples = 60_000;

    /// <summary>
    /// Least (over corners and middles of triangles), mean and 99th percentile (both by area), and the most by which a point lies
    /// deeper than the wall or the place kept solid that is nearest to holding it back, mm.
    /// </summary>
    internal static (double Min, double Mean, double P99, double Deeper) Of(Mesh surface, TriangleTree border, KeptSolid kept, double wall, int maxThreads)
    {
        // One point a triangle (or every n-th triangle), weighted by area: its middle and one of its corners in turn.
        var every = Math.Max(1, surface.TriangleCount / MostSamples);
        var count = (surface.TriangleCount + every - 1) / every;
        var points = new Vec3[2 * count];
        var weights = new double[2 * count];
        for (var i = 0; i < count; i++)
        {
            var t = i * every;
            var (a, b, c) = surface.Triangle(t);
            points[2 * i] = (a + b + c) / 3;
            points[2 * i + 1] = (t % 3) switch { 0 => a, 1 => b, _ => c };
            weights[2 * i] = weights[2 * i + 1] = surface.AreaVector(t).Length;
        }
        var distances = Array.ConvertAll(border.Closest(points, maxThreads: maxThreads), n => n.Distance);
        double sum = 0, total = 0, min = double.PositiveInfinity, deeper = double.NegativeInfinity;
        for (var i = 0; i < distances.Length; i++)
        {
            if (distances[i] - wall > deeper) deeper = Math.Max(deeper, Math.Min(distances[i], kept.At(points[i])) - wall);
            sum += distances[i] * weights[i];
            total += weights[i];
            min = Math.Min(min, distances[i]);
        }
        Array.Sort(distances, weights);
        double below = 0, p99 = distances[^1];
        for (var i = 0; i < distances.Length; i++)
        {
            below += weights[i];
            if (below < 0.99 * total) continue;
            p99 = distances[i];
            break;
        }
        return (min, sum / total, p99, deeper);
    }
}
