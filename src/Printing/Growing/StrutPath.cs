using Stiltwright.Geometry;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Growing;

/// <summary>A way from the ground to a contact: foot, upright pillar, at most one leaning piece, tip; or a single cone or pin. mm.</summary>
/// <param name="Points">
/// Axis from below: foot's lower side, foot's upper side, (bend,) tip's lower end, end inside the figure. A branch has no foot; a
/// strut that stands on the figure has its lower end there in its place.
/// </param>
/// <param name="HeldBy">What it stands on.</param>
/// <param name="OnSegment">The strut segment it branches from, or -1.</param>
/// <param name="Sizes">Its sizes.</param>
internal sealed record StrutPath(IReadOnlyList<Vec3> Points, EndHeldBy HeldBy, int OnSegment, GrowthSizes Sizes)
{
    public bool Branch => HeldBy == EndHeldBy.Strut;

    /// <summary>Where it stands on the figure, with the figure's normal there; null for raft, platform and branches.</summary>
    public (Vec3 At, Vec3 Normal)? Base { get; init; }

    /// <summary>Radius there.</summary>
    public double BaseRadius { get; init; }
}

/// <summary>
/// Searches the cheapest clear path for one contact: upright if it can be, else with one lean of at most 45 degrees from the
/// vertical; the tip along the figure's normal as far as 45 degrees allow. Where no way leads to the ground it branches from a
/// pillar that stands or, as the last resort (inside a cavity the only one), stands on the figure. Thinner struts are tried where the full size finds no way. The same scene gives the same path.
/// </summary>
internal sealed partial class PathFinder(GrowthScene scene, IReadOnlyList<StrutSegment> struts, StrutBoxes boxes, GrowthSizes full)
{
    /// <summary>Up to this height above its ground a contact may get a plain cone, mm.</summary>
    private const double StubMm = 15;

    /// <summary>Before struts thinner than this share of the figure's own are tried.</summary>
    private const double ThinShare = 0.6;

    /// <summary>Least rise of a surface that a strut may stand on: its normal leans at most 50 degrees from upright.</summary>
    private const double LeastRise = 0.64;

    private const double MostLean = Math.PI / 4;

    /// <summary>A column above this ratio of length to radius of gyration is not made thinner than the figure's own struts.</summary>
    private const double MostSlenderness = 150;

    /// <summary>Thinnest new pillar, radius in mm.</summary>
    private const double LeastShaftMm = 0.5;

    /// <summary>Thinnest new contact, radius in mm.</summary>
    private const double LeastContactMm = 0.2;

    /// <summary>Shares of the full radii and of the full tip length, in the order in which they are tried.</summary>
    private static readonly (double Radius, double Tip)[] Shares = [(1, 1), (0.8, 0.6), (0.6, 0.6), (0.45, 0.4), (0.35, 0.25), (0.2, 0.15), (0.12, 0.1)];
    private static readonly double[] Asides = [1.5, 3, 5, 8, 12, 17, 24, 33, 45];
    private static readonly double[] Tilts = [20, 32, 44];
    private const int Leans = 48; // directions of a lean
    private static readonly (Vec3 Direction, double Aside, double Cost, int Way)[] Shapes = MakeShapes();

    /// <summary>The path, or what was in the way.</summary>
    public (StrutPath? Path, string Why) Find(GrowthSpot spot)
    {
        var tips = 0;
        var tried = false;
        foreach (var (share, tip) in Shares)
        {
            if (share < ThinShare && !tried && Stub(spot) is { } stub) return (stub, "");
            tried |= share < ThinShare;
            var given = spot.Sizes ?? full;
            var wanted = given.Scaled(share);
            var sizes = wanted with { ShaftRadius = Math.Max(wanted.ShaftRadius, LeastShaftMm), ContactRadius = Math.Max(wanted.ContactRadius, LeastContactMm) };
            // Half of a tip must reach as far from the figure as its own lower end and the clearance ask.
            sizes = sizes with { TipLength = Math.Max(given.TipLength * tip, 2.4 * (sizes.ShaftRadius + GrowthScene.ClearanceMm)) };
            var open = Tips(spot, sizes);
            tips += open.Count;
            if (ToGround(spot, sizes, open, share < 1) is { } path) return (path, "");
            if (ToStrut(spot, sizes, open) is { } branch) return (branch, "");
            if (ToFigure(spot, sizes, open) is { } stilt) return (stilt, "");
        }
        if (Pin(spot) is { } pin) return (pin, "");
        return (null, tips == 0
            ? "the figure leaves no room for a tip there"
            : "the figure or other tips stand in every way down to raft, platform or a neighbouring strut");
    }

