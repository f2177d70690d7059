using Stiltwright.Geometry;
using Stiltwright.Geometry.Refining;
using Stiltwright.Printing.Estimates;

namespace Stiltwright.Printing.Placing;

/// <summary>How far a figure's facets may be smoothed. Lengths mm, after enlarging.</summary>
/// <param name="PixelMm">Finest pixel of the printers.</param>
/// <param name="LayerMm">Layer height.</param>
/// <param name="MostMoveMm">Largest movement of any point.</param>
/// <param name="MostTriangles">The figure gets no more triangles than this.</param>
public sealed record SmoothingLimits(double PixelMm, double LayerMm, double MostMoveMm, int MostTriangles);

/// <summary>A figure with its coarse facets smoothed, and what changed.</summary>
/// <param name="Outer">The outer surface; the very same mesh where nothing was to be done or could be done.</param>
/// <param name="Before">Its facets before.</param>
/// <param name="After">And after.</param>
/// <param name="LargestMoveMm">Largest distance between both surfaces, mm.</param>
/// <param name="StoppedByCount">True if the most triangles stopped it.</param>
public sealed record SmoothedFigure(Mesh Outer, FacetSurvey Before, FacetSurvey After, double LargestMoveMm, bool StoppedByCount);

/// <summary>
/// Refines an enlarged figure until no facet shows. What touches the figure must not lose its hold on it: triangles that a strut, the
/// raft, a hollow or an unsure part meets, or that lie near a contact or the platform, stay as they are, and so do those around them.
/// </summary>
public static class FacetSmoothing
{
    /// <summary>First the facets are brought within this part of what shows, then, where some still show, within the next.</summary>
    private static readonly double[] Shares = [0.8, 0.4];

    /// <summary>A further step must lessen what shows to this part, or the coarser result stands.</summary>
    private const double WorthIt = 0.8;

    /// <summary>Smooths a figure.</summary>
    /// <param name="outer">Its closed outer shells.</param>
    /// <param name="beside">Everything else that may touch it: struts, raft, hollows, open and unsure shells, on the same lattice.</param>
    /// <param name="contacts">Middle and radius of each contact of a strut.</param>
    /// <param name="limits">How far to go.</param>
    /// <param name="cancel">Stops the work.</param>
    public static SmoothedFigure Run(Mesh outer, Mesh beside, IReadOnlyList<(Vec3 At, double RadiusMm)> contacts, SmoothingLimits limits, CancellationToken cancel)
    {
        var before = FacetSurvey.Of(outer, limits.PixelMm, limits.LayerMm);
        var best = new SmoothedFigure(outer, before, before, 0, false);
        if (before.ShownShare == 0) return best;
        var keep = Held(outer, beside, contacts, limits.MostMoveMm);
        foreach (var share in Shares)
        {
            var refined = SurfaceRefiner.Refine(outer, new RefineRequest
            {
                ToleranceMm = share * Facets.Shown(limits.PixelMm, limits.LayerMm).LeastDeviationMm,
                MostMoveMm = limits.MostMoveMm,
                MostTriangles = limits.MostTriangles,
                Keep = keep,
            }, cancel);
            var after = FacetSurvey.Of(refined.Surface, limits.PixelMm, limits.LayerMm);
            if (!ReferenceEquals(best.Outer, outer) && !(after.ShownShare < WorthIt * best.After.ShownShare)) break;
            best = new SmoothedFigure(refined.Surface, before, after, refined.LargestMoveMm, refined.StoppedByCount);
            if (after.ShownShare <= FacetSurvey.WorthSaying || refined.StoppedByCount || ReferenceEquals(refined.Surface, outer)) break;
        }
        return best;
    }

    private static bool[] Held(Mesh outer, Mesh beside, IReadOnlyList<(Vec3 At, double RadiusMm)> contacts, double move)
    {
        var n = outer.TriangleCount;
        var met = new bool[n];
        if (beside.TriangleCount > 0)
            foreach (var (a, b) in SelfCrossings.Find(Mesh.Concat(outer.Lattice, [outer, beside])))
                if (a < n && b >= n) met[a] = true;
        var tree = Geometry.Spatial.TriangleTree.Build(outer);
        var near = new List<int>();
        foreach (var (at, radius) in contacts)
        {
            near.Clear();
            tree.Overlapping(new Box3(at, at).Grown(radius + move), near);
            foreach (var t in near) met[t] = true;
        }
        // And those around them: a corner that they share may be the very place of a contact.
        var corners = outer.CornersArray;
        var touched = new bool[outer.VertexCount];
        for (var c = 0; c < corners.Length; c++)
            if (met[c / 3] || outer.Vertex(corners[c]).Z < move) touched[corners[c]] = true;
        for (var c = 0; c < corners.Length; c++)
            if (touched[corners[c]]) met[c / 3] = true;
        return met;
    }
}
