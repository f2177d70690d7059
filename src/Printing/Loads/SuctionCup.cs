using Stiltwright.Printing.Fluids;
using Stiltwright.Printing.Strength;

namespace Stiltwright.Printing.Loads;

/// <summary>
/// Suction of a hollow that is open only towards the film. Bound: one atmosphere (exact). Vented: the resin that must
/// flow in through the hole at lift speed sets the pressure (creeping flow). mm2, mm/s, Pa, N.
/// </summary>
public static class SuctionCup
{
    /// <summary>Largest suction that any cup can exert, N: p_atm A.</summary>
    public static double Bound(double areaMm2) => Physical.AtmosphereMPa * areaMm2;

    /// <summary>Suction of an unvented cup at a design pressure, N, never above the bound.</summary>
    public static double Unvented(double areaMm2, double pressureKPa) => Math.Min(1e-3 * pressureKPa * areaMm2, Bound(areaMm2));

    /// <summary>Pressure in a vented cup, Pa, not limited: eta A v K.</summary>
    /// <param name="areaMm2">Area of the cup in the layer, mm2.</param>
    /// <param name="speedMmS">Lift speed, mm/s.</param>
    /// <param name="viscosityPaS">Viscosity, Pa s.</param>
    /// <param name="holeFactorPerM3">K of the holes together, 1/m3 (<see cref="HoleFlow"/>).</param>
    public static double Pressure(double areaMm2, double speedMmS, double viscosityPaS, double holeFactorPerM3) =>
        viscosityPaS * areaMm2 * 1e-6 * speedMmS * 1e-3 * holeFactorPerM3;

    /// <summary>Suction of a vented cup, N, never above the bound.</summary>
    public static double Vented(double areaMm2, double speedMmS, double viscosityPaS, double holeFactorPerM3) =>
        Math.Min(1e-6 * Pressure(areaMm2, speedMmS, viscosityPaS, holeFactorPerM3), Physical.AtmosphereMPa) * areaMm2;

    /// <summary>Reynolds number in the hole, 1: 4 rho Q/(pi d eta); the pressure formula wants it below 10.</summary>
    public static double Reynolds(double areaMm2, double speedMmS, double viscosityPaS, double density, double holeMm) =>
        4 * density * 1e3 * areaMm2 * 1e-6 * speedMmS * 1e-3 / (Math.PI * holeMm * 1e-3 * viscosityPaS);

    /// <summary>Suction above which a soft film's rim would peel off, kPa: q P/A (only after a calibration).</summary>
    /// <param name="peelNPerMm">Peel force per rim length, N/mm.</param>
    /// <param name="rimMm">Length of the rim, mm.</param>
    /// <param name="areaMm2">Area of the cup, mm2.</param>
    public static double RimLimitKPa(double peelNPerMm, double rimMm, double areaMm2) => 1e3 * peelNPerMm * rimMm / areaMm2;
}
