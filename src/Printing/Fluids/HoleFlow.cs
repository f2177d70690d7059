namespace Stiltwright.Printing.Fluids;

/// <summary>
/// Creeping flow through a round hole in a wall: pressure = viscosity * flow * K. Poiseuille along the hole and Sampson's
/// loss at its ends (Sampson 1891, Phil. Trans. R. Soc. A 182:449; sum within 1 % after Dagan, Weinbaum and Pfeffer 1982,
/// J. Fluid Mech. 115:505, from memory). Diameters and walls in mm, K in 1/m3.
/// </summary>
public static class HoleFlow
{
    /// <summary>K of one hole, 1/m3: 128 t/(pi d^4) + 24/d^3.</summary>
    /// <param name="diameterMm">Hole diameter d, mm.</param>
    /// <param name="wallMm">Wall t, mm.</param>
    public static double Factor(double diameterMm, double wallMm)
    {
        var d = diameterMm * 1e-3;
        return 128 * wallMm * 1e-3 / (Math.PI * Math.Pow(d, 4)) + 24 / Math.Pow(d, 3);
    }

    /// <summary>K of several holes side by side, 1/m3: 1/K = sum of 1/K_i; infinite for none.</summary>
    public static double Together(ReadOnlySpan<double> factors)
    {
        double sum = 0;
        foreach (var k in factors) sum += 1 / k;
        return sum > 0 ? 1 / sum : double.PositiveInfinity;
    }

    /// <summary>Diameter whose K is a given one, mm (K falls steadily with the diameter; bisection to the last bit).</summary>
    public static double DiameterFor(double factorPerM3, double wallMm)
    {
        double low = 1e-3, high = 1e4;
        for (var i = 0; i < 200; i++)
        {
            var middle = Math.Sqrt(low * high);
            if (Factor(middle, wallMm) > factorPerM3) low = middle; else high = middle;
        }
        return Math.Sqrt(low * high);
    }
}
