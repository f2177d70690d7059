using Stiltwright.Geometry;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Growing;

/// <content>Whether a way that was found before can still be taken.</content>
internal sealed partial class PathFinder
{
    /// <summary>
    /// True if none of the struts that are there now keeps a path from being taken that was clear of the figure when it was
    /// found: the same questions to the struts as in the search.
    /// </summary>
    /// <param name="path">The path.</param>
    /// <param name="spot">Its contact.</param>
    public bool Free(StrutPath path, GrowthSpot spot)
    {
        var points = path.Points;
        double shaft = path.Sizes.ShaftRadius, tip = shaft / 2;
        if (points.Count == 2) return path.Base is not null || Crossings(points[0], spot.At, path.Sizes.FootRadius) >= 0; // pins ask nothing, cones do
        if (path.Branch)
        {
            var on = struts[path.OnSegment];
            var length = points[0].DistanceTo(points[1]);
            return Crossings(LeavesPillar(points[0], points[1], Math.Min(on.RadiusFrom, on.RadiusTo) / length), points[1], shaft) >= 0 && Crossings(points[1], spot.At, tip) >= 0;
        }
        if (path.Base is { } stands)
        {
            var from = stands.At;
            for (var i = 2; i < points.Count - 1; i++)
            {
                if (Crossings(from, points[i], shaft) != 0) return false;
                from = points[i];
            }
            return Crossings(from, spot.At, tip) == 0;
        }
        for (var i = 2; i < points.Count - 1; i++)
            if (Crossings(points[i - 1], points[i], shaft) < 0) return false;
        return Crossings(points[^2], spot.At, tip) >= 0;
    }

    // Where a branch is out of its pillar, whose thickness is given as a share of the branch's length.
    private static Vec3 LeavesPillar(Vec3 at, Vec3 to, double thick) => at + (to - at) * Math.Min(1, 2.5 * thick);
}
