using Stiltwright.Geometry;

namespace Stiltwright.Samples;

/// <summary>
/// Puts struts under a leaning figure the way a print workshop does: a tip at every lowest spot and over every flat
/// underside, a pillar down to the raft with a foot, braces between neighbours, a chamfered raft. Every segment is a shell
/// of its own, as support programs of the trade commonly write them. A pillar that finds something below its contact leans
/// aside by <paramref name="farthest"/> mm at most; contacts lie <paramref name="spacing"/> mm apart or more.
/// </summary>
internal sealed class Supporter(Func<Vec3, double> distance, Scene scene, double spacing, double farthest)
{
    private const double RaftMm = 1.5, TipLength = 2.6, TipRadius = 0.24, Sunk = 0.12, FootHeight = 1.3;
    private readonly List<(Vec3 Foot, Vec3 Top, double Radius)> _pillars = [];
    private readonly List<Vec3> _contacts = [];

    public int Struts => _pillars.Count;

    public void Support(IReadOnlyList<Vec3> points, IReadOnlyList<int> corners)
    {
        var refused = new List<Vec3>(); // no way down from there: neither from its close neighbours
        foreach (var (at, must) in Wanted(points, corners))
        {
            if (!_contacts.TrueForAll(c => c.DistanceTo(at) > (must ? 0.8 : spacing)) || (!must && !refused.TrueForAll(r => r.DistanceTo(at) > 1.6))) continue;
            (Stand(at, must) ? _contacts : refused).Add(at);
        }
        Brace();
        var feet = _pillars.Select(p => (p.Foot.X, p.Foot.Y)).ToList();
        scene.Plate(Outline(feet, 4), RaftMm, 1.1);
    }

    /// <summary>Lowest spots first (they must be held), then undersides from below upwards.</summary>
    private static List<(Vec3 At, bool Must)> Wanted(IReadOnlyList<Vec3> points, IReadOnlyList<int> corners)
    {
        var lowest = new bool[points.Count];
        Array.Fill(lowest, true);
        for (var t = 0; t < corners.Count; t += 3)
            for (var k = 0; k < 3; k++)
            {
                int a = corners[t + k], b = corners[t + (k + 1) % 3];
                if (points[a].Z > points[b].Z || (points[a].Z == points[b].Z && a > b)) lowest[a] = false;
                else lowest[b] = false;
            }
        var wanted = new List<(Vec3 At, bool Must)>();
        for (var v = 0; v < points.Count; v++)
            if (lowest[v]) wanted.Add((points[v], true));
        var below = new List<(Vec3 At, bool Must)>();
        for (var t = 0; t < corners.Count; t += 3)
        {
            Vec3 a = points[corners[t]], b = points[corners[t + 1]], c = points[corners[t + 2]];
            if ((b - a).Cross(c - a).Unit().Z < -0.62) below.Add(((a + b + c) / 3, false));
        }
        wanted.Sort((p, q) => p.At.Z.CompareTo(q.At.Z));
        below.Sort((p, q) => p.At.Z.CompareTo(q.At.Z));
        return [.. wanted, .. below];
    }

    private Vec3 Normal(Vec3 p)
    {
        const double e = 0.05;
        return new Vec3(
            distance(p + new Vec3(e, 0, 0)) - distance(p - new Vec3(e, 0, 0)),
            distance(p + new Vec3(0, e, 0)) - distance(p - new Vec3(0, e, 0)),
            distance(p + new Vec3(0, 0, e)) - distance(p - new Vec3(0, 0, e))).Unit();
    }

    private bool Stand(Vec3 at, bool must)
    {
        var n = Normal(at);
        var flat = new Vec3(n.X, n.Y, 0);
        var down = n.Z < -0.75 ? n : (flat.Unit() * 0.66 + new Vec3(0, 0, -0.75)).Unit();
        var radius = at.Z > 45 ? 0.72 : at.Z > 20 ? 0.62 : 0.54;
        foreach (var direction in must ? (Vec3[])[down, new Vec3(0, 0, -1)] : [down])
        {
            var joint = at + direction * TipLength;
            if (joint.Z < RaftMm + FootHeight + 0.6 || !Clear(at + direction * 0.9, joint, radius * 0.7)) continue;
            if (Ways(joint, radius).FirstOrDefault(w => Free(w[^1])) is { } way)
            {
                Build(at, direction, way, radius);
                return true;
            }
        }
        return must && StandOnFigure(at, radius);
    }

    /// <summary>Ways from a joint down to the raft: straight, or aside first.</summary>
    private IEnumerable<Vec3[]> Ways(Vec3 joint, double radius)
    {
        var foot = new Vec3(joint.X, joint.Y, RaftMm);
        if (Clear(joint, foot, radius + 0.45)) yield return [joint, foot];
        for (var reach = 2.5; reach <= farthest; reach += 1.5)
            for (var k = 0; k < 16; k++)
            {
                var (s, c) = Math.SinCos(2 * Math.PI * k / 16);
                var bend = joint + new Vec3(c * reach, s * reach, -reach * 1.1);
                if (bend.Z < RaftMm + FootHeight + 1) continue;
                foot = new Vec3(bend.X, bend.Y, RaftMm);
                if (Clear(joint, bend, radius + 0.4) && Clear(bend, foot, radius + 0.45)) yield return [joint, bend, foot];
            }
    }

