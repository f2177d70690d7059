using Stiltwright.Printing.Resin;

namespace Stiltwright.Printing.Estimates;

/// <summary>A refill of the vat.</summary>
/// <param name="Layer">Before this layer, from 1.</param>
/// <param name="AfterS">Seconds after the start.</param>
/// <param name="Ml">Resin to pour in, ml.</param>
public readonly record struct VatRefill(int Layer, double AfterS, double Ml);

/// <summary>
/// When the vat runs low. Every layer draws its cured area times its thickness as liquid, waste spread in proportion; the
/// vat starts full and is filled up before it would fall below what must stay in it.
/// </summary>
public static class VatFilling
{
    // Sums of thousands of small draws differ in their last digits; a difference of this share of the vat is none.
    private const double Rounding = 1e-9;

    /// <summary>The refills of a run, in order. No more is poured than the rest of the run needs.</summary>
    /// <param name="areaMm2">Cured area of every layer from the platform up, all pieces of the run, mm2.</param>
    /// <param name="layerMm">Thickness of a layer, mm.</param>
    /// <param name="resin">The resin.</param>
    /// <param name="printer">The printer.</param>
    /// <exception cref="ArgumentException">The vat holds no more than must stay in it, or one layer draws more than it can give.</exception>
    public static IReadOnlyList<VatRefill> Refills(ReadOnlySpan<double> areaMm2, double layerMm, ResinData resin, PrinterData printer)
    {
        var usable = printer.VatMl - printer.VatLeastMl;
        if (!(usable > 0))
            throw new ArgumentException($"Printer {printer.Name}: the vat holds {printer.VatMl:0.#} ml and {printer.VatLeastMl:0.#} ml must stay in it, so nothing can be drawn.", nameof(printer));
        double left = 0;
        foreach (var a in areaMm2) left += DrawMl(a, layerMm, resin);
        var refills = new List<VatRefill>();
        var have = usable;
        for (var k = 0; k < areaMm2.Length; k++)
        {
            var draw = DrawMl(areaMm2[k], layerMm, resin);
            if (draw > usable)
                throw new ArgumentException($"Layer {k + 1} draws {draw:0.#} ml, more than the {usable:0.#} ml that the vat of printer {printer.Name} can give.", nameof(areaMm2));
            if (draw > have + Rounding * usable)
            {
                var pour = Math.Min(usable - have, left - have);
                refills.Add(new VatRefill(k + 1, PrintTime.AfterLayersS(k, resin, printer), pour));
                have += pour;
            }
            have -= draw;
            left -= draw;
        }
        return refills;
    }

    /// <summary>Liquid that one layer draws, waste included, ml.</summary>
    public static double DrawMl(double areaMm2, double layerMm, ResinData resin) => ResinNeed.LiquidMl(areaMm2 * layerMm, resin) * (1 + resin.WasteShare);
}
