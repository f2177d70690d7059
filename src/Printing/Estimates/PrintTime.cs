using Stiltwright.Printing.Resin;

namespace Stiltwright.Printing.Estimates;

/// <summary>
/// Time of a run on a masked screen: it depends on the height alone (physics table 6). Transition layers fall evenly from
/// the base exposure to the normal one. mm, s.
/// </summary>
public static class PrintTime
{
    /// <summary>Layers of a height: ceil(H/l), guarded against rounding.</summary>
    /// <exception cref="ArgumentOutOfRangeException">The layer is not above zero.</exception>
    public static int Layers(double heightMm, double layerMm)
    {
        if (!(layerMm > 0)) throw new ArgumentOutOfRangeException(nameof(layerMm), layerMm, "A layer is thicker than zero.");
        return (int)Math.Max(0, Math.Ceiling(heightMm / layerMm - 1e-9));
    }

    /// <summary>Lift, retract and waits of one layer, s.</summary>
    public static double MoveS(PrinterData printer) => printer.LiftMm / printer.LiftSpeedMmS + printer.LiftMm / printer.RetractSpeedMmS + printer.WaitS;

    /// <summary>Exposure of a layer (numbered from 1), s.</summary>
    public static double ExposureS(int layer, ResinData resin)
    {
        if (layer <= resin.BaseLayers) return resin.BaseExposureS;
        var step = layer - resin.BaseLayers;
        return step > resin.TransitionLayers
            ? resin.ExposureS
            : resin.BaseExposureS + (resin.ExposureS - resin.BaseExposureS) * step / (resin.TransitionLayers + 1);
    }

    /// <summary>Time until a number of layers is done, start and stop left out, s.</summary>
    public static double AfterLayersS(int layers, ResinData resin, PrinterData printer)
    {
        double exposure = 0;
        var special = Math.Min(layers, resin.BaseLayers + resin.TransitionLayers);
        for (var k = 1; k <= special; k++) exposure += ExposureS(k, resin);
        exposure += (layers - special) * resin.ExposureS;
        return exposure + layers * MoveS(printer);
    }

    /// <summary>Time of a whole run, s.</summary>
    public static double RunS(int layers, ResinData resin, PrinterData printer) => AfterLayersS(layers, resin, printer) + printer.StartStopS;
}
