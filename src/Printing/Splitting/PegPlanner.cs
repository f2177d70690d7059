using Stiltwright.Geometry;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Printing.Splitting;

/// <summary>A peg across a seam: round, slightly tapered, standing on the lower piece and sunk into the upper one. Lengths mm.</summary>
/// <param name="At">Centre of its root on the cut plane.</param>
/// <param name="Axis">From the lower piece to the upper one, unit vector.</param>
/// <param name="RadiusMm">Radius at the root.</param>
/// <param name="LengthMm">Length beyond the plane.</param>
public sealed record Peg(Vec3 At, Vec3 Axis, double RadiusMm, double LengthMm)
{
    /// <summary>How far the peg's root reaches into its own piece, mm: it overlaps and so prints as one with it.</summary>
    public const double RootMm = 1.0;

    /// <summary>Radius at the end, as a share of the root's: a lead-in.</summary>
    public const double TipShare = 0.85;
}

/// <summary>
/// Places up to two unlike pegs on a cut: where the section is thickest, with a wall left round the socket, far apart so
/// that the joint cannot turn, of two sizes so that it goes together one way only. Length 1.25 diameters (common practice).
/// </summary>
public static class PegPlanner
{
    private const double LargestRadiusMm = 4;
    private const double LeastRadiusMm = 1.0;

    /// <summary>The pegs; fewer than two where the section is too thin for them.</summary>
    /// <param name="tree">Tree of the figure before the cut.</param>
    /// <param name="section">Box of the section's corners, mm.</param>
    /// <param name="normal">Unit normal of the cut.</param>
    /// <param name="offsetMm">Its offset.</param>
    /// <param name="wallMm">Wall wanted round the socket.</param>
    /// <param name="clearanceMm">Play per side.</param>
    public static IReadOnlyList<Peg> Place(TriangleTree tree, Box3 section, Vec3 normal, double offsetMm, double wallMm, double clearanceMm, CancellationToken cancel)
    {
        var u = normal.AnyPerpendicular();
        var v = normal.Cross(u);
        var centre = section.Center;
        centre += normal * (offsetMm - normal.Dot(centre));
        var half = section.Size.Length / 2;
        var step = Math.Clamp(half / 40, 0.5, 4);
        var n = (int)(2 * half / step) + 1;
        var best = new (double Clear, Vec3 At)[n * n];
        Parallel.For(0, n, new ParallelOptions { CancellationToken = cancel, MaxDegreeOfParallelism = Environment.ProcessorCount }, i =>
        {
            for (var j = 0; j < n; j++)
            {
                var p = centre + u * (i * step - half) + v * (j * step - half);
                if (!section.Grown(step).Holds(p) || tree.Winding(p) < 1) continue;
                best[i * n + j] = (Room(tree, p, normal, wallMm), p);
            }
        });
        var places = best.Where(b => b.Clear > 0).Select(b => (Radius: Math.Min(LargestRadiusMm, b.Clear - wallMm - clearanceMm), b.At)).Where(b => b.Radius >= LeastRadiusMm).ToList();
        if (places.Count == 0) return [];
        var (r1, p1) = places.MaxBy(b => b.Radius + 0.02 * b.At.DistanceTo(centre));
        var pegs = new List<Peg> { Make(p1, r1) };
        var others = places.Where(b => b.At.DistanceTo(p1) > r1 + 0.8 * b.Radius + wallMm + 2 * clearanceMm).ToList();
        if (others.Count > 0)
        {
            var (r2, p2) = others.MaxBy(b => b.At.DistanceTo(p1) + 2 * b.Radius);
            r2 = Math.Min(r2, 0.8 * r1); // unlike sizes: it goes together one way only
            if (r2 >= 0.8 * LeastRadiusMm) pegs.Add(Make(p2, r2));
        }
        return pegs;

        Peg Make(Vec3 at, double r) => new(at, normal, r, 2.5 * r);
    }

    /// <summary>Least distance to the surface along the length that the largest peg there would take, on both sides of the plane.</summary>
    private static double Room(TriangleTree tree, Vec3 p, Vec3 normal, double wallMm)
    {
        var room = tree.Closest(p).Distance;
        for (var pass = 0; pass < 2; pass++)
        {
            var length = 2.5 * Math.Clamp(room - wallMm, 0, LargestRadiusMm) + 0.5;
            foreach (var along in (ReadOnlySpan<double>)[-Peg.RootMm, length / 2, length])
            {
                var q = p + normal * along;
                if (tree.Winding(q) < 1) return 0;
                room = Math.Min(room, tree.Closest(q).Distance);
            }
        }
        return room;
    }
}
