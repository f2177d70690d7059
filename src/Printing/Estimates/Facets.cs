using Stiltwright.Geometry.Refining;

namespace Stiltwright.Printing.Estimates;

/// <summary>Flats and steps that show after enlarging (physics table 7). Lengths mm, angles radians.</summary>
public static class Facets
{
    /// <summary>Distance between a circle and its n-gon, mm: R (1 - cos(pi/n)).</summary>
    public static double ChordDeviation(double radiusMm, int sides) => radiusMm * (1 - Math.Cos(Math.PI / sides));

    /// <summary>The same from a facet's width and its turning angle to the next: L/2 tan(theta/4), exact for equal facets.</summary>
    public static double Deviation(double widthMm, double turnRadians) => FacetMeasure.Deviation(widthMm, turnRadians);

    /// <summary>Sides that keep the deviation within a bound: ceil(pi/acos(1 - e/R)).</summary>
    public static int SidesNeeded(double radiusMm, double withinMm) => (int)Math.Ceiling(Math.PI / Math.Acos(1 - withinMm / radiusMm));

    /// <summary>Parts into which edges must be cut (on the smooth surface) to bring a deviation within a bound: ceil(sqrt(dev/e)).</summary>
    public static int CutsNeeded(double deviationMm, double withinMm) => Math.Max(1, (int)Math.Ceiling(Math.Sqrt(deviationMm / withinMm) - 1e-9));

    /// <summary>Smallest detail that an eye resolves at a distance, mm: D tan(1 arc minute) (Westheimer 1979, from memory).</summary>
    public static double EyeLimit(double distanceMm) => distanceMm * Math.Tan(Math.PI / 180 / 60);

    /// <summary>Height of a layer step over the smooth surface, mm: l |cos| of the angle between normal and z (Dolenc and Makela 1994).</summary>
    public static double Cusp(double layerMm, double normalToZRadians) => layerMm * Math.Abs(Math.Cos(normalToZRadians));

    /// <summary>
    /// Flats that are worth a look: deviation above the largest of pixel, half a layer and 0.05 mm, and the facet wider
    /// than 0.5 mm, on an edge that turns by 2 to 30 degrees (sharper ones are meant; choices of the house).
    /// </summary>
    public static FacetRule Shown(double pixelMm, double layerMm) => new(2, 30, 0.5, Math.Max(0.05, Math.Max(pixelMm, layerMm / 2)));
}
