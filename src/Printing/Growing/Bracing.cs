using Stiltwright.Geometry;
using Stiltwright.Printing.Strength;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Growing;

/// <summary>Ties slender new pillars to standing neighbours by braces that rise at 45 degrees (they print without help).</summary>
internal static class Bracing
{
    /// <summary>A neighbour further away than this gives a brace that is slender itself, mm.</summary>
    private const double MostReachMm = 40;

    /// <summary>Radius of a brace as a share of the pillar's.</summary>
    private const double RadiusShare = 0.6;

    /// <summary>Adds the braces of one new strut: enough that no free length is above slenderness 100.</summary>
    public static int Add(GrowthScene scene, GrownStrut strut, List<StrutSegment> segments, List<StrutShell> shells, ref int chain, Lattice lattice)
    {
        var added = 0;
        foreach (var id in strut.Segments)
        {
            var s = segments[id];
            if (s.Role != Role.Pillar || Math.Abs(s.To.X - s.From.X) + Math.Abs(s.To.Y - s.From.Y) > 1e-6) continue; // upright ones
            // Radius of gyration of a round column: half its radius.
            var pieces = (int)Math.Ceiling(2 * s.Length / s.RadiusFrom / StrutCapacity.SlenderNote);
            for (var k = 1; k < pieces; k++)
            {
                var at = s.From + (s.To - s.From) * ((double)k / pieces);
                if (Neighbour(scene, segments, strut.Chain, at, RadiusShare * s.RadiusFrom, s.RadiusFrom) is not { } found) continue;
                var radius = Math.Min(RadiusShare * s.RadiusFrom, 0.9 * Math.Min(found.On.RadiusFrom, found.On.RadiusTo));
                var area = s.AreaShare;
                segments.Add(new StrutSegment
                {
                    Id = segments.Count,
                    Chain = chain++,
                    Role = Role.Brace,
                    From = found.At,
                    To = at,
                    RadiusFrom = radius,
                    RadiusTo = radius,
                    Sides = s.Sides,
                    AreaShare = area,
                    InertiaShare = s.InertiaShare,
                    Confidence = 1,
                    Shell = shells.Count,
                    FromHeldBy = EndHeldBy.Strut,
                    ToHeldBy = EndHeldBy.Strut,
                    FromJoins = [found.On.Id],
                    ToJoins = [id],
                    Added = true,
                });
                shells.Add(new StrutShell(StrutTube.Build(lattice, [found.At, at], [radius, radius], s.Sides), [segments.Count - 1], []));
                added++;
            }
        }
        return added;
    }

    /// <summary>The nearest pillar of another chain from whose axis 45 degrees lead up to a place, with that point of its axis.</summary>
    private static (StrutSegment On, Vec3 At)? Neighbour(GrowthScene scene, List<StrutSegment> segments, int chain, Vec3 at, double radius, double pillar)
    {
        (StrutSegment On, Vec3 At)? found = null;
        var best = MostReachMm;
        foreach (var s in segments)
        {
            if (s.Role != Role.Pillar || s.Chain == chain) continue;
            var axis = s.To - s.From;
            if (axis.Z < 0.9 * s.Length) continue; // nearly upright ones only
            // On an upright axis the point that lies as far below as aside; a second step follows its small lean.
            var away = 0.0;
            Vec3 p = default;
            var t = (at.Z - s.From.Z) / axis.Z;
            for (var i = 0; i < 3; i++)
            {
                p = s.From + axis * t;
                away = Math.Sqrt((p.X - at.X) * (p.X - at.X) + (p.Y - at.Y) * (p.Y - at.Y));
                t = (at.Z - away - s.From.Z) / axis.Z;
            }
            if (t is < 0.02 or > 0.98 || away >= best || away < 2 * (pillar + s.RadiusFrom)) continue;
            p = s.From + axis * t;
            if (!scene.Clear(p, at, radius) || NearTip(segments, p, at, radius)) continue;
            (best, found) = (away, (s, p));
        }
        return found;
    }

    private static bool NearTip(List<StrutSegment> segments, Vec3 a, Vec3 b, double radius)
    {
        foreach (var s in segments)
            if (s.Role == Role.Tip && Segments.Distance(a, b, s.From, s.To) < radius + s.RadiusFrom + GrowthScene.FromTipsMm) return true;
        return false;
    }
}
