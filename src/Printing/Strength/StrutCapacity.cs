namespace Stiltwright.Printing.Strength;

/// <summary>
/// What a round strut can bear in the green state. Tension: strength times area. Columns: Euler and Johnson, in the form
/// of Budynas and Nisbett, Shigley's Mechanical Engineering Design, ch. 4, and Timoshenko and Gere, Theory of Elastic
/// Stability (from memory). mm, N, MPa; diameters are those of the circle of equal area.
/// </summary>
public static class StrutCapacity
{
    /// <summary>Column factor of a shaft fixed in the raft whose thin tip is held by the figure (textbook 0.699).</summary>
    public const double FixedPinned = 0.7;

    /// <summary>Column factor of a bar pinned at both ends.</summary>
    public const double PinnedPinned = 1.0;

    /// <summary>Column factor of a bar fixed at one end and free at the other.</summary>
    public const double FixedFree = 2.0;

    /// <summary>Slenderness above which a strut is braced or thickened (common steel practice, a choice of the house).</summary>
    public const double SlenderNote = 100;

    /// <summary>Slenderness above which a strut is refused (the usual limit for steel compression members, from memory).</summary>
    public const double SlenderLimit = 200;

    /// <summary>Area of a disc, mm2.</summary>
    public static double DiscArea(double diameterMm) => Math.PI / 4 * diameterMm * diameterMm;

    /// <summary>Pull that a contact tip bears, N: share * strength * pi d^2/4 (physics table 3.3).</summary>
    /// <param name="diameterMm">Tip diameter, mm.</param>
    /// <param name="strengthMPa">Green tensile strength, MPa.</param>
    /// <param name="tipShare">Reduction for layer interface and notch, 0..1.</param>
    public static double Tip(double diameterMm, double strengthMPa, double tipShare) => tipShare * strengthMPa * DiscArea(diameterMm);

    /// <summary>Pull that a shaft bears, N.</summary>
    public static double ShaftTension(double diameterMm, double strengthMPa) => strengthMPa * DiscArea(diameterMm);

    /// <summary>Area of the end of a cylinder cut at an angle to its cross-section, mm2: pi d^2/(4 cos b).</summary>
    /// <param name="diameterMm">Diameter, mm.</param>
    /// <param name="cutRadians">Angle between the cut and the cross-section.</param>
    public static double InclinedCutArea(double diameterMm, double cutRadians) => DiscArea(diameterMm) / Math.Cos(cutRadians);

    /// <summary>Pull at which a tip tears out of a thin wall, N: pi d t strength/sqrt 3 (shear on the cylinder, von Mises).</summary>
    public static double PullOut(double diameterMm, double wallMm, double strengthMPa) => Math.PI * diameterMm * wallMm * strengthMPa / Math.Sqrt(3);

    /// <summary>Wall from which on pull-out does not govern, mm: sqrt(3)/4 d.</summary>
    public static double WallThatHolds(double diameterMm) => Math.Sqrt(3) / 4 * diameterMm;

    /// <summary>Euler load of a round column, N: pi^3 E d^4/(64 (K L)^2).</summary>
    /// <param name="diameterMm">Diameter, mm.</param>
    /// <param name="lengthMm">Length between held points, mm.</param>
    /// <param name="modulusMPa">Modulus, MPa.</param>
    /// <param name="columnFactor">K: 1 pinned, 0.7 fixed-pinned, 0.5 fixed, 2 free.</param>
    public static double Euler(double diameterMm, double lengthMm, double modulusMPa, double columnFactor) =>
        Math.PI * Math.PI * modulusMPa * Beams.RoundInertia(diameterMm) / Math.Pow(columnFactor * lengthMm, 2);

    /// <summary>Slenderness, 1: K L divided by the radius of gyration d/4.</summary>
    public static double Slenderness(double diameterMm, double lengthMm, double columnFactor) => 4 * columnFactor * lengthMm / diameterMm;

    /// <summary>Slenderness at which Euler and Johnson meet, 1: sqrt(2 pi^2 E/strength).</summary>
    public static double TransitionSlenderness(double modulusMPa, double strengthMPa) => Math.Sqrt(2 * Math.PI * Math.PI * modulusMPa / strengthMPa);

    /// <summary>Johnson's stress at which a stocky column gives way, MPa: s (1 - s lambda^2/(4 pi^2 E)).</summary>
    public static double JohnsonStress(double slenderness, double modulusMPa, double strengthMPa) =>
        strengthMPa * (1 - strengthMPa * slenderness * slenderness / (4 * Math.PI * Math.PI * modulusMPa));

    /// <summary>
    /// Power of its size with which a column's load grows at constant length, 1: 4 by Euler, and by Johnson 2 for the area and
    /// what the stress gains (the logarithmic derivative of the two formulas).
    /// </summary>
    public static double ColumnGrowth(double slenderness, double modulusMPa, double strengthMPa)
    {
        if (slenderness >= TransitionSlenderness(modulusMPa, strengthMPa)) return 4;
        var bent = strengthMPa * slenderness * slenderness / (4 * Math.PI * Math.PI * modulusMPa);
        return 2 + 2 * bent / (1 - bent);
    }

    /// <summary>Stress at which a column of this slenderness gives way, MPa: Johnson below the transition, Euler above.</summary>
    public static double ColumnStress(double slenderness, double modulusMPa, double strengthMPa) =>
        slenderness < TransitionSlenderness(modulusMPa, strengthMPa)
            ? JohnsonStress(slenderness, modulusMPa, strengthMPa)
            : Math.PI * Math.PI * modulusMPa / (slenderness * slenderness);

    /// <summary>Push that a round column bears, N.</summary>
    public static double Column(double diameterMm, double lengthMm, double modulusMPa, double strengthMPa, double columnFactor) =>
        ColumnStress(Slenderness(diameterMm, lengthMm, columnFactor), modulusMPa, strengthMPa) * DiscArea(diameterMm);

    /// <summary>Longest slender round column for a push, mm: sqrt(pi^3 E d^4/(64 F))/K.</summary>
    public static double LongestColumn(double diameterMm, double modulusMPa, double forceN, double columnFactor) =>
        Math.PI / columnFactor * Math.Sqrt(modulusMPa * Beams.RoundInertia(diameterMm) / forceN);
}
