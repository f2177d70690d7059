using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>
/// Struts that do not thin towards the figure: upright rods of one section all along. What tells them from columns of the figure is that
/// there are many, that they are more slender than any column, that they end on the figure's underside, and that each is as long as it
/// must be to get there: columns carry a roof and are of one length. On the platform they must stand in no order either: bars of a gate
/// or a cage under an arch are of many lengths, but stand in a row or a ring.
/// </summary>
internal static class Props
{
    /// <summary>So many must be alike.</summary>
    private const int LeastAlike = 8;

    /// <summary>So many lengths must differ by more than half a millimetre, and the longest must be longer than the shortest by this share.</summary>
    private const int LeastLengths = 4;
    private const double LengthStepMm = 0.5, LeastSpread = 1.15;

    /// <summary>Height over thickness; a column of a building has eight to twelve (common practice).</summary>
    private const double LeastSlender = 12;

    /// <summary>Greatest radius as a share of the scene's diagonal.</summary>
    private const double WidestShare = 0.0075;

    /// <summary>Radii of one section differ by no more than this.</summary>
    private const double SameRadius = 0.03;

    /// <summary>The surface over a prop looks down at least by this, and its foot stands upright (rise of the unit vectors).</summary>
    private const double Underside = -0.1, Upright = 0.998;

    /// <summary>All tubes of such rods: each stands on the ground and goes up in one section, at most with an end piece of the same.</summary>
    /// <param name="scene">The shells.</param>
    /// <param name="members">Tubes that form structures from ground to figure.</param>
    public static HashSet<int> Find(Scene scene, IReadOnlyCollection<int> members)
    {
        var parts = members.Select(m => scene.Parts[m]).Where(p => !p.Low && Uniform(p)).ToList();
        var rods = new List<(int[] Tubes, int Sides, double Radius, double Length)>();
        foreach (var foot in parts)
        {
            if (!StandsFree(scene, foot) || (foot.End(1) - foot.End(0)).Unit().Z <= Upright) continue;
            var end = parts.Find(p => p != foot && Alike(p, foot) && p.OnBulk[1] is not null && p.Joins[0].Exists(j => j.Other == foot.Index));
            var top = end ?? foot;
            // On the figure's underside, or on a slender part of it that was drawn like a tube.
            var under = top.OnBulk[1] is { } contact ? contact.Normal.Z < Underside : top.Joins[1].Exists(j => scene.Parts[j.Other] is { Tube: not null } o && !Alike(o, foot));
            if (under) rods.Add((end is null ? [foot.Index] : [foot.Index, end.Index], Sides(foot), foot.EndRadius(0), top.End(1).Z - foot.End(0).Z));
        }
        var found = new HashSet<int>();
        var orders = new Dictionary<(int, double, double), bool>();
        foreach (var family in rods.GroupBy(r => r.Sides))
            foreach (var first in family)
            {
                var alike = family.Where(r => Same(r.Radius, first.Radius)).ToList();
                if (first.Radius > WidestShare * scene.Diagonal || alike.Count < LeastAlike) continue;
                var lengths = alike.Select(r => r.Length).Order().ToList();
                var different = 1;
                for (int i = 1, last = 0; i < lengths.Count; i++)
                    if (lengths[i] > lengths[last] + LengthStepMm) (different, last) = (different + 1, i);
                if (different < LeastLengths || lengths[^1] < LeastSpread * lengths[0] || lengths[lengths.Count / 2] < LeastSlender * 2 * first.Radius) continue;
                if (scene.Parts[first.Tubes[0]].OnLow[0] < 0)
                {
                    var key = (family.Key, alike.Min(r => r.Radius), alike.Max(r => r.Radius));
                    if (!orders.TryGetValue(key, out var order))
                        orders[key] = order = PlanOrder.Ordered([.. alike.Select(r => scene.Parts[r.Tubes[0]].End(0)).Select(p => (p.X, p.Y))]);
                    if (order) continue;
                }
                found.UnionWith(first.Tubes);
            }
        return found;
    }

    /// <summary>The lower end stands on the platform, or on a raft on which the figure does not stand.</summary>
    private static bool StandsFree(Scene scene, ScenePart p) => p.OnLow[0] >= 0 ? !scene.Bases.Contains(p.OnLow[0]) : p.OnPlatform[0];

    /// <summary>One regular section all along.</summary>
    public static bool Uniform(ScenePart p) => p.Tube is { } tube && Sides(p) > 0 && tube.Pieces.All(g => g.Section.Sides == Sides(p) && Same(g.RadiusA, tube.RadiusA) && Same(g.RadiusB, tube.RadiusA));

    private static bool Alike(ScenePart a, ScenePart b) => Uniform(a) && Sides(a) == Sides(b) && Same(a.EndRadius(0), b.EndRadius(0));

    private static int Sides(ScenePart p) => p.Tube!.Pieces[0].Section.Sides;

    private static bool Same(double a, double b) => Math.Abs(a - b) <= SameRadius * b;
}
