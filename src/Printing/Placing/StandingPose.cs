using Stiltwright.Geometry;

namespace Stiltwright.Printing.Placing;

/// <summary>How a figure stands when it is shown.</summary>
/// <param name="Up">Up direction in source coordinates, unit vector.</param>
/// <param name="HeightMm">Extent along it, mm.</param>
/// <param name="BaseAreaMm2">Area of the flat face it stands on; 0 where none was found.</param>
/// <param name="Sure">True if the direction was given, or the flat face is large enough to be a base.</param>
public sealed record StandingPose(Vec3 Up, double HeightMm, double BaseAreaMm2, bool Sure)
{
    /// <summary>A face counts as a base from this share of the figure's box area seen along it.</summary>
    private const double LeastBaseShare = 0.04;

    /// <summary>Normals within this angle are one direction, degrees.</summary>
    private const double SameDirectionDegrees = 1.5;

    /// <summary>How many directions with the most area are tried.</summary>
    private const int DirectionsTried = 48;

    /// <summary>
    /// Finds the standing pose of a figure from its largest flat outer face: the direction whose facets, lying in one plane
    /// at the very end of the figure, have the most area. Without such a face the print's own up is taken and
    /// <see cref="Sure"/> is false. A given direction wins.
    /// </summary>
    public static StandingPose Find(Mesh figure, Vec3? given)
    {
        if (given is { } up) return new StandingPose(up.Unit(), Extent(figure, up.Unit()), 0, true);
        if (figure.TriangleCount == 0) return new StandingPose(Vec3.Up, 0, 0, false);

        var clusters = Directions(figure);
        var size = figure.Bounds.Size;
        var flat = 0.002 * size.Length;
        var cos = Math.Cos(SameDirectionDegrees * Math.PI / 180);
        var normals = new Vec3[figure.TriangleCount]; // as long as the area
        for (var t = 0; t < normals.Length; t++) normals[t] = figure.AreaVector(t);
        var areas = new double[clusters.Count];
        Parallel.For(0, areas.Length, i =>
        {
            var direction = clusters[i].Direction;
            var reach = double.NegativeInfinity;
            for (var v = 0; v < figure.VertexCount; v++) reach = Math.Max(reach, direction.Dot(figure.Vertex(v)));
            for (var t = 0; t < normals.Length; t++)
            {
                var along = normals[t].Dot(direction);
                if (along <= 0) continue;
                var l = normals[t].Length;
                if (along < cos * l) continue;
                var (p, q, r) = figure.Triangle(t);
                if (direction.Dot(p) > reach - flat && direction.Dot(q) > reach - flat && direction.Dot(r) > reach - flat) areas[i] += l;
            }
        });
        double best = 0;
        var down = -Vec3.Up;
        for (var i = 0; i < areas.Length; i++)
            if (areas[i] > best) (best, down) = (areas[i], clusters[i].Direction);
        var across = size.X * size.Y + size.Y * size.Z + size.X * size.Z;
        return best >= LeastBaseShare * across / 3
            ? new StandingPose(-down, Extent(figure, down), best, true)
            : new StandingPose(Vec3.Up, Extent(figure, Vec3.Up), 0, false);
    }

    private static double Extent(Mesh figure, Vec3 direction)
    {
        double low = double.PositiveInfinity, high = double.NegativeInfinity;
        foreach (var c in figure.Corners)
        {
            var d = direction.Dot(figure.Vertex(c));
            low = Math.Min(low, d);
            high = Math.Max(high, d);
        }
        return figure.TriangleCount == 0 ? 0 : high - low;
    }

    /// <summary>Directions that many facets share, with their area, largest first. Normals are gathered in cells of a coarse grid first.</summary>
    private static List<(Vec3 Direction, double Area)> Directions(Mesh figure)
    {
        var cells = new Dictionary<(int, int, int), Vec3>();
        const double cell = 40; // about 1.4 degrees
        for (var t = 0; t < figure.TriangleCount; t++)
        {
            var a = figure.AreaVector(t);
            var l = a.Length;
            if (l == 0) continue;
            var key = ((int)Math.Round(a.X / l * cell), (int)Math.Round(a.Y / l * cell), (int)Math.Round(a.Z / l * cell));
            cells[key] = cells.GetValueOrDefault(key) + a;
        }
        return [.. cells.Values.Select(a => (a.Unit(), a.Length)).OrderByDescending(c => c.Item2).ThenBy(c => c.Item1.X).ThenBy(c => c.Item1.Y).Take(DirectionsTried)];
    }
}
