using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>Which low shells are the raft: those that carry accepted struts, those that touch them, and those of their make beside them (a rail on which no strut stands).</summary>
internal static class Raft
{
    /// <summary>Flared feet that must stand on a plate on which the figure's own base stands, too.</summary>
    private const int LeastFeet = 3;

    /// <summary>A base's flat underside covers this share of its shell's outline box; soles that are sunk into a plate of the figure's cover less.</summary>
    private const double BaseShare = 0.2;

    /// <summary>A raft under a figure that stands on it is no thicker than this (common practice: 0.5 to 2 mm); a thicker plate may be the ground of a scene, mm.</summary>
    private const double ThickestUnderABaseMm = 2;

    /// <summary>The raft, and plates that carry accepted struts and the figure both, of which it cannot be told whose they are.</summary>
    public static (SortedSet<int> Raft, SortedSet<int> Unsure) Find(Scene scene, SortedSet<int> accepted)
    {
        var raft = new SortedSet<int>();
        var unsure = new SortedSet<int>();
        foreach (var b in scene.Bases)
        {
            if (accepted.Contains(b)) continue;
            var standing = accepted.Where(m => scene.Parts[m].OnLow.Contains(b)).ToList();
            if (standing.Count == 0) continue;
            var beside = accepted.Any(m => !scene.Parts[m].Low && scene.Parts[m].OnLow[0] < 0 && scene.Parts[m].OnPlatform[0]);
            if (!beside && scene.Parts[b].Shell.Bounds.Size.Z <= ThickestUnderABaseMm && standing.Count(m => StrutEvidence.Flared(scene.Parts[m])) >= LeastFeet && CarriesABase(scene, scene.Parts[b])) raft.Add(b);
            else unsure.Add(b);
        }
        foreach (var m in accepted)
            for (var e = 0; e < 2; e++)
            {
                var low = scene.Parts[m].OnLow[e];
                if (low >= 0 && !accepted.Contains(low) && !scene.Bases.Contains(low)) raft.Add(low);
                foreach (var j in scene.Parts[m].Joins[e])
                    if (scene.Parts[j.Other].Low && !accepted.Contains(j.Other) && !scene.Bases.Contains(j.Other)) raft.Add(j.Other);
            }
        var lows = scene.Parts.Where(p => p.Low && !accepted.Contains(p.Index) && !scene.Bases.Contains(p.Index)).ToList();
        var queue = new Queue<int>(raft);
        while (queue.TryDequeue(out var r))
            foreach (var p in lows)
                if (!raft.Contains(p.Index) && (OfOneMake(scene, p, scene.Parts[r]) || p.Shell.Bounds.Grown(scene.Settings.TouchMm).Meets(scene.Parts[r].Shell.Bounds) && Touch(scene, p, scene.Parts[r])))
                {
                    raft.Add(p.Index);
                    queue.Enqueue(p.Index);
                }
        return (raft, unsure);
    }

    /// <summary>A shell stands on the plate with a flat underside of its own.</summary>
    private static bool CarriesABase(Scene scene, ScenePart plate)
    {
        var top = plate.Shell.Bounds.Max.Z;
        foreach (var part in scene.Parts)
        {
            var box = part.Shell.Bounds;
            if (!scene.IsBulk(part.Index) || box.Min.Z > top + scene.Settings.TouchMm || !box.Meets(plate.Shell.Bounds.Grown(scene.Settings.TouchMm))) continue;
            double flat = 0;
            foreach (var t in part.Shell.Triangles)
            {
                var (a, b, c) = scene.Mesh.Triangle(t);
                if (Math.Max(a.Z, Math.Max(b.Z, c.Z)) > box.Min.Z + 0.02) continue;
                flat += Math.Max(0, -scene.Mesh.AreaVector(t).Z);
            }
            if (flat >= BaseShare * box.Size.X * box.Size.Y) return true;
        }
        return false;
    }

    /// <summary>The same bar or pad again, moved sideways by no more than its own length.</summary>
    private static bool OfOneMake(Scene scene, ScenePart a, ScenePart b)
    {
        Box3 p = a.Shell.Bounds, q = b.Shell.Bounds;
        var near = scene.Settings.TouchMm;
        var apart = p.Center - q.Center;
        return a.Shell.Triangles.Length == b.Shell.Triangles.Length
            && Math.Abs(p.Min.Z - q.Min.Z) <= near && (p.Size - q.Size).Length <= near
            && Math.Abs(a.Shell.SignedVolumeMm3 - b.Shell.SignedVolumeMm3) <= 0.01 * Math.Abs(b.Shell.SignedVolumeMm3)
            && apart.Length <= Math.Max(q.Size.X, q.Size.Y);
    }

    /// <summary>Seen from above the parts overlap or nearly touch (all lie on the floor).</summary>
    private static bool Touch(Scene scene, ScenePart a, ScenePart b)
    {
        var box = b.Shell.Bounds.Grown(scene.Settings.TouchMm);
        foreach (var t in a.Shell.Triangles)
        {
            var (p, q, r) = scene.Mesh.Triangle(t);
            if (!Box3.Empty.With(p).With(q).With(r).Meets(box)) continue;
            foreach (var u in b.Shell.Triangles)
            {
                var (x, y, z) = scene.Mesh.Triangle(u);
                if (FlatDistance(p, q, r, x, y, z) <= scene.Settings.TouchMm) return true;
            }
        }
        return false;
    }

    private static double FlatDistance(Vec3 p, Vec3 q, Vec3 r, Vec3 x, Vec3 y, Vec3 z)
    {
        Flat(ref p);
        Flat(ref q);
        Flat(ref r);
        Flat(ref x);
        Flat(ref y);
        Flat(ref z);
        // Corners against triangles both ways, then edges against edges.
        var best = double.MaxValue;
        foreach (var c in new[] { p, q, r }) best = Math.Min(best, c.DistanceTo(SurfaceProbe.Nearest(c, x, y, z)));
        foreach (var c in new[] { x, y, z }) best = Math.Min(best, c.DistanceTo(SurfaceProbe.Nearest(c, p, q, r)));
        if (best <= 0) return 0;
        Vec3[] first = [p, q, r], second = [x, y, z];
        for (var i = 0; i < 3; i++)
            for (var k = 0; k < 3; k++)
                if (Cross(first[i], first[(i + 1) % 3], second[k], second[(k + 1) % 3])) return 0;
        return best;

        static void Flat(ref Vec3 v) => v = v with { Z = 0 };

        static bool Cross(Vec3 a, Vec3 b, Vec3 c, Vec3 d) => Side(a, b, c) * Side(a, b, d) < 0 && Side(c, d, a) * Side(c, d, b) < 0;

        static double Side(Vec3 a, Vec3 b, Vec3 c) => (b.X - a.X) * (c.Y - a.Y) - (b.Y - a.Y) * (c.X - a.X);
    }
}
