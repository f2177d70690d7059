using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Fields.Creases;

/// <summary>What is known of a point.</summary>
/// <param name="At">The point, mm.</param>
/// <param name="Depth">Its depth below the outer surface and the places kept solid, mm.</param>
/// <param name="Away">The direction in which that grows.</param>
/// <param name="Wall">Its depth below the outer surface alone, mm.</param>
/// <param name="Facet">The facet of the outer surface nearest to it, as a place in the tree's leaves.</param>
internal readonly record struct KnownPoint(Vec3 At, double Depth, Vec3 Away, double Wall, int Facet);

/// <summary>How far a triangle lies too deep.</summary>
/// <param name="Depth">The largest depth beyond the limit seen on it, mm; minus infinity where none is.</param>
/// <param name="At">Where, mm.</param>
/// <param name="Volume">How much lies between it and the limit, mm3.</param>
internal readonly record struct Excess(double Depth, Vec3 At, double Volume)
{
    internal static readonly Excess None = new(double.NegativeInfinity, Vec3.Zero, 0);
}

/// <summary>
/// Judges triangles by exact depths at points a part of a cell apart. By the lemma that proves the level surface
/// (<see cref="CavityBuilder"/>) depths of wall + r^2 / (2 wall) at the corners of pieces that fit a ball of radius r keep the wall on
/// the whole triangle.
/// </summary>
internal sealed class CreaseJudge(TriangleTree border, CreaseLimits limits)
{
    private readonly double _wall = limits.Wall, _limit = limits.Deepest, _spacing = 0.5 * limits.Cell;
    // Pieces with corners at the level itself may be so long: a triangle fits a ball of its longest side / sqrt 3 (Jung 1901).
    private readonly double _piece = 0.8 * Math.Sqrt(3 * 2 * limits.Wall * (limits.Level - limits.Wall));

    internal KnownPoint Known(Vec3 p, KeptSolid kept, int seed = -1)
    {
        var wall = Distance(p, ref seed);
        var near = border.At(seed, p).Point;
        var away = wall > 0 ? (p - near) / wall : Vec3.Zero;
        var term = kept.At(p, wall);
        if (wall <= term) return new(p, wall, away, wall, seed);
        // Along the slope of the nearest term.
        const double e = 1e-4;
        var slope = new Vec3(kept.At(p + new Vec3(e, 0, 0)) - term, kept.At(p + new Vec3(0, e, 0)) - term, kept.At(p + new Vec3(0, 0, e)) - term);
        return new(p, term, slope.Unit(), wall, seed);
    }

    /// <summary>
    /// The part of a triangle beyond the limit. The nearest facets of its corners, and the last one found, bound the depth of every
    /// other point, and the places kept solid do, so most points need no search.
    /// </summary>
    /// <param name="most">From this volume on (mm3) the triangle is worth nothing to the caller, and the search may end.</param>
    internal Excess Beyond(in KnownPoint p, in KnownPoint q, in KnownPoint r, KeptSolid kept, double most = double.PositiveInfinity)
    {
        var parts = Parts(p, q, r, _spacing);
        Vec3 u = (q.At - p.At) / parts, v = (r.At - p.At) / parts;
        double sum = 0, deepest = double.NegativeInfinity;
        double area = (q.At - p.At).Cross(r.At - p.At).Length / 2, points = (parts + 1) * (parts + 2) / 2;
        var where = Vec3.Zero;
        var last = p.Facet;
        for (var i = 0; i <= parts; i++)
            for (var j = 0; i + j <= parts; j++)
            {
                var x = p.At + u * i + v * j;
                double depth;
                if (i == 0 && j == 0) depth = p.Depth;
                else if (i == parts) depth = q.Depth;
                else if (j == parts) depth = r.Depth;
                else if (!Deep(x, p.Facet, q.Facet, r.Facet, kept, ref last, out depth)) continue;
                if (depth <= _limit) continue;
                sum += depth - _limit;
                if (depth > deepest) (deepest, where) = (depth, x);
                if (sum * area / points >= most) return new(deepest, where, sum * area / points);
            }
        return sum == 0 ? Excess.None : new(deepest, where, sum * area / points);
    }

    // Whether a point lies beyond the limit, and then how deep.
    private bool Deep(Vec3 x, int f, int g, int h, KeptSolid kept, ref int last, out double depth)
    {
        depth = 0;
        var near = border.DistanceTo(last, x);
        if (near <= _limit) return false;
        foreach (var facet in (ReadOnlySpan<int>)[f, g, h])
        {
            if (facet == last) continue;
            var d = border.DistanceTo(facet, x);
            if (d <= _limit) return false;
            if (d < near) (near, last) = (d, facet);
        }
        var term = kept.At(x);
        if (term <= _limit) return false;
        var best2 = double.PositiveInfinity;
        var place = border.ClosestPlace(x, null, ref best2, last, _limit);
        if (place >= 0) last = place;
        depth = Math.Min(Math.Sqrt(best2), term);
        return depth > _limit;
    }

    /// <summary>Whether a triangle keeps the wall and the places that stay solid.</summary>
    internal bool Holds(in KnownPoint p, in KnownPoint q, in KnownPoint r, KeptSolid kept)
    {
        var parts = Parts(p, q, r, _piece);
        for (var attempt = 0; attempt < 2; attempt++, parts *= 2)
        {
            var answer = Holds(p, q, r, kept, parts);
            if (answer is { } sure) return sure;
        }
        return false;
    }

    // Null where smaller pieces may prove what these do not.
    private bool? Holds(in KnownPoint p, in KnownPoint q, in KnownPoint r, KeptSolid kept, int parts)
    {
        Vec3 u = (q.At - p.At) / parts, v = (r.At - p.At) / parts;
        var ball2 = Longest2(p, q, r) / (3.0 * parts * parts);
        var least = _wall + ball2 / (2 * _wall) + FieldBuilder.SlackMm;
        var seed = p.Facet;
        for (var i = 0; i <= parts; i++)
            for (var j = 0; i + j <= parts; j++)
            {
                var x = p.At + u * i + v * j;
                var depth = i == 0 && j == 0 ? p.Wall : i == parts ? q.Wall : j == parts ? r.Wall : Distance(x, ref seed);
                if (depth < _wall + FieldBuilder.SlackMm) return false;
                if (depth < least || !kept.IsEmpty && !kept.Holds(x, ball2)) return null;
            }
        return true;
    }

    private double Distance(Vec3 p, ref int seed)
    {
        var best2 = double.PositiveInfinity;
        var place = border.ClosestPlace(p, null, ref best2, seed);
        if (place >= 0) seed = place;
        return Math.Sqrt(best2);
    }

    private static int Parts(in KnownPoint p, in KnownPoint q, in KnownPoint r, double longest) => Math.Max(1, (int)Math.Ceiling(Math.Sqrt(Longest2(p, q, r)) / longest));

    private static double Longest2(in KnownPoint p, in KnownPoint q, in KnownPoint r) =>
        Math.Max((q.At - p.At).LengthSquared, Math.Max((r.At - q.At).LengthSquared, (p.At - r.At).LengthSquared));
}
