using Stiltwright.Printing.Resin;

namespace Stiltwright.Printing.Estimates;

/// <summary>What a set costs, in the printer's currency: m price + hours * rate + labour * wage + fixed (physics table 6).</summary>
public static class Costing
{
    /// <summary>Cost with all rates given.</summary>
    /// <param name="resinKg">Resin drawn, waste included, kg.</param>
    /// <param name="pricePerKg">Price of a kilogram.</param>
    /// <param name="hours">Machine hours.</param>
    /// <param name="ratePerHour">Machine rate.</param>
    /// <param name="labourHours">Labour, h.</param>
    /// <param name="wagePerHour">Wage.</param>
    /// <param name="fixedCost">Film, gloves, wash fluid.</param>
    public static double Cost(double resinKg, double pricePerKg, double hours, double ratePerHour, double labourHours, double wagePerHour, double fixedCost) =>
        resinKg * pricePerKg + hours * ratePerHour + labourHours * wagePerHour + fixedCost;

    /// <summary>Cost of a set: resin drawn, time of all runs, one portion of labour, fixed cost a run.</summary>
    public static double Cost(double resinMl, double printS, int runs, ResinData resin, PrinterData printer) =>
        Cost(resinMl * resin.LiquidDensity * 1e-3, resin.PricePerKg, printS / 3600, printer.RatePerHour, printer.LabourHours, printer.WagePerHour, runs * printer.FixedPerRun);
}
