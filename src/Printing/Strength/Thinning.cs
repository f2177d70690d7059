namespace Stiltwright.Printing.Strength;

/// <summary>
/// How far a strut may be thinned at a fixed share of the load (physics table 3.7). Pull needs area, so the diameter goes
/// with the square root; slender columns need inertia, so it goes with the fourth root.
/// </summary>
public static class Thinning
{
    /// <summary>
    /// New diameter over enlarged diameter, 0..1: the largest of sqrt(pull/target), (push/target)^(1/4) and least/diameter.
    /// Exact for one strut at a fixed share of the load, while the shaft stays slender.
    /// </summary>
    /// <param name="pullUse">Use in tension at the enlarged diameter.</param>
    /// <param name="pushUse">Use in buckling at the enlarged diameter.</param>
    /// <param name="target">Use that may be reached.</param>
    /// <param name="diameterMm">Enlarged diameter, mm.</param>
    /// <param name="leastMm">Thinnest that is left, mm.</param>
    public static double Ratio(double pullUse, double pushUse, double target, double diameterMm, double leastMm) =>
        Math.Min(1, Math.Max(Math.Max(Math.Sqrt(pullUse / target), Math.Sqrt(Math.Sqrt(pushUse / target))), leastMm / diameterMm));

    /// <summary>Tip diameter for a pull, mm: sqrt(4 factor F/(pi share strength target)).</summary>
    public static double TipDiameter(double forceN, double factor, double strengthMPa, double tipShare, double target) =>
        Math.Sqrt(4 * factor * forceN / (Math.PI * tipShare * strengthMPa * target));
}
