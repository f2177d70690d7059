namespace Stiltwright.Printing.Strength;

/// <summary>
/// Walls under pressure. Plates: Roark's Formulas for Stress and Strain (clamped round plate, uniform load); sphere:
/// Zoelly 1915 as in Timoshenko and Gere, knock-down as NASA SP-8032 recommends (all from memory). mm, MPa.
/// </summary>
public static class ThinWalls
{
    /// <summary>Part of the classical collapse pressure that a real shell reaches (a round value of the house).</summary>
    public const double KnockDown = 0.2;

    /// <summary>Largest stress of a clamped round panel, MPa: 3 q a^2/(4 t^2).</summary>
    /// <param name="radiusMm">Radius a of the panel, mm.</param>
    /// <param name="wallMm">Thickness t, mm.</param>
    /// <param name="pressureMPa">Pressure q, MPa.</param>
    public static double PanelStress(double radiusMm, double wallMm, double pressureMPa) => 3 * pressureMPa * radiusMm * radiusMm / (4 * wallMm * wallMm);

    /// <summary>Sag of its middle, mm: 3 (1 - nu^2) q a^4/(16 E t^3).</summary>
    public static double PanelSag(double radiusMm, double wallMm, double pressureMPa, double modulusMPa, double poisson) =>
        3 * (1 - poisson * poisson) * pressureMPa * Math.Pow(radiusMm, 4) / (16 * modulusMPa * Math.Pow(wallMm, 3));

    /// <summary>Classical collapse pressure of a sphere, MPa: 2 E (t/R)^2/sqrt(3 (1 - nu^2)). Design with <see cref="KnockDown"/> of it.</summary>
    public static double SphereCollapse(double radiusMm, double wallMm, double modulusMPa, double poisson) =>
        2 * modulusMPa * Math.Pow(wallMm / radiusMm, 2) / Math.Sqrt(3 * (1 - poisson * poisson));

    /// <summary>Membrane stress of a sphere under inner pressure, MPa: p R/(2 t).</summary>
    public static double SphereStress(double radiusMm, double wallMm, double pressureMPa) => pressureMPa * radiusMm / (2 * wallMm);
}
