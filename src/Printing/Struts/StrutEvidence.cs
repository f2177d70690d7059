namespace Stiltwright.Printing.Struts;

/// <summary>
/// Decides which tubes are struts. Shape alone never does: a strut stands on the raft, the platform or another strut, its
/// far end is thin and lies on the figure from outside, nothing of it hangs free, and it is one of a family.
/// </summary>
internal sealed partial class StrutEvidence
{
    private readonly Scene _scene;
    private readonly double _thin;

    public StrutEvidence(Scene scene)
    {
        _scene = scene;
        _thin = scene.Settings.ThinShare;
    }

    /// <summary>Tubes that form structures from ground to figure, by shell number, ascending.</summary>
    public SortedSet<int> Members { get; } = [];

    /// <summary>Tubes that would be members but for an end that hangs free.</summary>
    public SortedSet<int> Dangling { get; } = [];

    /// <summary>So many thin contacts tell what size contacts have in this source.</summary>
    private const int LeastThinContacts = 5;

    /// <summary>A surface whose normal rises by this much carries what ends on it from above.</summary>
    private const double StandsOnRise = 0.2;

    /// <summary>Members that stand on the figure itself with a thin lower end.</summary>
    public SortedSet<int> OnFigure { get; } = [];

    /// <summary>Low tubes that are the foot of one strut and not part of a raft.</summary>
    public SortedSet<int> FootDiscs { get; } = [];

    /// <summary>Confidence of each member.</summary>
    public Dictionary<int, double> Confidence { get; } = [];

    /// <summary>What spoke for and against, in words, for each member.</summary>
    public Dictionary<int, string> Why { get; } = [];

    public void Collect()
    {
        FindFootDiscs();
        Settle([]);
        AddThoseOnTheFigure();
        Score();
    }

    /// <summary>Strut contact at an end: on a surface, or on a tube that is no member.</summary>
    public bool MeetsFigure(ScenePart part, int end)
    {
        if (part.OnBulk[end] is not null) return true;
        return !part.Joins[end].Any(j => Members.Contains(j.Other) || _scene.Parts[j.Other].Low) && part.OnLow[end] < 0 && !part.OnPlatform[end]
            && part.Joins[end].Count > 0;
    }

    /// <summary>True if the end stands on platform, raft or foot disc.</summary>
    public bool Grounded(ScenePart part, int end) =>
        part.OnPlatform[end] || part.OnLow[end] >= 0;

    private void FindFootDiscs()
    {
        var lowOthers = _scene.Parts.Where(p => p.Low && !Upright(p)).ToList();
        foreach (var disc in _scene.Parts)
        {
            if (!disc.Low || !Upright(disc) || _scene.Bases.Contains(disc.Index)) continue;
            var centre = disc.End(0);
            var r = disc.Tube!.LargestRadius;
            // Part of a grid or on a plate: raft.
            if (lowOthers.Any(o => o.Shell.Bounds.Meets(disc.Shell.Bounds) && Reaches(o, centre, r))) continue;
            var standing = _scene.Parts.Where(p => p.Tube is not null && !p.Low
                && p.OnLow.Contains(disc.Index)).ToList();
            if (standing.Count == 0) continue;
            if (standing.Any(Flared)) continue;
            var coaxial = standing.All(s => Math.Min(Flat(s.End(0) - centre), Flat(s.End(1) - centre)) < 0.35 * r);
            if (coaxial) FootDiscs.Add(disc.Index);
        }

        static double Flat(Geometry.Vec3 v) => Math.Sqrt(v.X * v.X + v.Y * v.Y);

        bool Reaches(ScenePart other, Geometry.Vec3 c, double r)
        {
            foreach (var t in other.Shell.Triangles)
            {
                var (a, b, d) = _scene.Mesh.Triangle(t);
                Geometry.Vec3 p = c with { Z = 0 };
                if (p.DistanceTo(SurfaceProbe.Nearest(p, a with { Z = 0 }, b with { Z = 0 }, d with { Z = 0 })) <= r) return true;
            }
            return false;
        }
    }

