using Stiltwright.Geometry;
using Stiltwright.Geometry.Refining;

namespace Stiltwright.Printing.Estimates;

/// <summary>How much of a figure will show its facets.</summary>
/// <param name="ShownShare">Share of the area next to edges whose facets show, 0..1.</param>
/// <param name="LargestDeviationMm">Largest chordal deviation among those edges, mm.</param>
/// <param name="LongestMm">Width of the widest facet among them, mm.</param>
/// <param name="TurnDegrees">Turning angle there, degrees.</param>
/// <param name="At">Where the largest deviation is.</param>
public sealed record FacetSurvey(double ShownShare, double LargestDeviationMm, double LongestMm, double TurnDegrees, Vec3 At)
{
    /// <summary>From this share on the facets are worth a finding (physics 7).</summary>
    public const double WorthSaying = 0.02;

    /// <summary>
    /// Looks at every edge between two facets: turning angle and the width of the facets across it give the chordal
    /// deviation from the smooth surface (exact for equal facets), and <see cref="Facets.Shown"/> judges it.
    /// </summary>
    public static FacetSurvey Of(Mesh figure, double pixelMm, double layerMm)
    {
        var m = FacetMeasure.Of(figure, Facets.Shown(pixelMm, layerMm));
        return new FacetSurvey(m.Share, m.DeviationMm, m.WidthMm, m.TurnDegrees, m.At);
    }
}
