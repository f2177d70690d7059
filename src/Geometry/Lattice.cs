namespace Stiltwright.Geometry;

/// <summary>
/// The grid on which all coordinates lie: multiples of 2^-Exponent mm, kept as 32-bit integers. Every coordinate of a
/// job stays below 2^24 units, so each one is exactly a 32-bit float (a written STL is the computed mesh bit for bit)
/// and predicates on them are exact in integers. The finest lattice is 2^-16 mm (15 nm).
/// </summary>
public sealed record Lattice
{
    /// <summary>Exponent of the finest lattice used: 2^-16 mm.</summary>
    public const int FinestExponent = 16;

    /// <summary>Largest coordinate in units that a 32-bit float still holds exactly.</summary>
    public const int MaxUnits = 1 << 24;

    /// <summary>Creates the lattice with units of 2^-exponent mm. Throws where the exponent is not 0..16.</summary>
    public Lattice(int exponent)
    {
        ArgumentOutOfRangeException.ThrowIfLessThan(exponent, 0);
        ArgumentOutOfRangeException.ThrowIfGreaterThan(exponent, FinestExponent);
        Exponent = exponent;
        UnitsPerMm = 1 << exponent;
        UnitMm = 1.0 / UnitsPerMm;
    }

    /// <summary>Units are 2^-Exponent mm.</summary>
    public int Exponent { get; }

    /// <summary>Units in a millimetre, a power of two.</summary>
    public int UnitsPerMm { get; }

    /// <summary>Length of one unit, mm.</summary>
    public double UnitMm { get; }

    /// <summary>The finest lattice that holds all coordinates up to a magnitude (mm). Throws above 16,777 m, which no part reaches.</summary>
    public static Lattice For(double largestAbsMm)
    {
        for (var e = FinestExponent; e >= 0; e--)
            if (largestAbsMm * (1 << e) < MaxUnits - 1) return new Lattice(e);
        throw new ArgumentOutOfRangeException(nameof(largestAbsMm), largestAbsMm, "A coordinate lies beyond what the lattice can hold.");
    }

    /// <summary>The nearest lattice value of a length in mm (halves away from zero). The caller keeps within <see cref="MaxUnits"/>.</summary>
    public int Round(double mm) => (int)Math.Round(mm * UnitsPerMm, MidpointRounding.AwayFromZero);

    /// <summary>A lattice value in mm, exact.</summary>
    public double ToMm(long units) => units * UnitMm;
}