    private static bool Upright(ScenePart p)
    {
        if (p.Tube is not { } t) return false;
        var d = (t.EndB - t.EndA).Unit();
        // A square block may be a piece of a raft; a pyramid is a foot.
        return Math.Abs(d.Z) > 0.99 && (t.Pieces[0].Section.Sides is 0 or > 4 || t.RadiusB < 0.75 * t.RadiusA);
    }

    /// <summary>Widens towards its lower end, as feet do.</summary>
    public static bool Flared(ScenePart p)
    {
        var pieces = p.Tube!.Pieces;
        var shaft = pieces.MaxBy(g => g.Length);
        return pieces.Count > 1 && pieces[0].RadiusA >= 1.3 * Math.Min(shaft.RadiusA, shaft.RadiusB)
            || pieces.Count == 1 && pieces[0].Length < 2.5 * pieces[0].RadiusA && pieces[0].RadiusA > 1.1 * pieces[0].RadiusB;
    }

    /// <summary>Grows the members from the ground and drops what hangs free, until nothing changes.</summary>
    private void Settle(HashSet<int> banned)
    {
        while (true)
        {
            Members.Clear();
            var queue = new Queue<int>();
            foreach (var p in _scene.Parts)
            {
                if (p.Tube is null || banned.Contains(p.Index)) continue;
                if (p.Low && !FootDiscs.Contains(p.Index)) continue;
                if (Grounded(p, 0) || Grounded(p, 1)) Add(p.Index);
            }
            // Tubes by what their own ends lie on.
            var standing = new Dictionary<int, List<(int Part, int End, EndJoin Join)>>();
            foreach (var p in _scene.Parts)
            {
                if (p.Tube is null || p.Low) continue;
                for (var e = 0; e < 2; e++)
                    foreach (var j in p.Joins[e])
                    {
                        if (!standing.TryGetValue(j.Other, out var list)) standing[j.Other] = list = [];
                        list.Add((p.Index, e, j));
                    }
            }
            while (queue.TryDequeue(out var on))
            {
                if (!standing.TryGetValue(on, out var list)) continue;
                foreach (var (part, end, join) in list)
                {
                    if (Members.Contains(part) || banned.Contains(part)) continue;
                    if (BeyondTheContact(_scene.Parts[on], join, _scene.Parts[part], end)) continue;
                    Add(part);
                }
            }
            var loose = new List<int>();
            foreach (var m in Members)
            {
                var p = _scene.Parts[m];
                if (p.Low) continue;
                for (var e = 0; e < 2; e++)
                    if (!Held(p, e)) loose.Add(m);
            }
            if (loose.Count == 0) return;
            foreach (var m in loose)
            {
                banned.Add(m);
                Dangling.Add(m);
            }

            void Add(int index)
            {
                if (Members.Add(index)) queue.Enqueue(index);
            }
        }
    }

    /// <summary>
    /// The thin far end of a strut carries the figure, and is where it breaks: what goes on from there and is wider, or widens again
    /// (a whisker whose point a strut holds), is figure. Only a second, still thinner piece of the tip may follow.
    /// </summary>
    private bool BeyondTheContact(ScenePart strut, EndJoin join, ScenePart part, int end)
    {
        var at = part.End(end);
        var thin = join.OtherEnd >= 0 ? join.OtherEnd : at.DistanceTo(strut.End(1)) < at.DistanceTo(strut.End(0)) ? 1 : 0;
        // A claw or a limb that a prop of one section holds at its narrow end.
        if (Props.Uniform(strut) && Grounded(strut, 0) && thin == 1 && part.OnBulk[1 - end] is not null && part.EndRadius(1 - end) > 1.5 * strut.EndRadius(1)) return true;
        if (!strut.Thins(thin, 0.65) || join.Radius > 0.65 * strut.Tube!.LargestRadius) return false;
        return Math.Max(part.EndRadius(end), part.EndRadius(1 - end)) > 1.25 * Math.Max(join.Radius, strut.EndRadius(thin));
    }

