using Stiltwright.Geometry;

namespace Stiltwright.Printing.Placing;

/// <summary>A new raft: one plate under all feet, its lower edge set back so that a scraper gets under it.</summary>
public static class RaftPlate
{
    /// <summary>Corners of the circle round each foot.</summary>
    private const int Sides = 32;

    /// <summary>The edge is set back by this share of the thickness at most, so that some of it stays upright.</summary>
    private const double ChamferShare = 0.6;

    /// <summary>
    /// The convex outline of circles, <paramref name="thicknessMm"/> thick above z = 0, closed. The lower edge is bevelled at
    /// 45 degrees by <paramref name="chamferMm"/> (less where the plate is thinner, and never more than half the smallest circle).
    /// Empty without circles.
    /// </summary>
    /// <param name="circles">Middle and radius of each, mm; radii above zero.</param>
    /// <param name="thicknessMm">Thickness, mm.</param>
    /// <param name="chamferMm">Bevel, mm.</param>
    /// <param name="lattice">Lattice of the set.</param>
    public static Mesh Under(IReadOnlyList<(double X, double Y, double Radius)> circles, double thicknessMm, double chamferMm, Lattice lattice)
    {
        ArgumentNullException.ThrowIfNull(circles);
        if (circles.Count == 0) return Mesh.Empty(lattice);
        var bevel = Math.Min(Math.Min(chamferMm, ChamferShare * thicknessMm), circles.Min(c => c.Radius) / 2);
        // Which circle reaches out farthest at each corner does not depend on how far all of them are set back,
        // so the rings of the bevel have the same corners.
        var directions = Enumerable.Range(0, Sides).Select(k => Math.SinCos(2 * Math.PI * k / Sides)).Select(d => (X: d.Cos, Y: d.Sin)).ToArray();
        var points = circles.SelectMany(c => directions.Select(d => (X: c.X + c.Radius * d.X, Y: c.Y + c.Radius * d.Y, Out: d))).ToList();
        var outline = Strength.ConvexOutline.Hull(points.Select(p => (p.X, p.Y)));
        var outward = points.GroupBy(p => (p.X, p.Y)).ToDictionary(g => g.Key, g => g.First().Out);
        var n = outline.Count;
        var rings = bevel > 0 ? (ReadOnlySpan<(double Z, double Back)>)[(0, bevel), (bevel, 0), (thicknessMm, 0)] : [(0, 0), (thicknessMm, 0)];
        var xyz = new int[3 * n * rings.Length];
        for (var r = 0; r < rings.Length; r++)
            for (var i = 0; i < n; i++)
            {
                var (x, y) = outline[i];
                var o = outward[(x, y)];
                var at = 3 * (r * n + i);
                (xyz[at], xyz[at + 1], xyz[at + 2]) = (lattice.Round(x - rings[r].Back * o.X), lattice.Round(y - rings[r].Back * o.Y), lattice.Round(rings[r].Z));
            }
        var corners = new List<int>();
        for (var r = 0; r + 1 < rings.Length; r++)
            for (var i = 0; i < n; i++)
            {
                int a = r * n + i, b = r * n + (i + 1) % n;
                corners.AddRange([a, b, b + n, a, b + n, a + n]);
            }
        var top = (rings.Length - 1) * n;
        for (var i = 1; i + 1 < n; i++) corners.AddRange([0, i + 1, i, top, top + i, top + i + 1]);
        return NullEdges.Collapse(new Mesh(lattice, xyz, [.. corners]));
    }
}
