using Stiltwright.Geometry;

namespace Stiltwright.Printing.Growing;

/// <summary>
/// Draws a strut of several straight pieces as one closed shell: a regular polygon along a line of points, with a ring at every
/// point that lies in the plane halving the bend, so that neighbouring pieces share it without a gap or step.
/// </summary>
internal static class StrutTube
{
    /// <summary>The shell; the first ring is square to the first piece, the last one to the last.</summary>
    /// <param name="lattice">Lattice of the set.</param>
    /// <param name="points">Axis points from below, at least two, no two the same.</param>
    /// <param name="radii">Radius to the corners at each point, above zero.</param>
    /// <param name="sides">Corners of a ring.</param>
    public static Mesh Build(Lattice lattice, IReadOnlyList<Vec3> points, IReadOnlyList<double> radii, int sides)
    {
        var n = points.Count;
        var xyz = new int[3 * n * sides];
        var axis = (points[1] - points[0]).Unit();
        var u = axis.AnyPerpendicular();
        var v = axis.Cross(u);
        var spokes = new Vec3[sides];
        for (var k = 0; k < sides; k++)
        {
            var (s, c) = Math.SinCos(2 * Math.PI * k / sides);
            spokes[k] = u * c + v * s;
        }
        for (var i = 0; i < n; i++)
        {
            var next = i + 1 < n ? (points[i + 1] - points[i]).Unit() : axis;
            var halving = axis + next;
            for (var k = 0; k < sides; k++)
            {
                // Along the lower piece onto the plane that halves the bend: the same distance from both axes.
                var p = spokes[k] * radii[i];
                p -= axis * (p.Dot(halving) / axis.Dot(halving));
                var spoke = p - next * p.Dot(next);
                spokes[k] = spoke.Unit();
                var q = points[i] + p;
                var at = 3 * (i * sides + k);
                (xyz[at], xyz[at + 1], xyz[at + 2]) = (lattice.Round(q.X), lattice.Round(q.Y), lattice.Round(q.Z));
            }
            axis = next;
        }
        var corners = new int[3 * (2 * sides * (n - 1) + 2 * (sides - 2))];
        var t = 0;
        for (var i = 0; i + 1 < n; i++)
            for (var k = 0; k < sides; k++)
            {
                int a = i * sides + k, b = i * sides + (k + 1) % sides, c = b + sides, d = a + sides;
                (corners[t], corners[t + 1], corners[t + 2], corners[t + 3], corners[t + 4], corners[t + 5]) = (a, b, c, a, c, d);
                t += 6;
            }
        var top = (n - 1) * sides;
        for (var k = 1; k + 1 < sides; k++)
        {
            (corners[t], corners[t + 1], corners[t + 2]) = (0, k + 1, k);
            (corners[t + 3], corners[t + 4], corners[t + 5]) = (top, top + k, top + k + 1);
            t += 6;
        }
        return new Mesh(lattice, xyz, corners);
    }
}
