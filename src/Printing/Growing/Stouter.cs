using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Growing;

/// <summary>Makes new struts thicker than the figure's own where they would be used harder than those.</summary>
public static class Stouter
{
    /// <summary>Most times as thick as the figure's own struts.</summary>
    private const double Most = 2;

    /// <summary>The hardest twentieth of the figure's own struts is no measure.</summary>
    private const double Share = 0.95;

    /// <summary>
    /// Looks at the loads with the new struts as they grew, at the layers that tell most; for each that is used harder than 95 % of the figure's own segments of
    /// the same role, the spot with sizes that bring it there (strength in pull grows with the square of the radius, in
    /// bending with its cube: the square is the safe one). Null where none is.
    /// </summary>
    public static Dictionary<GrowthSpot, GrowthSpot>? Spots(LoadScene scene, GrowthResult grown, GrowthSizes sizes, CancellationToken cancel)
    {
        ArgumentNullException.ThrowIfNull(grown);
        ArgumentNullException.ThrowIfNull(sizes);
        var loads = LoadSolver.Glance(scene, cancel).Segments;
        var segments = grown.Graph.Segments;
        double Limit(Role role)
        {
            var own = segments.Where(s => s.Role == role && !s.Added && loads[s.Id].Use > 0).Select(s => loads[s.Id].Use).Order().ToArray();
            return own.Length < 10 ? double.PositiveInfinity : own[(int)(Share * (own.Length - 1))];
        }
        var limits = Enum.GetValues<Role>().ToDictionary(r => r, Limit);
        // Feet and pillars are one shaft.
        limits[Role.Foot] = Math.Min(limits[Role.Foot], limits[Role.Pillar]);
        var result = new Dictionary<GrowthSpot, GrowthSpot>();
        foreach (var g in grown.Grown)
        {
            var over = g.Segments.Max(i => loads[i].Use / limits[segments[i].Role]);
            if (over > 1) result[g.Spot] = g.Spot with { Sizes = (g.Spot.Sizes ?? sizes).Stouter(Math.Min(Most, Math.Sqrt(over))) };
        }
        return result.Count == 0 ? null : result;
    }
}
