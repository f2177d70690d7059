using Stiltwright.Geometry;
using Stiltwright.Printing.Fluids;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Resin;

namespace Stiltwright.Printing.Drainage;

/// <summary>How wide and how many the holes of a cavity must be so that it neither sucks nor takes hours to drain.</summary>
/// <param name="DiameterMm">Diameter of each hole, mm.</param>
/// <param name="Holes">Number of holes.</param>
/// <param name="LargestSectionMm2">Largest horizontal section of the cavity, mm2.</param>
/// <param name="CupKPa">Pressure below the film while lifting, with the low hole alone open, kPa.</param>
/// <param name="DrainS">Time to drain through one hole with air let in by another, s.</param>
public sealed record VentSize(double DiameterMm, int Holes, double LargestSectionMm2, double CupKPa, double DrainS)
{
    private const int Sections = 48;

    /// <summary>Drain times above this ask for larger holes, s (a working pause; common practice).</summary>
    private const double LongestDrainS = 15 * 60;

    /// <summary>
    /// Grows the hole in steps of half a millimetre from the smallest until the cup pressure is harmless and draining takes
    /// minutes, at most to the largest; then adds holes. Creeping flow through a hole (Sampson 1891, Poiseuille), physics 2.5 and 5.3.
    /// </summary>
    public static VentSize For(Mesh cavity, double wallMm, double smallestMm, double largestMm, int holes, ResinData resin, PrinterData printer)
    {
        var box = cavity.Bounds;
        double largest = 0;
        for (var i = 0; i < Sections; i++)
            largest = Math.Max(largest, SectionArea.Of(cavity, Vec3.Up, box.Min.Z + box.Size.Z * (i + 0.5) / Sections).AreaMm2);
        var height = box.Size.Z;
        var mean = height > 0 ? cavity.SignedVolumeMm3() / height : 0;

        var d = smallestMm;
        var n = holes;
        while (d < largestMm && !Enough(d, n)) d = Math.Min(largestMm, d + 0.5);
        while (n < holes + 4 && !Enough(d, n)) n++;
        return new VentSize(d, n, largest, Cup(d, n), Drain(d, n));

        bool Enough(double diameter, int count) => Cup(diameter, count) <= resin.CupPressureOkKPa && Drain(diameter, count) <= LongestDrainS;

        // Seen from the film: the air hole at the far end is not there yet while most layers print: only the others vent.
        double Factor(double diameter, int count) => HoleFlow.Factor(diameter, wallMm) / Math.Max(1, count - 1);
        double Cup(double diameter, int count) => 1e-3 * SuctionCup.Pressure(largest, printer.LiftSpeedMmS, resin.ViscosityPaS, Factor(diameter, count));
        double Drain(double diameter, int count) => Time(mean, height, wallMm, diameter, count, resin);
    }

    /// <summary>Time until a cavity as tall as this one has run out through its holes but for what capillarity holds, s; all holes but one drain.</summary>
    public static double DrainTimeS(Mesh cavity, double wallMm, double diameterMm, int holes, ResinData resin)
    {
        var height = cavity.Bounds.Size.Z;
        return height <= 0 ? 0 : Time(cavity.SignedVolumeMm3() / height, height, wallMm, diameterMm, holes, resin);
    }

    private static double Time(double sectionMm2, double heightMm, double wallMm, double diameterMm, int holes, ResinData resin)
    {
        var held = Capillarity.HeldHead(diameterMm, resin.SurfaceTensionNPerM, resin.LiquidDensity);
        var factor = HoleFlow.Factor(diameterMm, wallMm) / Math.Max(1, holes - 1);
        return heightMm <= held + 1 ? 0 : DrainTime.Viscous(DrainTime.Constant(sectionMm2, resin.ViscosityPaS, resin.LiquidDensity, factor), heightMm, held + 1, held);
    }
}
