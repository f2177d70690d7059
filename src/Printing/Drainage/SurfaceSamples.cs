using Stiltwright.Geometry;

namespace Stiltwright.Printing.Drainage;

/// <summary>Points spread over a surface so that equal areas get equally many; the same for the same mesh at every run.</summary>
public static class SurfaceSamples
{
    /// <summary>About <paramref name="count"/> points, by steps of equal area along the triangles; each lies at a triangle's centroid or inside it.</summary>
    public static Vec3[] Spread(Mesh mesh, int count)
    {
        var areas = new double[mesh.TriangleCount];
        double total = 0;
        for (var t = 0; t < areas.Length; t++) total += areas[t] = mesh.AreaVector(t).Length;
        if (total == 0) return [];
        var step = total / count;
        var points = new List<Vec3>(count + 1);
        double done = 0, next = step / 2;
        var which = 0;
        for (var t = 0; t < areas.Length; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            while (done + areas[t] > next)
            {
                // The R2 low-discrepancy sequence (Roberts 2018) folded into the triangle.
                which++;
                double x = which * 0.7548776662466927 % 1, y = which * 0.5698402909980532 % 1;
                if (x + y > 1) (x, y) = (1 - x, 1 - y);
                points.Add(a + (b - a) * x + (c - a) * y);
                next += step;
            }
            done += areas[t];
        }
        return [.. points];
    }
}
