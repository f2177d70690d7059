using Stiltwright.Geometry;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Printing.Drainage;

/// <summary>
/// Chooses where to drill: one hole low in print position (it vents the suction of all later layers and drains), one for
/// air at the far end, more where asked. A place counts only if the whole bore goes straight through one wall into free
/// air, clear of contacts, joints, raft and platform; among those the low and hidden ones win.
/// </summary>
public static class DrainPlanner
{
    private const int Samples = 3000;
    private const int RingRays = 12;

    /// <summary>Free air wanted before a hole, as multiple of its diameter (a brush or a jet must reach it).</summary>
    private const double FreeDiameters = 2;

    /// <summary>
    /// The holes found, best first: the first is the drain, the second the air hole. Fewer than asked where the figure has
    /// no place for them; the caller reports that. Deterministic.
    /// </summary>
    public static IReadOnlyList<HoleSite> Plan(DrainRequest request, TriangleTree outerTree, TriangleTree cavityTree, CancellationToken cancel) =>
        Choose(request, Candidates(request, outerTree, cavityTree, cancel));

    /// <summary>
    /// The same from places found before by <see cref="Candidates"/>: they do not depend on how many holes are asked for, nor on the pools to drain.
    /// </summary>
    public static IReadOnlyList<HoleSite> Choose(DrainRequest request, IReadOnlyList<HoleSite> candidates)
    {
        if (candidates.Count == 0) return [];
        var box = request.Cavity.Bounds;
        var height = Math.Max(5, box.Size.Z);
        var chosen = new List<HoleSite>();

        Choose("drain", c => 3 * (c.Inner.Z - box.Min.Z) / height + Looks(c));
        foreach (var pool in request.AlsoDrain)
            Choose("drain", c => 3 * (c.Inner.DistanceTo(pool) / height) + Math.Max(0, c.Inner.Z - pool.Z) / height + Looks(c));
        Choose("air", c => 2 * (box.Max.Z - c.Inner.Z) / height + Looks(c));
        while (chosen.Count < request.Holes + request.AlsoDrain.Count)
            if (!Choose("drain", c => 2 * (c.Inner.Z - box.Min.Z) / height + Looks(c) - chosen.Min(h => h.Inner.DistanceTo(c.Inner)) / height)) break;
        return chosen;

        double Looks(HoleSite c) => 0.8 * c.Seen + 0.1 * Math.Max(0, c.WallMm / request.WallMm - 1);

        bool Choose(string purpose, Func<HoleSite, double> cost)
        {
            var free = candidates.Where(c => chosen.All(h => h.Outer.DistanceTo(c.Outer) > 1.5 * request.DiameterMm && h.Inner.DistanceTo(c.Inner) > 1.5 * request.DiameterMm));
            var best = free.OrderBy(cost).ThenBy(c => c.Outer.Z).ThenBy(c => c.Outer.X).ThenBy(c => c.Outer.Y).FirstOrDefault();
            if (best is null) return false;
            chosen.Add(best with { Purpose = purpose });
            return true;
        }
    }

    /// <summary>Every sampled place of the cavity's surface where the bore goes straight through one wall into free air, clear of all that is to be kept.</summary>
    public static IReadOnlyList<HoleSite> Candidates(DrainRequest request, TriangleTree outer, TriangleTree cavity, CancellationToken cancel)
    {
        var points = SurfaceSamples.Spread(request.Cavity, Samples);
        var found = new HoleSite?[points.Length];
        Parallel.For(0, points.Length, new ParallelOptions { CancellationToken = cancel, MaxDegreeOfParallelism = Environment.ProcessorCount }, i =>
        {
            var hits = new List<RayHit>();
            var q = points[i];
            var near = outer.Closest(q);
            if (near.Triangle < 0) return;
            var straight = (near.Point - q).Unit();
            found[i] = Site(request, outer, cavity, q, straight, hits);
        });
        var sites = new List<HoleSite>();
        foreach (var s in found)
            if (s is not null) sites.Add(s);
        return sites;
    }