    private bool Held(ScenePart p, int end)
    {
        if (Grounded(p, end) || p.OnBulk[end] is not null || p.Joins[end].Count > 0) return true;
        // Held by a member that ends on this end (a tip set over the pillar's top).
        return Members.Any(m => _scene.Parts[m].Joins.Any(list => list.Any(j => j.Other == p.Index && j.OtherEnd == end)));
    }

    /// <summary>Struts from one place of the figure to another, known by being of the same make as those that stand on the ground.</summary>
    private void AddThoseOnTheFigure()
    {
        var make = Members.Where(m => !_scene.Parts[m].Low).GroupBy(m => _scene.Parts[m].Signature)
            .Where(g => g.Count() >= 3).ToDictionary(g => g.Key, g => (Least: g.Min(Size), Most: g.Max(Size)));
        if (make.Count == 0) return;
        var seen = new HashSet<int>();
        foreach (var start in _scene.Parts)
        {
            if (!Alike(start) || !seen.Add(start.Index)) continue;
            var group = new List<ScenePart> { start };
            for (var i = 0; i < group.Count; i++)
                foreach (var other in _scene.Parts)
                {
                    if (other.Tube is null || seen.Contains(other.Index) || !Alike(other)) continue;
                    if (!Linked(group[i], other)) continue;
                    seen.Add(other.Index);
                    group.Add(other);
                }
            var ids = group.Select(p => p.Index).ToHashSet();
            var held = group.All(p => Enumerable.Range(0, 2).All(e => p.OnBulk[e] is not null || p.Joins[e].Any(j => ids.Contains(j.Other) || Members.Contains(j.Other))
                || group.Any(o => o.Joins.Any(l => l.Any(j => j.Other == p.Index && j.OtherEnd == e)))));
            var contacts = group.SelectMany(p => Enumerable.Range(0, 2).Where(e => p.OnBulk[e] is not null).Select(e => (p, e))).ToList();
            var thin = contacts.All(c => ThinContact(c.p, c.e, ids));
            var lower = contacts.Any(c => c.e == 0);
            var upper = contacts.Any(c => c.e == 1);
            if (!held || !thin || !lower || !upper) continue;
            foreach (var p in group)
            {
                Members.Add(p.Index);
                OnFigure.Add(p.Index);
                Dangling.Remove(p.Index);
            }
        }

        // Where a strut that stands on the figure touches one that stands on the ground it was taken with that one: its thin lower
        // end on an upper side of the figure tells it all the same.
        foreach (var m in Members)
        {
            var p = _scene.Parts[m];
            if (!p.Low && p.OnBulk[0] is { } c && p.OnBulk[1] is null && c.Normal.Z > StandsOnRise && p.Thins(0, 0.95) && p.End(1).Z > p.End(0).Z && p.Joins[1].Any(j => Members.Contains(j.Other)))
                OnFigure.Add(m);
        }

        double Size(int m) => _scene.Parts[m].Tube!.LargestRadius;

        bool Alike(ScenePart p)
        {
            if (p.Tube is not { } tube || p.Low || Members.Contains(p.Index)) return false;
            if (tube.Residual < 0.02 && make.TryGetValue(p.Signature, out var size) && tube.LargestRadius > 0.5 * size.Least && tube.LargestRadius < 2 * size.Most) return true;
            return LikeWhole(p);
        }

        // A whole strut in one shell that stands on the figure has a tip for a foot: compare section, shaft and contact instead.
        bool LikeWhole(ScenePart p)
        {
            if (p.Tube!.Pieces.Count < 2 || p.OnBulk[0] is null || p.OnBulk[1] is null) return false;
            var (sides, shaft) = Shaft(p);
            if (sides == 0) return false;
            var like = Members.Where(m => !_scene.Parts[m].Low && _scene.Parts[m].Tube!.Pieces.Count >= 2 && _scene.Parts[m].OnBulk[1] is not null
                && Shaft(_scene.Parts[m]).Sides == sides).Select(m => _scene.Parts[m]).ToList();
            if (like.Count < 3) return false;
            return shaft > 0.8 * like.Min(o => Shaft(o).Radius) && shaft < 1.25 * like.Max(o => Shaft(o).Radius)
                && Enumerable.Range(0, 2).All(e => p.EndRadius(e) > 0.75 * like.Min(o => o.EndRadius(1)) && p.EndRadius(e) < 1.3 * like.Max(o => o.EndRadius(1)));
        }

        static (int Sides, double Radius) Shaft(ScenePart p)
        {
            var g = p.Tube!.Pieces.MaxBy(x => x.Length);
            return (g.Section.Sides, Math.Max(g.RadiusA, g.RadiusB));
        }

        static bool Linked(ScenePart a, ScenePart b) => a.Joins.Any(l => l.Any(j => j.Other == b.Index)) || b.Joins.Any(l => l.Any(j => j.Other == a.Index));
    }

