namespace Stiltwright.Printing.Estimates;

/// <summary>One way of enlarging, by the union volume of all that prints.</summary>
/// <param name="Name">as-is, hollowed or thinned-hollowed.</param>
/// <param name="VolumeMm3">Union volume, mm3.</param>
/// <param name="MassG">Cured mass, g.</param>
/// <param name="SavedShare">1 - volume / as-is.</param>
public sealed record WayOfEnlarging(string Name, double VolumeMm3, double MassG, double SavedShare);

/// <summary>The ways of enlarging compared.</summary>
public static class WaysCompared
{
    /// <summary>Compares plain enlarging, the same hollowed as this set is, and this set.</summary>
    /// <param name="sourceUnionMm3">Union volume of the source, mm3.</param>
    /// <param name="scale">Linear scale.</param>
    /// <param name="hollowedUnionMm3">Union volume of the plain enlargement with this set's cavities and holes, mm3.</param>
    /// <param name="setUnionMm3">Union volume of the set, mm3.</param>
    /// <param name="curedDensity">Density of the cured resin, g/cm3.</param>
    public static IReadOnlyList<WayOfEnlarging> Of(double sourceUnionMm3, double scale, double hollowedUnionMm3, double setUnionMm3, double curedDensity)
    {
        var asIs = sourceUnionMm3 * scale * scale * scale;
        WayOfEnlarging Way(string name, double volume) => new(name, volume, volume * 1e-3 * curedDensity, asIs > 0 ? 1 - volume / asIs : 0);
        return [Way("as-is", asIs), Way("hollowed", hollowedUnionMm3), Way("thinned-hollowed", setUnionMm3)];
    }
}
