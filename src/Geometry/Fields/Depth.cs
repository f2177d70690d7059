using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Fields;

/// <summary>Exact depth below the outer surface and the places that stay solid; finds balls that fit into a hollow.</summary>
internal sealed class Depth(TriangleTree border, KeptSolid kept)
{
    /// <summary>True if a ball of a radius was found to fit (by walking uphill from many places of the hollow's surface).</summary>
    internal bool HoldsBall(Hollow hollow, double radius, double level)
    {
        if (radius <= 0) return true;
        var starts = Math.Min(hollow.VertexCount, 600);
        for (var i = 0; i < starts; i++)
            if (Climb(hollow.At((int)((long)i * hollow.VertexCount / starts)), level + radius) - level >= radius) return true;
        return false;
    }

    /// <summary>The largest ball found from a number of starts, mm.</summary>
    internal double LargestBall(Mesh surface, double level, int starts)
    {
        var best = 0.0;
        starts = Math.Min(starts, surface.VertexCount);
        for (var i = 0; i < starts; i++)
            best = Math.Max(best, Climb(surface.Vertex((int)((long)i * surface.VertexCount / starts)), double.PositiveInfinity) - level);
        return best;
    }

    // Walks away from the nearest obstacle for as long as the depth grows; gives the depth reached, or the first one at the goal.
    private double Climb(Vec3 p, double goal)
    {
        var step = 0.5;
        var (depth, away) = At(p);
        for (var i = 0; i < 60 && step > 0.05 && depth < goal; i++)
        {
            var next = p + away * step;
            var (d, a) = At(next);
            if (d > depth)
            {
                (p, depth, away) = (next, d, a);
                step = Math.Min(step * 1.5, 4);
            }
            else step *= 0.5;
        }
        return depth;
    }

    private (double Depth, Vec3 Away) At(Vec3 p)
    {
        var n = border.Closest(p);
        var term = kept.At(p);
        if (n.Distance <= term) return (n.Distance, (p - n.Point).Unit());
        // Uphill from a kept place: along the slope of the nearest term.
        const double e = 1e-4;
        var slope = new Vec3(kept.At(p + new Vec3(e, 0, 0)) - term, kept.At(p + new Vec3(0, e, 0)) - term, kept.At(p + new Vec3(0, 0, e)) - term);
        return (term, slope.Unit());
    }
}
