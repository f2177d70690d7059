using Stiltwright.Printing.Strength;

namespace Stiltwright.Printing.Fluids;

/// <summary>Viscosity at other temperatures and small drags in the resin.</summary>
public static class Viscosity
{
    /// <summary>Activation energy of an acrylate resin's flow, J/mol (typical, from memory).</summary>
    public const double ActivationJPerMol = 50e3;

    /// <summary>Viscosity at a temperature over that at 25 degrees C (Arrhenius): exp(Ea/R (1/T - 1/298.15)).</summary>
    public static double Ratio(double celsius, double activationJPerMol = ActivationJPerMol) =>
        Math.Exp(activationJPerMol / Physical.GasConstant * (1 / (celsius + 273.15) - 1 / 298.15));

    /// <summary>
    /// Drag on a rod across a creeping flow, N: 4 pi eta L U/(ln p + 0.839 + 0.185/p + 0.233/p^2), p = L/d, for 2 to 30
    /// (Tirado, Martinez and Garcia de la Torre 1984, J. Chem. Phys. 81:2047, from memory).
    /// </summary>
    public static double RodDragAcross(double diameterMm, double lengthMm, double viscosityPaS, double speedMmS)
    {
        var p = lengthMm / diameterMm;
        return 4e-6 * Math.PI * viscosityPaS * lengthMm * speedMmS / (Math.Log(p) + 0.839 + 0.185 / p + 0.233 / (p * p));
    }

    /// <summary>Drag on a rod along the flow, N: 2 pi eta L U/(ln p - 0.207 + 0.980/p - 0.133/p^2) (same source).</summary>
    public static double RodDragAlong(double diameterMm, double lengthMm, double viscosityPaS, double speedMmS)
    {
        var p = lengthMm / diameterMm;
        return 2e-6 * Math.PI * viscosityPaS * lengthMm * speedMmS / (Math.Log(p) - 0.207 + 0.980 / p - 0.133 / (p * p));
    }

    /// <summary>Drag on a disc moving broadside in free resin, N: 16 eta R U (Lamb; from memory).</summary>
    public static double DiscDrag(double radiusMm, double viscosityPaS, double speedMmS) => 16e-6 * viscosityPaS * radiusMm * speedMmS;
}
