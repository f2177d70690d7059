using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Growing;

/// <summary>What a new strut measures. Radii run to the corners of the polygon; mm.</summary>
/// <param name="ContactRadius">At the figure.</param>
/// <param name="ShaftRadius">Of the pillar, and of the tip where it begins.</param>
/// <param name="FootRadius">Of the foot's lower side.</param>
/// <param name="FootHeight">Height of the foot.</param>
/// <param name="TipLength">From the shaft to the contact.</param>
/// <param name="DepthMm">How far the tip reaches into the figure.</param>
/// <param name="Sides">Sides of the section polygon.</param>
public sealed record GrowthSizes(double ContactRadius, double ShaftRadius, double FootRadius, double FootHeight, double TipLength, double DepthMm, int Sides)
{
    /// <summary>
    /// The sizes of the struts that are there already: medians of their contacts, upright pillars and feet. Null where no strut
    /// has both a shaft and a contact, so that nothing says how thick a strut of this figure is.
    /// </summary>
    public static GrowthSizes? Like(IEnumerable<StrutSegment> struts)
    {
        var all = struts.Where(s => !s.Added).ToList();
        var tips = all.Where(s => s.Role == Role.Tip && s.Contact is not null && s.RadiusTo > 0 && s.RadiusTo < s.RadiusFrom).ToList();
        var shafts = all.Where(s => s.Role == Role.Pillar && s.Length > 2 * s.RadiusFrom).ToList();
        if (shafts.Count == 0) return null;
        var shaft = Median(shafts.Select(s => s.RadiusFrom));
        var feet = all.Where(s => s.Role == Role.Foot && s.RadiusFrom > s.RadiusTo).ToList();
        return new GrowthSizes(
            tips.Count > 0 ? Math.Min(shaft, Median(tips.Select(s => s.RadiusTo))) : 0.4 * shaft,
            shaft,
            feet.Count > 0 ? Math.Max(shaft, Median(feet.Select(s => s.RadiusFrom))) : 2.2 * shaft,
            feet.Count > 0 ? Median(feet.Select(s => s.Length)) : 2 * shaft,
            tips.Count > 0 ? Median(tips.Select(s => s.Length)) : 4 * shaft,
            tips.Count > 0 ? Math.Max(0.1, Median(tips.Select(s => s.Contact!.Value.DistanceTo(s.To)))) : 0.2 * shaft,
            shafts.Select(s => s.Sides).FirstOrDefault(n => n >= 6, 8));
    }

    /// <summary>All lengths times a factor.</summary>
    public GrowthSizes Scaled(double k) => this with
    {
        ContactRadius = ContactRadius * k,
        ShaftRadius = ShaftRadius * k,
        FootRadius = FootRadius * k,
        FootHeight = FootHeight * k,
        TipLength = TipLength * k,
        DepthMm = DepthMm * k,
    };

    /// <summary>Thicker by a factor, as long as before.</summary>
    public GrowthSizes Stouter(double k) => this with { ContactRadius = ContactRadius * k, ShaftRadius = ShaftRadius * k, FootRadius = FootRadius * k };

    private static double Median(IEnumerable<double> values)
    {
        var sorted = values.Order().ToArray();
        return sorted[sorted.Length / 2];
    }
}
