namespace Stiltwright.Printing.Strength;

/// <summary>The finished figure on its base: joints in bending, toppling, mass centre. Statics; mm, N, kg.</summary>
public static class Standing
{
    /// <summary>Moment of a piece's weight about a joint, N mm: m g e.</summary>
    public static double GravityMoment(double massKg, double armMm) => massKg * Physical.Gravity * armMm;

    /// <summary>Bending stress of a round joint face, MPa: 4 M/(pi R^3) (Roark, round section).</summary>
    public static double JointStress(double massKg, double armMm, double faceRadiusMm) =>
        4 * GravityMoment(massKg, armMm) / (Math.PI * Math.Pow(faceRadiusMm, 3));

    /// <summary>Bending stress of a round peg that alone carries the moment, MPa: 32 M/(pi d^3).</summary>
    public static double PegStress(double massKg, double armMm, double pegMm) => Beams.BendingStress(pegMm, GravityMoment(massKg, armMm));

    /// <summary>Tilt at which a figure topples, radians: atan(e/h), e = least distance from the mass centre's foot to the edge of the base.</summary>
    public static double TipAngle(double edgeMm, double massCentreHeightMm) => Math.Atan2(edgeMm, massCentreHeightMm);

    /// <summary>Push at a height that topples it, N: m g e/H.</summary>
    public static double TipForce(double massKg, double edgeMm, double pushHeightMm) => massKg * Physical.Gravity * edgeMm / pushHeightMm;

    /// <summary>Common mass centre along one axis: sum of m z over sum of m.</summary>
    /// <exception cref="ArgumentException">No mass, or lists of unlike length.</exception>
    public static double MassCentre(ReadOnlySpan<double> masses, ReadOnlySpan<double> places)
    {
        if (masses.Length != places.Length) throw new ArgumentException("Every mass needs one place.", nameof(places));
        double m = 0, mz = 0;
        for (var i = 0; i < masses.Length; i++) { m += masses[i]; mz += masses[i] * places[i]; }
        if (!(m > 0)) throw new ArgumentException("The masses add up to nothing.", nameof(masses));
        return mz / m;
    }

    /// <summary>Pressure on the floor, kPa: m g/A.</summary>
    public static double FloorPressureKPa(double massKg, double areaM2) => massKg * Physical.Gravity / areaM2 * 1e-3;
}
