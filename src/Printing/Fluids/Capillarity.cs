using Stiltwright.Printing.Strength;

namespace Stiltwright.Printing.Fluids;

/// <summary>
/// What surface tension holds back in a hole. Sources: de Gennes, Brochard-Wyart and Quere, Capillarity and Wetting
/// Phenomena (from memory); stuck bubble: Bretherton 1961, J. Fluid Mech. 10:166. mm, N/m, g/cm3, Pa.
/// </summary>
public static class Capillarity
{
    /// <summary>Bond number rho g r^2/gamma below which a bubble does not rise in a closed tube of radius r (Bretherton 1961).</summary>
    public const double StuckBubbleBond = 0.842;

    /// <summary>Capillary length, mm: sqrt(gamma/(rho g)).</summary>
    public static double Length(double tensionNPerM, double density) => 1e3 * Math.Sqrt(tensionNPerM / (density * 1e3 * Physical.Gravity));

    /// <summary>Capillary pressure of a hole, Pa: 4 gamma cos(theta)/d.</summary>
    public static double Pressure(double diameterMm, double tensionNPerM, double contactAngleRadians = 0) =>
        4 * tensionNPerM * Math.Cos(contactAngleRadians) / (diameterMm * 1e-3);

    /// <summary>Head of liquid that stays above a hole, mm: 4 gamma cos(theta)/(rho g d).</summary>
    public static double HeldHead(double diameterMm, double tensionNPerM, double density, double contactAngleRadians = 0) =>
        1e3 * Pressure(diameterMm, tensionNPerM, contactAngleRadians) / (density * 1e3 * Physical.Gravity);

    /// <summary>Bore below which air does not rise through a single hole while resin comes down, mm: 2 sqrt(0.842) capillary lengths.</summary>
    public static double StuckBubbleBore(double tensionNPerM, double density) => 2 * Math.Sqrt(StuckBubbleBond) * Length(tensionNPerM, density);

    /// <summary>Widest hole that an undisturbed surface pinned at its rim can close, mm: 2 * 3.8317 capillary lengths (Maxwell 1875, from memory).</summary>
    public static double WidestPinned(double tensionNPerM, double density) => 2 * 3.8317 * Length(tensionNPerM, density);

    /// <summary>The same for a surface that is free to slide, mm: 2 * 1.8412 capillary lengths.</summary>
    public static double WidestSliding(double tensionNPerM, double density) => 2 * 1.8412 * Length(tensionNPerM, density);

    /// <summary>Bond number on the diameter, 1: rho g d^2/gamma.</summary>
    public static double Bond(double diameterMm, double tensionNPerM, double density) => Math.Pow(diameterMm / Length(tensionNPerM, density), 2);
}
