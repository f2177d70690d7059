using Stiltwright.Geometry;
using Stiltwright.Printing.Placing;
using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Rescale;

/// <summary>Smooths the enlarged figure where the recipe asks for it, and says what that did.</summary>
internal static class Smoothing
{
    public static Mesh Run(Mesh outer, Mesh beside, StrutGraph struts, RescaleSettings s, IStageContext context, CancellationToken cancel)
    {
        var limits = new SmoothingLimits(context.Printers.Min(p => p.PixelMm), context.Resin.LayerMm, s.SmoothMostMm, s.SmoothMostTriangles);
        var contacts = struts.Segments.Where(g => g.Contact is not null).Select(g => (g.Contact!.Value, g.RadiusTo)).ToList();
        var done = FacetSmoothing.Run(outer, beside, contacts, limits, cancel);
        var before = done.Before;
        if (before.ShownShare == 0) return outer; // nothing shows, so there is nothing to say
        if (ReferenceEquals(done.Outer, outer))
        {
            context.Report(new Finding(FindingIds.FacetsSmoothed, Level.Note,
                $"Facets show on {before.ShownShare:P0} of the surface ({before.LargestDeviationMm:0.00} mm off the smooth shape at most), but none could be smoothed: {(done.StoppedByCount ? $"the figure has {outer.TriangleCount} triangles already, and no more than {s.SmoothMostTriangles} are allowed (smoothMostTriangles)" : $"they lie where struts or other parts meet the figure, or the surface would have moved by more than {s.SmoothMostMm:0.00} mm, crossed itself or folded")}.",
                "Ask for a finer source.")
            { AtMm = before.At });
            return outer;
        }
        var after = done.After;
        context.Measure("triangles by smoothing", done.Outer.TriangleCount - outer.TriangleCount, "triangles");
        context.Report(new Finding(FindingIds.FacetsSmoothed, Level.Note,
            $"The figure was smoothed: {outer.TriangleCount} triangles before, {done.Outer.TriangleCount} now{(done.StoppedByCount ? ", the most that the recipe allows" : "")}. Facets showed on {before.ShownShare:P0} of the surface, the coarsest {before.LargestDeviationMm:0.00} mm off the smooth shape; now on {after.ShownShare:P0}, {(after.ShownShare > 0 ? $"the coarsest {after.LargestDeviationMm:0.00} mm off" : "none stands off enough to be seen")}. No point of the surface moved by more than {done.LargestMoveMm:0.00} mm.",
            "Nothing to do; switch smoothFacets off in the recipe where the facets are meant.")
        { AtMm = after.ShownShare > 0 ? after.At : before.At });
        return done.Outer;
    }
}
