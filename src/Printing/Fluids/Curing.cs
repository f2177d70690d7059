namespace Stiltwright.Printing.Fluids;

/// <summary>Shrinking, cure depth and the pressure of resin that was shut in (physics table 4.4).</summary>
public static class Curing
{
    /// <summary>Shrinkage by volume from the two densities, 1: 1 - rho_l/rho_c.</summary>
    public static double ShrinkageByVolume(double liquidDensity, double curedDensity) => 1 - liquidDensity / curedDensity;

    /// <summary>Shrinkage by length from the two densities, 1: 1 - (rho_l/rho_c)^(1/3).</summary>
    public static double ShrinkageByLength(double liquidDensity, double curedDensity) => 1 - Math.Cbrt(liquidDensity / curedDensity);

    /// <summary>
    /// Shrinkage by volume from the double bonds that react, 1: 22 f rho alpha/M (about 22 cm3 a mole of C=C: Patel, Braden
    /// and Davy 1987, Biomaterials 8:53).
    /// </summary>
    /// <param name="functionality">Double bonds a molecule.</param>
    /// <param name="density">Density of the monomer, g/cm3.</param>
    /// <param name="conversion">Share that reacts, 0..1.</param>
    /// <param name="molarMass">Molar mass, g/mol.</param>
    public static double ShrinkageByBonds(double functionality, double density, double conversion, double molarMass) => 22 * functionality * density * conversion / molarMass;

    /// <summary>Cure depth, mm: D_p ln(E/E_c) (Jacobs 1992, from memory); 0 below the critical exposure.</summary>
    public static double Depth(double penetrationMm, double exposure, double criticalExposure) => exposure > criticalExposure ? penetrationMm * Math.Log(exposure / criticalExposure) : 0;

    /// <summary>
    /// Pressure of a full sealed sphere after warming, MPa: d_beta dT/(1/K + 3 R (1 - nu)/(2 E t)) (thin sphere, Roark;
    /// liquid data typical, from memory).
    /// </summary>
    /// <param name="expansionPerK">Liquid's volume expansion above the solid's, 1/K.</param>
    /// <param name="warmingK">Warming, K.</param>
    /// <param name="bulkModulusMPa">Bulk modulus of the liquid, MPa.</param>
    /// <param name="radiusMm">Radius, mm.</param>
    /// <param name="wallMm">Wall, mm.</param>
    /// <param name="modulusMPa">Modulus of the cured wall, MPa.</param>
    /// <param name="poisson">Poisson ratio of the wall.</param>
    public static double TrappedPressure(double expansionPerK, double warmingK, double bulkModulusMPa, double radiusMm, double wallMm, double modulusMPa, double poisson) =>
        expansionPerK * warmingK / (1 / bulkModulusMPa + 3 * radiusMm * (1 - poisson) / (2 * modulusMPa * wallMm));

    /// <summary>Warming of pooled resin that cures at once, K: dH n alpha/c_p (heat kJ/mol, mol/kg, share, kJ/(kg K)).</summary>
    public static double AdiabaticWarming(double heatKJPerMol, double molPerKg, double conversion, double heatCapacity) => heatKJPerMol * molPerKg * conversion / heatCapacity;
}
