using Stiltwright.Printing.Strength;

namespace Stiltwright.Printing.Loads;

/// <summary>Fitting the separation stress to finished prints (physics table 2.7). One record per resin, film, machine and lift speed.</summary>
public static class Calibration
{
    /// <summary>
    /// Use at which prints begin to fail: the geometric mean of the largest use that printed and the smallest that failed.
    /// </summary>
    /// <exception cref="ArgumentException">A failure lies at or below a success: the data overlap and need a fit with a spread.</exception>
    public static double FailingUse(double largestSuccess, double smallestFailure)
    {
        if (!(smallestFailure > largestSuccess))
            throw new ArgumentException("A print failed at a use at which another succeeded; one number cannot be fitted.", nameof(smallestFailure));
        return Math.Sqrt(largestSuccess * smallestFailure);
    }

    /// <summary>Separation stress that makes the failing use 1, kPa.</summary>
    public static double SeparationStress(double stressKPa, double failingUse) => stressKPa / failingUse;

    /// <summary>Chance that a print fails at a use: 1/(1 + exp(-k (ln U - ln U*))).</summary>
    public static double FailureChance(double use, double failingUse, double steepness) => 1 / (1 + Math.Exp(-steepness * Math.Log(use / failingUse)));

    /// <summary>Separation stress from a stepped test plate on equal tips, kPa: N share strength pi d^2/4/(c A) at the step that tears off.</summary>
    public static double FromTestPlate(int tips, double tipMm, double strengthMPa, double tipShare, double shapeShare, double stepAreaMm2) =>
        1e3 * tips * StrutCapacity.Tip(tipMm, strengthMPa, tipShare) / (shapeShare * stepAreaMm2);
}
