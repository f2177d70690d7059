using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>
/// Fits a prism or frustum to corners of its sides by least squares (Gauss-Newton on the distances from the sides' planes), for sources
/// whose rounded coordinates leave three neighbouring sides too rough to tell it.
/// </summary>
internal static class PrismFit
{
    private const int Rounds = 4;

    /// <summary>Place of the axis, its tilt, inscribed radius and its growth; the phase last.</summary>
    private const int Unknowns = 7;

    /// <param name="points">Corners and the number of the side on which each lies, counted counter-clockwise about the axis.</param>
    /// <param name="origin">A point near them.</param>
    /// <param name="axis">Unit vector, about right.</param>
    /// <param name="towardsSide">Towards the middle of side 0, about right.</param>
    /// <param name="sides">Sides of the polygon.</param>
    /// <returns>The prism with ends at zero, or null where the points do not tell it.</returns>
    public static DrawnPrism? Fit(IReadOnlyList<(Vec3 At, int Side)> points, Vec3 origin, Vec3 axis, Vec3 towardsSide, int sides)
    {
        var step = 2 * Math.PI / sides;
        double radius = 0, growth = 0;
        for (var round = 0; round < Rounds; round++)
        {
            // The phase can be told only once the axis is about in its place.
            var n = round == 0 ? Unknowns - 1 : Unknowns;
            var u = (towardsSide - axis * towardsSide.Dot(axis)).Unit();
            var v = axis.Cross(u);
            var normal = new double[n, n + 1];
            var row = new double[n];
            foreach (var (at, side) in points)
            {
                var (sin, cos) = Math.SinCos(side * step);
                var d = at - origin;
                double s = d.Dot(axis), x = d.Dot(u), y = d.Dot(v);
                (row[0], row[1], row[2], row[3], row[4], row[5]) = (cos, sin, cos * s, sin * s, 1, s);
                if (n == Unknowns) row[6] = -(y * cos - x * sin);
                var rest = x * cos + y * sin - (radius + growth * s);
                for (var i = 0; i < n; i++)
                {
                    for (var k = 0; k < n; k++) normal[i, k] += row[i] * row[k];
                    normal[i, n] += row[i] * rest;
                }
            }
            if (!Solve(normal, n)) return null;
            origin += u * normal[0, n] + v * normal[1, n];
            axis = (axis + u * normal[2, n] + v * normal[3, n]).Unit();
            radius += normal[4, n];
            growth += normal[5, n];
            if (n == Unknowns) towardsSide = u + v * normal[6, n];
            else towardsSide = u;
        }
        return double.IsFinite(radius + growth) && axis.Length > 0.5 ? new DrawnPrism(origin, axis, towardsSide, sides, radius, growth) : null;
    }

    /// <summary>Gaussian elimination with pivots; the solution is left in the last column.</summary>
    private static bool Solve(double[,] m, int n)
    {
        for (var c = 0; c < n; c++)
        {
            var pivot = c;
            for (var r = c + 1; r < n; r++)
                if (Math.Abs(m[r, c]) > Math.Abs(m[pivot, c])) pivot = r;
            if (!(Math.Abs(m[pivot, c]) > 1e-12)) return false;
            if (pivot != c)
                for (var k = 0; k <= n; k++) (m[c, k], m[pivot, k]) = (m[pivot, k], m[c, k]);
            for (var r = 0; r < n; r++)
            {
                if (r == c) continue;
                var f = m[r, c] / m[c, c];
                for (var k = c; k <= n; k++) m[r, k] -= f * m[c, k];
            }
        }
        for (var c = 0; c < n; c++) m[c, n] /= m[c, c];
        return true;
    }
}