    /// <summary>
    /// Low above raft or platform there is no room for foot, pillar and tip, and a thin strut would be loaded as hard as a stout
    /// one: a plain upright cone, as stout at the figure as the figure's own contacts. Its lower half keeps clear, the rest meets the figure only near the contact; it is cut off, not snapped.
    /// </summary>
    private StrutPath? Stub(GrowthSpot spot)
    {
        var sizes = spot.Sizes ?? full;
        var down = new Vec3(0, 0, -1);
        foreach (var share in (ReadOnlySpan<double>)[1, 0.75, 0.5])
        {
            var radius = Math.Max(LeastContactMm, share * sizes.ContactRadius);
            var foot = 2 * radius;
            var (z, by) = scene.Ground(spot.At.X, spot.At.Y, foot);
            var height = spot.At.Z - z;
            if (height <= 0 || height > StubMm || spot.Normal.Z > -0.5) return null;
            var root = spot.At with { Z = z };
            Vec3 Up(double h) => root with { Z = z + h };
            if (!scene.Clear(root, Up(Math.Max(0, 0.5 * height - foot)), foot) || scene.Figure.AnyWithin(Up(0.5 * height), Up(Math.Max(0.5 * height, height - 2 * foot)), foot)) continue;
            if (Crossings(root, spot.At, foot) < 0) continue;
            return new StrutPath([root, spot.At - down * Depth(spot.At, down, sizes.DepthMm)], by, -1, sizes with { ContactRadius = radius, ShaftRadius = radius, FootRadius = foot });
        }
        return null;
    }

    /// <summary>Directions from the contact for which the tip is clear, with the angle to the best one.</summary>
    private List<(Vec3 Direction, double Angle)> Tips(GrowthSpot spot, GrowthSizes sizes)
    {
        var best = spot.TipAxis is { Z: < 0 } given ? given.Unit() : Clamped(spot.Normal);
        var found = new List<(Vec3 Direction, double Angle)>();
        void Try(Vec3 d)
        {
            if (-d.Z < Math.Cos(MostLean) - 1e-9 && spot.TipAxis is null || d.Dot(spot.Normal) < 0.2) return;
            if (TipClear(spot.At, d, sizes)) found.Add((d, Math.Acos(Math.Clamp(d.Dot(best), -1, 1))));
        }
        Try(best);
        Try(new Vec3(0, 0, -1));
        foreach (var (tilt, around) in (ReadOnlySpan<(double, int)>)[(20, 8), (42, 12)])
            for (var k = 0; k < around; k++)
            {
                var (s, c) = Math.SinCos(2 * Math.PI * k / around);
                var (h, v) = Math.SinCos(tilt * Math.PI / 180);
                Try(new Vec3(h * c, h * s, -v));
            }
        return [.. found.OrderBy(f => f.Angle)];
    }

    /// <summary>The lower half keeps the full clearance; the upper one must not meet another place of the figure.</summary>
    private bool TipClear(Vec3 at, Vec3 d, GrowthSizes sizes)
    {
        double l = sizes.TipLength, half = (sizes.ContactRadius + sizes.ShaftRadius) / 2;
        if (at.Z + d.Z * l < sizes.ShaftRadius) return false;
        return !scene.Figure.AnyWithin(at + d * (0.15 * l), at + d * (0.5 * l), 0.05 * l)
            && scene.Clear(at + d * (0.5 * l), at + d * (0.75 * l), (half + sizes.ShaftRadius) / 2)
            && scene.Clear(at + d * (0.75 * l), at + d * l, sizes.ShaftRadius);
    }

    private StrutPath? ToGround(GrowthSpot spot, GrowthSizes sizes, List<(Vec3 Direction, double Angle)> tips, bool thinner) =>
        Cheapest(tips, (d, tipCost, best) =>
        {
            StrutPath? found = null;
            var b = spot.At + d * sizes.TipLength;
            Span<double> open = stackalloc double[Leans + 1];
            open.Fill(double.PositiveInfinity);
            foreach (var (lean, aside, cost, way) in Shapes)
            {
                if (tipCost + cost >= best) break;
                if (aside >= open[way]) continue;
                var k = aside == 0 ? b : b + lean * (aside / Math.Sqrt(lean.X * lean.X + lean.Y * lean.Y));
                if (k.Z < sizes.FootHeight + sizes.ShaftRadius || !scene.InRoom(k, sizes.FootRadius)) continue;
                if (aside > 0 && !scene.Clear(k, b, sizes.ShaftRadius))
                {
                    open[way] = aside; // what is in the way is in that of all farther ones too
                    continue;
                }
                var (z, by) = scene.Ground(k.X, k.Y, sizes.FootRadius);
                var foot = new Vec3(k.X, k.Y, z);
                var ankle = foot with { Z = z + sizes.FootHeight };
                if (k.Z < ankle.Z + sizes.ShaftRadius) continue;
                if (thinner && 2 * (b.Z - z) / sizes.ShaftRadius > MostSlenderness) continue;
                if (!scene.Clear(foot, ankle, sizes.FootRadius) || !scene.Clear(ankle, k, sizes.ShaftRadius)) continue;
                var crossings = Crossings(ankle, k, sizes.ShaftRadius);
                if (crossings >= 0 && aside > 0) crossings = Crossings(k, b, sizes.ShaftRadius) is >= 0 and var more ? crossings + more : -1;
                if (crossings >= 0) crossings = Crossings(b, spot.At, sizes.ShaftRadius / 2) is >= 0 and var more ? crossings + more : -1;
                if (crossings < 0 || tipCost + cost + 2 * crossings >= best) continue;
                best = tipCost + cost + 2 * crossings;
                var end = spot.At - d * Depth(spot.At, d, sizes.DepthMm);
                found = new StrutPath(aside > 0 ? [foot, ankle, k, b, end] : [foot, ankle, b, end], by, -1, sizes);
            }
            return (found, best);
        });

