using Stiltwright.Geometry;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Growing;

/// <content>Pins: the last resort, where there is no room for a strut.</content>
internal sealed partial class PathFinder
{
    /// <summary>A gap of the figure up to this width may be bridged by a pin without tip and clearance, mm.</summary>
    private const double PinMm = 6;

    /// <summary>A pin is not longer than so many radii: a column of slenderness 30 hardly buckles.</summary>
    private const double PinSlender = 15;

    /// <summary>Across a narrower slot no pin is set aside: no knife would reach it.</summary>
    private const double LeastLeaningMm = 1;

    /// <summary>Least cosine between a pin and the surface's normal where it stands: it must not graze along a wall.</summary>
    private const double LeastSquare = 0.64;

    /// <summary>Lean of pins from upright, degrees, and in how many directions each is tried.</summary>
    private static readonly (double Tilt, int Around)[] PinLeans = [(0, 1), (15, 8), (30, 12), (45, 16)];

    /// <summary>
    /// Where one part of the figure begins closely above or beside another, or above the platform, there is no room for a strut,
    /// and little to take off later: a short pin as thick as a contact joins them, upright where that leads somewhere, else
    /// with the least lean that does; of equal leans the shortest. It asks nothing of other struts: grown together with a tip it still
    /// holds, and without it nothing would.
    /// </summary>
    private StrutPath? Pin(GrowthSpot spot)
    {
        var sizes = spot.Sizes ?? full;
        var least = Math.Clamp(0.5 * sizes.ContactRadius, LeastContactMm, 0.6);
        GrowthSizes Thin(double radius) => sizes with { ContactRadius = radius, ShaftRadius = radius, FootRadius = 2 * radius };
        var hits = new List<RayHit>();
        foreach (var (tilt, around) in PinLeans)
        {
            StrutPath? best = null;
            var shortest = double.PositiveInfinity;
            for (var k = 0; k < around; k++)
            {
                var (s, c) = Math.SinCos(2 * Math.PI * k / around);
                var (h, v) = Math.SinCos(tilt * Math.PI / 180);
                var d = new Vec3(h * c, h * s, -v);
                if (d.Dot(spot.Normal) < 0.2) continue; // it would begin along the surface or into it
                hits.Clear();
                scene.Figure.RayHits(spot.At + d * 0.01, d, PinMm, hits);
                if (hits.Count == 0)
                {
                    if (tilt == 0 && spot.At.Z <= PinMm && Math.Max(least, spot.At.Z / PinSlender) is var stout)
                        return new StrutPath([spot.At with { Z = 0 }, spot.At - d * Depth(spot.At, d, stout)], EndHeldBy.Platform, -1, Thin(stout));
                    continue;
                }
                var hit = hits.MinBy(x => x.Distance);
                var normal = scene.Figure.Mesh.AreaVector(hit.Triangle).Unit();
                if (!hit.Entering || -normal.Dot(d) < LeastSquare || hit.Distance >= shortest) continue;
                var radius = Math.Max(least, hit.Distance / PinSlender);
                var at = spot.At + d * (hit.Distance + 0.01);
                if (tilt > 0 && (hit.Distance < LeastLeaningMm || scene.Figure.AnyWithin(at + (spot.At - at) * 0.4, at + (spot.At - at) * 0.6, radius + 0.3))) continue;
                shortest = hit.Distance;
                best = new StrutPath([at + d * Depth(at, -d, radius), spot.At - d * Depth(spot.At, d, radius)], EndHeldBy.Figure, -1, Thin(radius))
                {
                    Base = (at, normal),
                    BaseRadius = radius,
                };
            }
            if (best is not null) return best;
        }
        return null;
    }
}
