using Stiltwright.Printing.Strength;

namespace Stiltwright.Printing.Loads;

/// <summary>
/// The liquid film between the newest layer and the vat's film (Stefan 1874; Reynolds 1886, Phil. Trans. R. Soc. 177:157,
/// from memory). It tells shape and settling; it is an upper limit of the pull, never the load itself, because the film
/// yields and a liquid cannot pull much harder than one atmosphere. Lengths mm, speeds mm/s, viscosity Pa s.
/// </summary>
public static class SqueezeFilm
{
    /// <summary>Force between stiff plates, N: 3 eta v J/h^3.</summary>
    /// <param name="torsionMm4">Torsion constant J of the layer's outline, mm4 (<see cref="Torsion"/>).</param>
    /// <param name="viscosityPaS">Viscosity, Pa s.</param>
    /// <param name="speedMmS">Speed at which the gap changes, mm/s.</param>
    /// <param name="gapMm">Gap, mm.</param>
    public static double Force(double torsionMm4, double viscosityPaS, double speedMmS, double gapMm) =>
        // Pa s * mm/s * mm4/mm3 = Pa mm2 = 1e-6 N.
        3e-6 * viscosityPaS * speedMmS * torsionMm4 / Math.Pow(gapMm, 3);

    /// <summary>Gap below which a disc's mean pull would pass one atmosphere, mm: (1.5 eta v R^2/p)^(1/3).</summary>
    public static double GapAtOneAtmosphere(double radiusMm, double viscosityPaS, double speedMmS) =>
        Math.Cbrt(1.5 * viscosityPaS * speedMmS * radiusMm * radiusMm / Physical.AtmospherePa);

    /// <summary>Time to squeeze a disc's film from one gap to a smaller one under a steady force, s: 3 pi eta R^4/(4 F) (1/h^2 - 1/h0^2).</summary>
    public static double SettlingTime(double radiusMm, double viscosityPaS, double forceN, double fromMm, double toMm) =>
        3e-6 * Math.PI * viscosityPaS * Math.Pow(radiusMm, 4) / (4 * forceN) * (1 / (toMm * toMm) - 1 / (fromMm * fromMm));
}
