using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;

namespace Stiltwright.Printing.Drainage;

/// <summary>
/// Places of a cavity that begin on their own while it prints (the feet of a figure, say). Until it joins the others each of
/// them sucks like a cup of its own, so each wants a vent of its own at its lower end.
/// </summary>
public static class LowPockets
{
    /// <summary>A pocket that joins a lower one within this height is vented soon enough, mm.</summary>
    private const double LeastProminenceMm = 5;

    /// <summary>A pocket whose wall is smaller than this pulls too little to matter, mm2.</summary>
    private const double LeastBasinMm2 = 250;

    /// <summary>More holes than this are not drilled for pockets.</summary>
    private const int Most = 4;

    /// <summary>The lower ends of pockets besides the lowest of all, most prominent first.</summary>
    public static List<Vec3> Of(Mesh cavity) =>
        [.. PourPoints.Find(cavity, new Vec3(0, 0, -1), LeastProminenceMm).Skip(1).Where(p => p.BasinMm2 >= LeastBasinMm2).Take(Most).Select(p => p.At)];
}
