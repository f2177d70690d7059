using Stiltwright.Geometry;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Printing.Struts;

/// <summary>A strut's end that comes out of the wall inside the figure.</summary>
/// <param name="Segment">The segment.</param>
/// <param name="At">Its end, mm.</param>
/// <param name="ThroughMm">How far it reaches beyond the cavity's surface at least, mm; 0 where it just touches it.</param>
public sealed record TipThrough(int Segment, Vec3 At, double ThroughMm);

/// <summary>
/// Tells which struts come through a hollow figure's wall: there the resin of the wall ends at the strut, and when the strut is
/// taken off a hole may stay.
/// </summary>
public static class TipsInWalls
{
    private const double OnCavityMm = 0.05;

    /// <summary>The ends that touch a cavity's surface or reach into the cavity, by segment.</summary>
    /// <param name="struts">The struts.</param>
    /// <param name="cavities">Surfaces of the cavities, in the coordinates of the struts.</param>
    public static IReadOnlyList<TipThrough> Find(StrutGraph struts, IReadOnlyList<Mesh> cavities)
    {
        ArgumentNullException.ThrowIfNull(struts);
        ArgumentNullException.ThrowIfNull(cavities);
        var list = new List<TipThrough>();
        foreach (var cavity in cavities)
        {
            if (cavity.TriangleCount == 0) continue;
            var tree = TriangleTree.Build(cavity);
            foreach (var g in struts.Segments)
            {
                if (g.Role == Role.Brace || g.Contact is not { } contact) continue;
                // What lies in the wall: from the contact to the end that the figure holds.
                var (end, radius) = g.ToHeldBy == EndHeldBy.Figure ? (g.To, g.RadiusTo) : (g.From, g.RadiusFrom);
                if (tree.Closest(contact, OnCavityMm).Found) continue; // a strut inside the cavity, which ends there
                var reach = radius + contact.DistanceTo(end);
                if (!cavity.Bounds.Grown(reach).Holds(end)) continue;
                var near = tree.ClosestToSegment(contact, end, null, radius).Distance;
                if (near < radius) list.Add(new TipThrough(g.Id, end, radius - near));
            }
        }
        return [.. list.OrderBy(t => t.Segment)];
    }
}
