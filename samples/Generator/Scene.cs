using Stiltwright.Geometry;

namespace Stiltwright.Samples;

/// <summary>Triangles of many closed shells, gathered for one STL; mm.</summary>
internal sealed class Scene
{
    public List<Vec3> Points { get; } = [];

    public List<int> Corners { get; } = [];

    public void Add(IReadOnlyList<Vec3> points, IReadOnlyList<int> corners)
    {
        var first = Points.Count;
        Points.AddRange(points);
        foreach (var c in corners) Corners.Add(first + c);
    }

    /// <summary>A closed frustum with flat ends and regular polygons as sections.</summary>
    public void Frustum(Vec3 from, Vec3 to, double rFrom, double rTo, int sides)
    {
        var axis = (to - from).Unit();
        var u = axis.AnyPerpendicular();
        var v = axis.Cross(u);
        var points = new List<Vec3>();
        var corners = new List<int>();
        foreach (var (centre, r) in ((Vec3, double)[])[(from, rFrom), (to, rTo)])
            for (var k = 0; k < sides; k++)
            {
                var (s, c) = Math.SinCos(2 * Math.PI * k / sides);
                points.Add(centre + (u * c + v * s) * r);
            }
        points.Add(from);
        points.Add(to);
        for (var k = 0; k < sides; k++)
        {
            var n = (k + 1) % sides;
            corners.AddRange([k, n, sides + n, k, sides + n, sides + k, 2 * sides, n, k, 2 * sides + 1, sides + k, sides + n]);
        }
        Add(points, corners);
    }

    /// <summary>A closed ball of rings and poles.</summary>
    public void Ball(Vec3 centre, double r, int sides)
    {
        var rings = sides / 2;
        var points = new List<Vec3> { centre - new Vec3(0, 0, r) };
        for (var i = 1; i < rings; i++)
            for (var k = 0; k < sides; k++)
            {
                var (sp, cp) = Math.SinCos(Math.PI * i / rings);
                var (s, c) = Math.SinCos(2 * Math.PI * k / sides);
                points.Add(centre + new Vec3(sp * c, sp * s, -cp) * r);
            }
        points.Add(centre + new Vec3(0, 0, r));
        var corners = new List<int>();
        for (var k = 0; k < sides; k++)
        {
            var n = (k + 1) % sides;
            corners.AddRange([0, 1 + n, 1 + k]);
            for (var i = 0; i < rings - 2; i++)
            {
                int a = 1 + i * sides + k, b = 1 + i * sides + n;
                corners.AddRange([a, b, b + sides, a, b + sides, a + sides]);
            }
            var last = 1 + (rings - 2) * sides;
            corners.AddRange([last + k, last + n, points.Count - 1]);
        }
        Add(points, corners);
    }

    /// <summary>A plate with a convex outline, chamfered so that a scraper gets under it: smaller at the platform.</summary>
    public void Plate(IReadOnlyList<(double X, double Y)> outline, double height, double chamfer)
    {
        var n = outline.Count;
        double cx = outline.Average(p => p.X), cy = outline.Average(p => p.Y);
        var points = new List<Vec3>();
        foreach (var z in (double[])[0, height])
            foreach (var (x, y) in outline)
            {
                var d = new Vec3(x - cx, y - cy, 0);
                var k = z == 0 ? 1 - chamfer / d.Length : 1;
                points.Add(new Vec3(cx + d.X * k, cy + d.Y * k, z));
            }
        points.Add(new Vec3(cx, cy, 0));
        points.Add(new Vec3(cx, cy, height));
        var corners = new List<int>();
        for (var k = 0; k < n; k++)
        {
            var m = (k + 1) % n;
            corners.AddRange([k, m, n + m, k, n + m, n + k, 2 * n, m, k, 2 * n + 1, n + k, n + m]);
        }
        Add(points, corners);
    }
}
