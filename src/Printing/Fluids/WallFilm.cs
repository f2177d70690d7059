using Stiltwright.Printing.Strength;

namespace Stiltwright.Printing.Fluids;

/// <summary>Resin that stays on an upright wall after draining (Jeffreys 1930, Proc. Camb. Phil. Soc. 26:204, from memory).</summary>
public static class WallFilm
{
    /// <summary>Film at a depth below the top after a time, mm: sqrt(eta z/(rho g t)).</summary>
    /// <param name="viscosityPaS">Viscosity, Pa s.</param>
    /// <param name="depthMm">Depth z, mm.</param>
    /// <param name="density">Density of the liquid, g/cm3.</param>
    /// <param name="seconds">Draining time, s.</param>
    public static double Thickness(double viscosityPaS, double depthMm, double density, double seconds) =>
        1e3 * Math.Sqrt(viscosityPaS * depthMm * 1e-3 / (density * 1e3 * Physical.Gravity * seconds));

    /// <summary>Mean film over a wall of that depth, mm: two thirds of the film at its lower end.</summary>
    public static double Mean(double viscosityPaS, double depthMm, double density, double seconds) =>
        2.0 / 3 * Thickness(viscosityPaS, depthMm, density, seconds);
}
