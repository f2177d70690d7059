namespace Stiltwright.Printing.Strength;

/// <summary>How far contacts may stand apart (physics table 3.8). mm, N, MPa.</summary>
public static class Spacing
{
    /// <summary>Pitch of a square grid of contacts, mm: sqrt(capacity/(factor * separation stress)).</summary>
    /// <param name="tipCapacityN">Pull that one contact bears, N.</param>
    /// <param name="factor">Safety factor.</param>
    /// <param name="separationMPa">Separation stress with its shape share, MPa.</param>
    public static double ContactPitch(double tipCapacityN, double factor, double separationMPa) => Math.Sqrt(tipCapacityN / (factor * separationMPa));

    /// <summary>Span of the first layers of a flat overhang, as a clamped strip, mm: t sqrt(2 strength/(factor * separation)).</summary>
    public static double LayerSpan(double thicknessMm, double strengthMPa, double factor, double separationMPa) =>
        thicknessMm * Math.Sqrt(2 * strengthMPa / (factor * separationMPa));

    /// <summary>Free lip of the first layers, as a cantilever, mm: t sqrt(strength/(3 factor * separation)).</summary>
    public static double FreeLip(double thicknessMm, double strengthMPa, double factor, double separationMPa) =>
        thicknessMm * Math.Sqrt(strengthMPa / (3 * factor * separationMPa));

    /// <summary>How far a layer reaches beyond the one below on a slope, mm: t/tan(angle to the horizontal).</summary>
    public static double OverhangPerLayer(double layerMm, double slopeRadians) => layerMm / Math.Tan(slopeRadians);
}