    /// <summary>The bore along an axis through a point of the cavity's surface, if every part of it is sound.</summary>
    private static HoleSite? Site(DrainRequest r, TriangleTree outer, TriangleTree cavity, Vec3 q, Vec3 axis, List<RayHit> hits)
    {
        if (axis == Vec3.Zero) return null;
        var radius = r.DiameterMm / 2;
        var depth = 0.4 * radius + 0.3; // how far the tool reaches into the cavity beyond its surface on the axis
        var from = q - axis * depth;
        var u = axis.AnyPerpendicular();
        var v = axis.Cross(u);
        double inner = 0, leaves = 0, centreLeaves = 0, centreInner = 0;
        for (var k = 0; k <= RingRays; k++)
        {
            var start = from;
            if (k > 0)
            {
                var (s, c) = Math.SinCos(2 * Math.PI * k / RingRays);
                start += (u * c + v * s) * (radius * 1.02);
            }
            if (cavity.Winding(start) < 1) return null;
            cavity.RayHits(start, axis, hits);
            if (hits.Count == 0) return null;
            var inWall = hits[0].Distance;
            if (hits.Count > 1 && hits[1].Distance < inWall + 2 * r.WallMm) return null; // another part of the cavity behind a thin web
            outer.RayHits(start, axis, hits);
            if (hits.Count == 0) return null;
            var free = hits[0].Distance;
            if (free - inWall > 2.5 * r.WallMm + radius) return null;
            var clear = k == 0 ? FreeDiameters * r.DiameterMm + 2 : r.DiameterMm;
            if (hits.Count > 1 && hits[1].Distance < free + clear) return null;
            if (k == 0) { centreInner = inWall; centreLeaves = free; }
            inner = Math.Max(inner, inWall);
            leaves = Math.Max(leaves, free);
        }
        if (leaves - centreLeaves > radius * 1.2 || leaves - inner < 0) return null; // too steep or ragged a place
        var exit = from + axis * centreLeaves;
        var to = from + axis * (leaves + 0.3);
        if (exit.Z - radius < r.ClosedBelowMm + 0.5 || to.Z - radius < r.ClosedBelowMm + 0.5) return null;
        foreach (var (at, contactRadius) in r.Contacts)
            if (DistanceToLine(at, from, to) < radius + contactRadius + 1.0) return null;
        foreach (var (a, b, clearRadius) in r.KeepClear)
            if (DistanceToLine(exit, a, b) < radius + clearRadius) return null;
        foreach (var box in r.NoHoles)
            if (box.Holds(exit)) return null;
        return new HoleSite(exit, from + axis * centreInner, axis, r.DiameterMm, from, to, "", Seen(outer, exit, axis, r.Front, hits));
    }

    /// <summary>Share of the usual views (level, slightly from above, front counted double) from which a point of the surface shows.</summary>
    private static double Seen(TriangleTree outer, Vec3 p, Vec3 normal, Vec3? front, List<RayHit> hits)
    {
        double seen = 0, all = 0;
        for (var ring = 0; ring < 3; ring++)
        {
            var (sz, cz) = Math.SinCos((-5 + 20 * ring) * Math.PI / 180);
            for (var k = 0; k < 12; k++)
            {
                var (s, c) = Math.SinCos(2 * Math.PI * (k + 0.5 * ring) / 12);
                var d = new Vec3(c * cz, s * cz, sz);
                var weight = front is { } f && f.Dot(d) > 0.3 ? 2.0 : 1.0;
                all += weight;
                if (d.Dot(normal) < 0.1) continue;
                outer.RayHits(p + normal * 0.05, d, hits);
                if (hits.Count == 0) seen += weight;
            }
        }
        return seen / all;
    }

    private static double DistanceToLine(Vec3 p, Vec3 a, Vec3 b)
    {
        var d = b - a;
        var l = d.LengthSquared;
        var t = l > 0 ? Math.Clamp((p - a).Dot(d) / l, 0, 1) : 0;
        return p.DistanceTo(a + d * t);
    }
}