    /// <summary>
    /// The cheapest path over all tips. Most spots find it with the first; where they do not, the others are searched side by
    /// side, and of equal ones that of the tip nearest to the best direction is taken, so that the answer is always the same.
    /// </summary>
    private static StrutPath? Cheapest(List<(Vec3 Direction, double Angle)> tips, Func<Vec3, double, double, (StrutPath? Path, double Cost)> search)
    {
        if (tips.Count == 0) return null;
        var first = search(tips[0].Direction, 10 * tips[0].Angle, double.PositiveInfinity);
        var others = new (StrutPath? Path, double Cost)[tips.Count];
        others[0] = first;
        Parallel.For(1, tips.Count, i =>
        {
            if (10 * tips[i].Angle < first.Cost) others[i] = search(tips[i].Direction, 10 * tips[i].Angle, first.Cost);
        });
        var best = first;
        foreach (var o in others)
            if (o.Path is not null && o.Cost < best.Cost) best = o;
        return best.Path;
    }

    /// <summary>Down to the figure's own upper side: upright or with one lean, as stout as the slope there lets it.</summary>
    private StrutPath? ToFigure(GrowthSpot spot, GrowthSizes sizes, List<(Vec3 Direction, double Angle)> tips) =>
        Cheapest(tips, (d, tipCost, best) =>
        {
            StrutPath? found = null;
            var hits = new List<Geometry.Spatial.RayHit>();
            var down = new Vec3(0, 0, -1);
            var l = sizes.TipLength;
            var b = spot.At + d * l;
            Span<double> open = stackalloc double[Leans + 1];
            open.Fill(double.PositiveInfinity);
            foreach (var (lean, aside, cost, way) in Shapes)
            {
                if (tipCost + cost >= best) break;
                if (aside >= open[way]) continue;
                var k = aside == 0 ? b : b + lean * (aside / Math.Sqrt(lean.X * lean.X + lean.Y * lean.Y));
                if (aside > 0 && !scene.Clear(k, b, sizes.ShaftRadius))
                {
                    open[way] = aside;
                    continue;
                }
                hits.Clear();
                scene.Figure.RayHits(k, down, 60 * sizes.ShaftRadius, hits);
                if (hits.Count == 0) continue;
                var hit = hits.MinBy(h => h.Distance);
                var normal = scene.Figure.Mesh.AreaVector(hit.Triangle).Unit();
                if (!hit.Entering || normal.Z < LeastRise || hit.Distance < l + sizes.ShaftRadius) continue;
                var at = k with { Z = k.Z - hit.Distance };
                var depth = Depth(at, -down, Math.Max(sizes.DepthMm, 0.5 * sizes.ShaftRadius));
                // On a slope the lower end sinks in on one side only: it is made narrower, so that about half of it still does.
                var slope = Math.Sqrt(1 - normal.Z * normal.Z) / normal.Z;
                var radius = Math.Clamp(2 * depth / Math.Max(slope, 1e-3), 0.8 * sizes.ShaftRadius, 1.2 * sizes.ShaftRadius);
                var price = tipCost + cost + 6 * (1 - radius / (1.2 * sizes.ShaftRadius));
                if (price >= best) continue;
                Vec3 Above(double h) => at with { Z = at.Z + h };
                if (scene.Figure.AnyWithin(Above(0.15 * l), Above(0.5 * l), 0.05 * l) || !scene.Clear(Above(0.5 * l + radius), k, sizes.ShaftRadius)) continue;
                if (Crossings(at, k, sizes.ShaftRadius) != 0 || Crossings(k, b, sizes.ShaftRadius) != 0 || Crossings(b, spot.At, sizes.ShaftRadius / 2) != 0) continue;
                best = price;
                Vec3 root = at + down * depth, end = spot.At - d * Depth(spot.At, d, sizes.DepthMm);
                found = new StrutPath(aside > 0 ? [root, Above(l), k, b, end] : [root, Above(l), b, end], EndHeldBy.Figure, -1, sizes) { Base = (at, normal), BaseRadius = radius };
            }
            return (found, best);
        });