    /// <summary>Where most contacts are thin ends, one of the same size on a shaft that is hardly thicker is thin, too.</summary>
    private void ThinLikeTheOthers(List<(int Part, int End, bool Thin)> contacts)
    {
        var sizes = contacts.Where(c => c.Thin).Select(c => _scene.Parts[c.Part].EndRadius(c.End)).Order().ToList();
        if (sizes.Count < LeastThinContacts || 2 * sizes.Count < contacts.Count) return;
        for (var i = 0; i < contacts.Count; i++)
            if (_scene.Parts[contacts[i].Part].EndRadius(contacts[i].End) <= 1.1 * sizes[sizes.Count / 2]) contacts[i] = contacts[i] with { Thin = true };
    }

    /// <summary>Share of separate held bodies that only one strut holds, where there are several bodies.</summary>
    private double LonelyShare(List<(int Part, int End, bool Thin)> contacts)
    {
        var held = contacts.Select(c => _scene.Parts[c.Part].OnBulk[c.End]?.Shell ?? -1).Where(s => s >= 0).ToList();
        var shells = held.Distinct().Order().ToList();
        if (shells.Count < 2) return 0;
        // Bodies: held shells whose boxes overlap, through any other bulk shells.
        var bulk = Enumerable.Range(0, _scene.Parts.Length).Where(_scene.IsBulk).ToArray();
        var body = bulk.ToDictionary(b => b, b => b);
        if (bulk.Length > 3000) return 0;
        for (var i = 0; i < bulk.Length; i++)
            for (var k = i + 1; k < bulk.Length; k++)
                if (_scene.Parts[bulk[i]].Shell.Bounds.Meets(_scene.Parts[bulk[k]].Shell.Bounds)) Unite(bulk[i], bulk[k]);
        var counts = held.GroupBy(Root).Select(g => g.Count()).ToList();
        return counts.Count < 2 ? 0 : (double)counts.Count(c => c == 1) / counts.Count;

        int Root(int s)
        {
            while (body[s] != s) s = body[s] = body[body[s]];
            return s;
        }

        void Unite(int a, int b)
        {
            a = Root(a);
            b = Root(b);
            if (a != b) body[Math.Max(a, b)] = Math.Min(a, b);
        }
    }

    /// <summary>Members that hang together through joins.</summary>
    private Dictionary<int, int> Components()
    {
        var root = Members.ToDictionary(m => m, m => m);
        foreach (var m in Members)
            for (var e = 0; e < 2; e++)
                foreach (var j in _scene.Parts[m].Joins[e])
                    if (Members.Contains(j.Other)) Unite(m, j.Other);
        return Members.ToDictionary(m => m, Root);

        int Root(int s)
        {
            while (root[s] != s) s = root[s] = root[root[s]];
            return s;
        }

        void Unite(int a, int b)
        {
            a = Root(a);
            b = Root(b);
            if (a != b) root[Math.Max(a, b)] = Math.Min(a, b);
        }
    }
}
