namespace Stiltwright.Printing.Estimates;

using Stiltwright.Printing.Resin;

/// <summary>Mass and liquid of a printed volume (physics table 6). mm3, g, ml.</summary>
public static class ResinNeed
{
    /// <summary>Cured mass, g.</summary>
    public static double MassG(double volumeMm3, ResinData resin) => volumeMm3 * 1e-3 * resin.CuredDensity;

    /// <summary>Liquid that becomes a cured volume, ml: mass is kept, volume shrinks.</summary>
    public static double LiquidMl(double volumeMm3, ResinData resin) => volumeMm3 * 1e-3 * resin.CuredDensity / resin.LiquidDensity;

    /// <summary>Liquid drawn from the bottle, ml: the cured part, waste on top, and the films left on inner walls.</summary>
    /// <param name="volumeMm3">Union volume of all that prints, mm3.</param>
    /// <param name="filmMm3">Resin left on walls after draining, mm3.</param>
    /// <param name="resin">The resin.</param>
    public static double DrawnMl(double volumeMm3, double filmMm3, ResinData resin) => LiquidMl(volumeMm3, resin) * (1 + resin.WasteShare) + filmMm3 * 1e-3;
}