    /// <summary>A branch that leans at most 45 degrees and begins on the axis of a pillar thicker than itself.</summary>
    private StrutPath? ToStrut(GrowthSpot spot, GrowthSizes sizes, List<(Vec3 Direction, double Angle)> tips)
    {
        StrutPath? found = null;
        var best = double.PositiveInfinity;
        foreach (var (d, angle) in tips)
        {
            var b = spot.At + d * sizes.TipLength;
            foreach (var s in struts)
            {
                if (s.Role != Role.Pillar || s.Confidence < 0.5 || s.Added) continue; // a new one carries its own contact only
                var thick = Math.Min(s.RadiusFrom, s.RadiusTo);
                var radius = Math.Min(sizes.ShaftRadius, 0.7 * thick);
                if (radius < LeastShaftMm) continue;
                var axis = s.To - s.From;
                // The highest point of the pillar that 45 degrees still reach; halving is enough, since the angle falls downwards.
                double low = 0, high = 1;
                bool Steep(double t) => b - (s.From + axis * t) is var w && w.Z > 0 && w.Z >= Math.Sqrt(w.X * w.X + w.Y * w.Y);
                if (axis.Z <= 0 || !Steep(0)) continue;
                if (Steep(1)) low = 1;
                else
                    for (var i = 0; i < 30; i++) { var m = (low + high) / 2; if (Steep(m)) low = m; else high = m; }
                var at = s.From + axis * Math.Min(low, 1 - thick / s.Length);
                if (low <= 0 || at.Z < s.From.Z) continue;
                var length = at.DistanceTo(b);
                var cost = 10 * angle + length;
                if (length < 2 * thick || length > 30 * radius || cost >= best) continue;
                if (!scene.Clear(at, b, radius)) continue;
                var off = LeavesPillar(at, b, thick / length);
                if (Crossings(off, b, radius) is < 0 || Crossings(b, spot.At, sizes.ShaftRadius / 2) is < 0) continue;
                best = cost;
                var thin = sizes with { ShaftRadius = radius, ContactRadius = Math.Min(sizes.ContactRadius, radius) };
                found = new StrutPath([at, b, spot.At - d * Depth(spot.At, d, sizes.DepthMm)], EndHeldBy.Strut, s.Id, thin);
            }
        }
        return found;
    }

    private int Crossings(Vec3 a, Vec3 b, double radius) => boxes.Crossings(a, b, radius);

    /// <summary>Into the figure, but not through a thin place: at most 40 % of what is there.</summary>
    private double Depth(Vec3 at, Vec3 d, double wanted)
    {
        var hits = new List<Geometry.Spatial.RayHit>();
        scene.Figure.RayHits(at + d * 0.01, -d, 4 * wanted + 1, hits);
        var through = hits.Where(h => !h.Entering && h.Distance > 0.02).Select(h => h.Distance).DefaultIfEmpty(double.PositiveInfinity).Min();
        return Math.Min(wanted, Math.Max(0.05, 0.4 * through));
    }

    /// <summary>A direction at most 45 degrees from straight down, as near to the given one as can be.</summary>
    private static Vec3 Clamped(Vec3 normal)
    {
        var flat = Math.Sqrt(normal.X * normal.X + normal.Y * normal.Y);
        if (normal.Z < 0 && flat <= -normal.Z) return normal.Unit();
        return flat < 1e-9 ? new Vec3(0, 0, -1) : new Vec3(normal.X / flat, normal.Y / flat, -1).Unit();
    }

    // Upright first, then leans by their cost; the same lean to different lengths has the same number.
    private static (Vec3 Direction, double Aside, double Cost, int Way)[] MakeShapes()
    {
        var list = new List<(Vec3 Direction, double Aside, double Cost, int Way)> { (new Vec3(0, 0, -1), 0, 0, Leans) };
        var around = Leans / Tilts.Length;
        foreach (var aside in Asides)
            for (var way = 0; way < Leans; way++)
            {
                var tilt = Tilts[way / around];
                var (s, c) = Math.SinCos(2 * Math.PI * (way % around) / around);
                var (h, v) = Math.SinCos(tilt * Math.PI / 180);
                list.Add((new Vec3(h * c, h * s, -v), aside, 2 + aside + 0.05 * tilt, way));
            }
        return [.. list.OrderBy(x => x.Cost)];
    }
}
