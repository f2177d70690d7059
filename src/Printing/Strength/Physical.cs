namespace Stiltwright.Printing.Strength;

/// <summary>Constants of nature and standard values that the formulas share.</summary>
public static class Physical
{
    /// <summary>Standard acceleration of gravity, m/s2 (ISO 80000-3).</summary>
    public const double Gravity = 9.80665;

    /// <summary>Standard atmosphere, Pa (ISO 2533).</summary>
    public const double AtmospherePa = 101325;

    /// <summary>Standard atmosphere, MPa = N/mm2.</summary>
    public const double AtmosphereMPa = 0.101325;

    /// <summary>Molar gas constant, J/(mol K) (SI, exact to the digits written).</summary>
    public const double GasConstant = 8.314462618;

    /// <summary>Weight of a volume, N.</summary>
    /// <param name="volumeMm3">Volume, mm3.</param>
    /// <param name="density">Density, g/cm3.</param>
    public static double WeightN(double volumeMm3, double density) => volumeMm3 * density * 1e-6 * Gravity;
}
