using Stiltwright.Printing.Resin;

namespace Stiltwright.Printing.Loads;

/// <summary>
/// The pull of the vat's film on one connected region of a layer: separation stress, times a speed share, times a shape
/// share, times area. Linear in the area as measured by Kovalenko et al. 2016 (MATEC Web Conf. 40:02005); shape and
/// speed shares are choices of the house (physics table 2.4). mm, mm2, N, kPa, mm/s.
/// </summary>
public static class SeparationLoad
{
    /// <summary>How far the resultant lies off the centroid, as a share of the region's width, for machines that lift straight.</summary>
    public const double LiftOffCentre = 0.10;

    /// <summary>The same for machines that tilt the vat.</summary>
    public const double TiltOffCentre = 0.25;

    /// <summary>Compactness of an outline, 1 for a disc: 4 pi A/P^2.</summary>
    /// <param name="areaMm2">Area, mm2.</param>
    /// <param name="perimeterMm">Rim length, holes counted, mm.</param>
    public static double Compactness(double areaMm2, double perimeterMm) => perimeterMm > 0 ? Math.Min(1, 4 * Math.PI * areaMm2 / (perimeterMm * perimeterMm)) : 0;

    /// <summary>Shape share c = c0 + (1 - c0) Q.</summary>
    public static double ShapeShare(double compactness, double slenderShare) => slenderShare + (1 - slenderShare) * compactness;

    /// <summary>Speed share: (v/v_ref)^n, kept within 0.5..2.</summary>
    public static double SpeedShare(double speedMmS, double referenceMmS, double exponent) => Math.Clamp(Math.Pow(speedMmS / referenceMmS, exponent), 0.5, 2);

    /// <summary>Pull on a region, N.</summary>
    public static double Force(double areaMm2, double perimeterMm, double stressKPa, double slenderShare, double speedShare) =>
        1e-3 * stressKPa * speedShare * ShapeShare(Compactness(areaMm2, perimeterMm), slenderShare) * areaMm2;

    /// <summary>Pull on a region with a resin on a printer, N.</summary>
    public static double Force(double areaMm2, double perimeterMm, ResinData resin, PrinterData printer) =>
        Force(areaMm2, perimeterMm, resin.SeparationStressKPa, resin.SlenderShare,
            SpeedShare(printer.LiftSpeedMmS, printer.ReferenceLiftSpeedMmS, resin.SpeedExponent));

    /// <summary>True where the area of a layer jumps: more than 1.5 times the one before and more than 200 mm2 (a choice of the house).</summary>
    public static bool IsPeak(double areaMm2, double beforeMm2) => areaMm2 > 1.5 * beforeMm2 && areaMm2 - beforeMm2 > 200;

    /// <summary>Area of any slice through the hollow part of a sphere's shell, mm2: pi (2 R t - t^2), the same at every height.</summary>
    public static double SphereShellSlice(double radiusMm, double wallMm) => Math.PI * (2 * radiusMm * wallMm - wallMm * wallMm);
}
