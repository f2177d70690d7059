using Stiltwright.Printing.Strength;

namespace Stiltwright.Printing.Fluids;

/// <summary>How long a cavity takes to run empty through a hole while air comes in elsewhere (physics table 5.3). mm, mm2, s.</summary>
public static class DrainTime
{
    /// <summary>Discharge coefficient of a sharp hole (common engineering value).</summary>
    public const double Discharge = 0.6;

    /// <summary>Time constant of viscous draining, s: A eta K/(rho g).</summary>
    /// <param name="cavityAreaMm2">Cross-section of the cavity, mm2.</param>
    /// <param name="viscosityPaS">Viscosity, Pa s.</param>
    /// <param name="density">Density of the liquid, g/cm3.</param>
    /// <param name="holeFactorPerM3">K of the holes that drain, 1/m3.</param>
    public static double Constant(double cavityAreaMm2, double viscosityPaS, double density, double holeFactorPerM3) =>
        cavityAreaMm2 * 1e-6 * viscosityPaS * holeFactorPerM3 / (density * 1e3 * Physical.Gravity);

    /// <summary>Time from one head to a lower one, s: tau ln((h0 - held)/(h1 - held)); infinite where the lower head is never reached.</summary>
    public static double Viscous(double constantS, double fromMm, double toMm, double heldMm)
    {
        if (!(fromMm > toMm)) return 0;
        return toMm > heldMm ? constantS * Math.Log((fromMm - heldMm) / (toMm - heldMm)) : double.PositiveInfinity;
    }

    /// <summary>Time of a thin liquid (Torricelli), a lower bound, s: A/(C a) sqrt(2/g) (sqrt h0 - sqrt h1).</summary>
    public static double Torricelli(double cavityAreaMm2, double holeMm, double fromMm, double toMm) =>
        cavityAreaMm2 / (Discharge * StrutCapacity.DiscArea(holeMm)) * Math.Sqrt(2 / Physical.Gravity)
        * (Math.Sqrt(fromMm * 1e-3) - Math.Sqrt(toMm * 1e-3));
}
