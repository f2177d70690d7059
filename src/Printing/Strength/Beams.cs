namespace Stiltwright.Printing.Strength;

/// <summary>
/// Round bars under side loads. Source: Young, Budynas and Sadegh, Roark's Formulas for Stress and Strain, 8th ed.
/// (beam tables), from memory. mm, N, MPa.
/// </summary>
public static class Beams
{
    /// <summary>Least second moment of area of a disc, mm4: pi d^4/64.</summary>
    public static double RoundInertia(double diameterMm) => Math.PI * Math.Pow(diameterMm, 4) / 64;

    /// <summary>End deflection of a cantilever under a force at its free end, mm: F L^3/(3 E I).</summary>
    public static double CantileverSag(double diameterMm, double lengthMm, double modulusMPa, double forceN) =>
        forceN * Math.Pow(lengthMm, 3) / (3 * modulusMPa * RoundInertia(diameterMm));

    /// <summary>Bending stress at the root of that cantilever, MPa: 32 F L/(pi d^3).</summary>
    public static double CantileverStress(double diameterMm, double lengthMm, double forceN) => BendingStress(diameterMm, forceN * lengthMm);

    /// <summary>Sideways shift of a bar whose both ends keep their direction, mm: F L^3/(12 E I).</summary>
    public static double FixedFixedSway(double diameterMm, double lengthMm, double modulusMPa, double forceN) =>
        forceN * Math.Pow(lengthMm, 3) / (12 * modulusMPa * RoundInertia(diameterMm));

    /// <summary>Bending stress of a round bar, MPa: 32 M/(pi d^3).</summary>
    /// <param name="diameterMm">Diameter, mm.</param>
    /// <param name="momentNmm">Bending moment, N mm.</param>
    public static double BendingStress(double diameterMm, double momentNmm) => 32 * momentNmm / (Math.PI * Math.Pow(diameterMm, 3));

    /// <summary>Axial stiffness of a prismatic bar, N/mm: E A/L.</summary>
    public static double AxialStiffness(double areaMm2, double lengthMm, double modulusMPa) => modulusMPa * areaMm2 / lengthMm;

    /// <summary>
    /// Sideways stiffness that a diagonal brace gives, N/mm: E A cos^2/L, with L the length of the diagonal and the
    /// cosine of its angle to the horizontal.
    /// </summary>
    public static double DiagonalBraceStiffness(double diameterMm, double runMm, double riseMm, double modulusMPa)
    {
        var length = Math.Sqrt(runMm * runMm + riseMm * riseMm);
        var cos = runMm / length;
        return AxialStiffness(Math.PI / 4 * diameterMm * diameterMm, length, modulusMPa) * cos * cos;
    }

    /// <summary>
    /// Stiffness that a brace needs to hold a column at its point, N/mm: twice the ideal 4 P/L_b.
    /// Source: Winter 1958, Lateral bracing of columns and beams, J. Struct. Div. ASCE 84(ST2), from memory.
    /// </summary>
    public static double BraceStiffnessNeeded(double columnLoadN, double freeLengthMm) => 8 * columnLoadN / freeLengthMm;

    /// <summary>Force that a brace takes, N: 2 % of the column's load (Winter 1958, from memory).</summary>
    public static double BraceForce(double columnLoadN) => 0.02 * columnLoadN;

    /// <summary>
    /// Height at which a round bar buckles under its own weight, mm: (7.8373 E I/(rho g A))^(1/3).
    /// Source: Greenhill 1881, Proc. Camb. Phil. Soc. 4:65, from memory.
    /// </summary>
    public static double GreenhillHeight(double diameterMm, double modulusMPa, double density)
    {
        var d = diameterMm * 1e-3;
        var weightPerM3 = density * 1e3 * Physical.Gravity;
        // I/A of a disc is d^2/16.
        return 1e3 * Math.Cbrt(7.8373 * modulusMPa * 1e6 * d * d / 16 / weightPerM3);
    }
}
