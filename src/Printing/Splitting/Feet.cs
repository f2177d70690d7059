using Stiltwright.Geometry;
using Stiltwright.Printing.Growing;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Splitting;

/// <summary>Gives pillars that stand on the bare platform a foot: a pillar cut off has no more grip than its own section.</summary>
internal static class Feet
{
    /// <summary>Most lean of a pillar that a foot is put round.</summary>
    private const double LeastRise = 0.97;

    public static StrutGraph Add(StrutGraph graph, GrowthSizes sizes, Mesh figure, Box3 room, Lattice lattice)
    {
        var segments = graph.Segments.ToList();
        var shells = graph.Shells.ToList();
        Geometry.Spatial.TriangleTree? tree = null;
        for (var i = 0; i < graph.Segments.Count; i++)
        {
            var s = segments[i];
            if (!Takes(s, sizes)) continue;
            var k = s.RadiusFrom / sizes.ShaftRadius;
            double radius = sizes.FootRadius * k, height = sizes.FootHeight * k;
            var top = s.From + (s.To - s.From) * (height / (s.To.Z - s.From.Z));
            if (!Inside(s.From, radius, room)) continue;
            tree ??= Geometry.Spatial.TriangleTree.Build(figure);
            if (tree.ClosestToSegment(s.From, top, null, radius + GrowthScene.ClearanceMm).Found) continue;
            // Upright about its own axis, so that its lower side is flat on the platform; its neck holds the pillar's small lean.
            var up = s.From with { Z = height };
            var neck = 1.02 * s.RadiusFrom + top.DistanceTo(up);
            var foot = s with
            {
                Id = segments.Count,
                Role = Role.Foot,
                To = top,
                RadiusFrom = radius,
                RadiusTo = neck,
                Sides = sizes.Sides,
                Shell = shells.Count,
                AreaShare = sizes.Sides * Math.Sin(2 * Math.PI / sizes.Sides) / (2 * Math.PI),
                InertiaShare = sizes.Sides * Math.Sin(2 * Math.PI / sizes.Sides) / (2 * Math.PI) * (2 + Math.Cos(2 * Math.PI / sizes.Sides)) / 3,
                Confidence = 1,
                ToHeldBy = EndHeldBy.Strut,
                ToJoins = [i],
                Contact = null,
                ContactNormal = null,
                SourceId = -1,
                Added = true,
            };
            shells.Add(new StrutShell(StrutTube.Build(lattice, [s.From, up], [radius, neck], sizes.Sides), [foot.Id], []));
            segments.Add(foot with { To = up });
            segments[i] = s with { From = top, FromHeldBy = EndHeldBy.Strut, FromJoins = [foot.Id] };
        }
        return new StrutGraph(segments, shells);
    }

    /// <summary>True for a pillar that stands upright enough on the platform, and is long enough, for a foot.</summary>
    public static bool Takes(StrutSegment s, GrowthSizes sizes) =>
        s.Role == Role.Pillar && s.FromHeldBy == EndHeldBy.Platform && s.FromJoins.Count == 0 && (s.To - s.From).Unit().Z >= LeastRise
        && s.To.Z >= 1.5 * sizes.FootHeight * s.RadiusFrom / sizes.ShaftRadius;

    private static bool Inside(Vec3 p, double r, Box3 room) => p.X - r >= room.Min.X && p.X + r <= room.Max.X && p.Y - r >= room.Min.Y && p.Y + r <= room.Max.Y;
}
