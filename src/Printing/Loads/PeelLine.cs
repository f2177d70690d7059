namespace Stiltwright.Printing.Loads;

/// <summary>
/// Pull of a tensioned film per length of its peel front (Rivlin 1944; Kendall 1975, J. Phys. D 8:1449, from memory).
/// A limit for large layers on a soft film; used only after a calibration.
/// </summary>
public static class PeelLine
{
    /// <summary>Vertical force per length, N/m: sqrt(2 G T - G^2).</summary>
    /// <param name="energyJPerM2">Energy release G, J/m2.</param>
    /// <param name="tensionNPerM">Film tension T per width, N/m.</param>
    public static double Force(double energyJPerM2, double tensionNPerM) => Math.Sqrt(2 * energyJPerM2 * tensionNPerM - energyJPerM2 * energyJPerM2);

    /// <summary>Peel angle, radians: G = T (1 - cos theta).</summary>
    public static double Angle(double energyJPerM2, double tensionNPerM) => Math.Acos(1 - energyJPerM2 / tensionNPerM);
}