    private bool Free(Vec3 foot) => !_pillars.Any(p => new Vec3(p.Foot.X - foot.X, p.Foot.Y - foot.Y, 0).Length < 2.7);

    private void Build(Vec3 at, Vec3 down, Vec3[] way, double radius)
    {
        var foot = way[^1];
        scene.Frustum(way[0], at - down * Sunk, radius, TipRadius, 8);
        for (var i = 0; i + 1 < way.Length; i++)
        {
            scene.Ball(way[i], radius * 1.04, 10);
            if (i + 2 < way.Length) scene.Frustum(way[i + 1], way[i], radius, radius, 8);
        }
        scene.Frustum(foot + new Vec3(0, 0, FootHeight - 0.1), way[^2], radius * 1.12, radius, 8);
        scene.Frustum(foot - new Vec3(0, 0, 0.3), foot + new Vec3(0, 0, FootHeight), radius * 2.6, radius * 1.12, 12);
        _pillars.Add((foot, way[^2], radius));
    }

    /// <summary>Where no way leads to the raft, a short strut with two tips stands on the figure itself.</summary>
    private bool StandOnFigure(Vec3 at, double radius)
    {
        var floor = at - new Vec3(0, 0, 0.6);
        while (distance(floor) > 0)
        {
            floor -= new Vec3(0, 0, 0.1);
            if (floor.Z < RaftMm + FootHeight + 1) return false;
        }
        var free = at.Z - floor.Z;
        if (free is < 2.2 or > 30) return false;
        var tip = Math.Min(TipLength, free * 0.4);
        Vec3 upper = at - new Vec3(0, 0, tip), lower = floor + new Vec3(0, 0, tip);
        if (!Clear(lower, upper, radius * 0.8)) return false;
        scene.Frustum(upper, at + new Vec3(0, 0, Sunk), radius, TipRadius, 8);
        scene.Frustum(lower, upper, radius, radius, 8);
        scene.Frustum(floor - new Vec3(0, 0, Sunk), lower, TipRadius, radius, 8);
        return true;
    }

    private bool Clear(Vec3 a, Vec3 b, double room)
    {
        var steps = (int)Math.Ceiling(a.DistanceTo(b) / 0.4);
        for (var i = 0; i <= steps; i++)
            if (distance(a + (b - a) * ((double)i / steps)) < room) return false;
        return true;
    }

    private void Brace()
    {
        for (var i = 0; i < _pillars.Count; i++)
        {
            var near = Enumerable.Range(0, _pillars.Count).Where(j => j > i).Select(j => (j, D: new Vec3(_pillars[i].Foot.X - _pillars[j].Foot.X, _pillars[i].Foot.Y - _pillars[j].Foot.Y, 0).Length))
                .Where(x => x.D is > 2.2 and < 9.5).OrderBy(x => x.D).Take(3);
            foreach (var (j, d) in near)
            {
                var top = Math.Min(_pillars[i].Top.Z, _pillars[j].Top.Z) - 0.8;
                var flip = ((i + j) & 1) == 0;
                for (var z = RaftMm + 3.0; z + d <= top; z += Math.Max(d, 4) + 2.5, flip = !flip)
                {
                    var (low, high) = flip ? (_pillars[i].Foot, _pillars[j].Foot) : (_pillars[j].Foot, _pillars[i].Foot);
                    Vec3 from = low with { Z = z }, to = high with { Z = z + d };
                    if (Clear(from, to, 0.75)) scene.Frustum(from, to, 0.36, 0.36, 6);
                }
            }
        }
    }

    /// <summary>Convex outline round the feet, grown by a margin and rounded by sampling circles.</summary>
    private static List<(double X, double Y)> Outline(List<(double X, double Y)> feet, double margin)
    {
        var points = feet.SelectMany(f => Enumerable.Range(0, 16).Select(k => (X: f.X + margin * Math.Cos(k * Math.PI / 8), Y: f.Y + margin * Math.Sin(k * Math.PI / 8)))).Distinct().ToList();
        points.Sort();
        var hull = new List<(double X, double Y)>();
        foreach (var pass in (int[])[0, 1])
        {
            var start = hull.Count;
            foreach (var p in pass == 0 ? points : points.AsEnumerable().Reverse())
            {
                while (hull.Count >= start + 2 && Cross(hull[^2], hull[^1], p) <= 1e-9) hull.RemoveAt(hull.Count - 1);
                hull.Add(p);
            }
            hull.RemoveAt(hull.Count - 1);
        }
        return hull;

        static double Cross((double X, double Y) o, (double X, double Y) a, (double X, double Y) b) => (a.X - o.X) * (b.Y - o.Y) - (a.Y - o.Y) * (b.X - o.X);
    }
}
