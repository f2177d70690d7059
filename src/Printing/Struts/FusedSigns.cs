using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>
/// Signs that struts are one surface with the figure: low level sections of a large shell show several small, round,
/// like-sized spots that stay in place from level to level and merge into the bulk further up. And signs that struts are one
/// surface with each other or with a raft, the figure apart from them: a shell whose sections are small all the way up.
/// </summary>
internal static class FusedSigns
{
    private const int Levels = 28;

    /// <summary>Straight spots needed in one shell.</summary>
    private const int Enough = 6;

    /// <summary>Straight spots from which on a shell is tried; where it does not come apart nothing is said.</summary>
    private const int Few = 3;

    /// <summary>A spot smaller than this is relief, not a rod, mm2.</summary>
    private const double LeastSpotMm2 = 0.02;

    /// <summary>Levels through which a spot must be followed.</summary>
    private const int LeastRun = 3;

    /// <summary>Where nearly all of what level planes cut is this small, the shell is struts and nothing else.</summary>
    private const double SlimShare = 0.8;

    /// <summary>A spot of a strut is no larger than this share of the widest strut that is looked for (radii).</summary>
    private const double SlimRadiusShare = 0.5;

    /// <summary>Triangles of a shell that may be two struts drawn into one.</summary>
    private const int LeastTriangles = 20;

    /// <summary>What was found.</summary>
    /// <param name="Sure">Shells with several struts in them, and the reason in words.</param>
    /// <param name="Merged">These, and shells with a few.</param>
    /// <param name="Maybe">These, and shells that may be struts merged with each other or a raft; ascending.</param>
    public sealed record Signs(List<(int Shell, string Why)> Sure, List<int> Merged, List<int> Maybe);

    public static Signs None => new([], [], []);

    /// <param name="scene">The shells.</param>
    /// <param name="held">True where separate struts hold the figure: then only shells that are slim all over are of interest.</param>
    /// <param name="ct">Cancels.</param>
    public static Signs Look(Scene scene, bool held, CancellationToken ct)
    {
        var sure = new List<(int, string)>();
        var few = new List<int>();
        var slim = new List<int>();
        var others = new List<int>();
        var all = new List<double>();
        foreach (var part in scene.Parts)
        {
            ct.ThrowIfCancellationRequested();
            var s = part.Shell;
            // A strut drawn from several parts may have been read as a rough tube by its sections alone.
            var rough = part is { Tube: { Drawn: false }, Low: false, Mended: null };
            if (!rough && !scene.IsBulk(s.Index) || !s.Closed || s.SignedVolumeMm3 <= 0 || s.Triangles.Length < LeastTriangles) continue;
            var low = s.Bounds.Min.Z <= scene.Floor + 0.3 * (scene.Diagonal / 3);
            double bottom = s.Bounds.Min.Z, span = 0.6 * s.Bounds.Size.Z;
            var loops = LevelLoops.Cut(scene.Mesh, s.Triangles, bottom, span, Levels);
            if (!held && !rough && low && s.Triangles.Length >= 100)
            {
                var count = LikeSized(StraightSpots(loops, bottom, span, FromBody(s)));
                if (count >= Enough) sure.Add((s.Index, $"{count} straight rods of like size rise in one surface with the shell that holds them"));
                else if (count >= Few) few.Add(s.Index);
                if (count >= Few) continue;
            }
            var widest = Math.PI * Math.Pow(SlimRadiusShare * scene.Settings.WidestStrutShare * scene.Diagonal, 2);
            var spots = StraightSpots(loops, bottom, span, (loop, _) => loop.Area <= widest);
            if (spots.Count == 0 && held && !rough) continue;
            if (Slim(loops, bottom, span, widest, scene.Floor + scene.Settings.MostRaftMm)) slim.Add(s.Index);
            else if (spots.Count > 0 && !rough) others.Add(s.Index);
            all.AddRange(spots);
        }
        var merged = sure.Select(f => f.Item1).Concat(few).Order().ToList();
        var maybe = merged.ToList();
        if (held || merged.Count > 0 || LikeSized(all) >= Enough) maybe.AddRange(slim);
        if (merged.Count > 0 && !held) maybe.AddRange(others);
        maybe.Sort();
        return new Signs(sure, merged, maybe);
    }

    /// <summary>Spots that are small against the shell they belong to.</summary>
    private static Func<LevelLoop, double, bool> FromBody(Shell shell) => (loop, largest) =>
        loop.Area <= 0.004 * shell.Bounds.Size.X * shell.Bounds.Size.Y + 0.02 || loop.Area <= 0.2 * largest;

    private static bool Slim(List<LevelLoop>[] loops, double low, double span, double widest, double raftTop)
    {
        double small = 0, total = 0;
        for (var level = 0; level < Levels; level++)
        {
            if (low + span * (level + 0.5) / Levels < raftTop) continue;
            foreach (var loop in loops[level])
            {
                total += Math.Abs(loop.Area);
                if (loop.Area > 0 && loop.Area <= 4 * widest) small += loop.Area;
            }
        }
        return total > 0 && small >= SlimShare * total;
    }

    /// <summary>Section areas of the straight rods that rise through the levels, mm2.</summary>
    private static List<double> StraightSpots(List<LevelLoop>[] loops, double low, double span, Func<LevelLoop, double, bool> small)
    {
        var previous = new List<Track>(); // sorted by the last spot's x
        var done = new List<Track>();
        for (var level = 0; level < Levels; level++)
        {
            var z = low + span * (level + 0.5) / Levels;
            var largest = loops[level].Count == 0 ? 0 : loops[level].Max(l => Math.Abs(l.Area));
            var current = new List<Track>();
            foreach (var loop in loops[level])
            {
                if (loop.Area < LeastSpotMm2 || loop.Roundness < 0.55 || !small(loop, largest)) continue;
                var at = new Vec3(loop.X, loop.Y, z);
                Track? from = null;
                // Rods lean 45 degrees at most.
                var reach = 0.8 * span / Levels + 0.2 * Math.Sqrt(loop.Area);
                for (var i = FirstFrom(previous, at.X - reach); i < previous.Count && previous[i].Last.X <= at.X + reach; i++)
                {
                    var t = previous[i];
                    if (!t.Taken && Math.Abs(t.Area / loop.Area - 1) < 0.35 && t.Straight(at, loop.Area)
                        && (from is null || t.Last.DistanceTo(at) < from.Last.DistanceTo(at))) from = t;
                }
                if (from is null) current.Add(new Track(at, loop.Area));
                else
                {
                    from.Taken = true;
                    current.Add(from.Grown(at, loop.Area));
                }
            }
            done.AddRange(previous.Where(t => !t.Taken));
            previous = [.. current.OrderBy(t => t.Last.X).ThenBy(t => t.Last.Y)];
        }
        done.AddRange(previous);
        return [.. done.Where(t => t.Length >= LeastRun && t.Last.Z - t.First.Z >= 5 * Math.Sqrt(t.Area / Math.PI)).Select(r => r.Area)];
    }

    /// <summary>The largest number of them within a factor of three in area.</summary>
    private static int LikeSized(List<double> spots)
    {
        var areas = spots.Order().ToArray();
        var best = 0;
        for (int i = 0, k = 0; k < areas.Length; k++)
        {
            while (areas[k] > 3 * areas[i]) i++;
            best = Math.Max(best, k - i + 1);
        }
        return best;
    }

    private static int FirstFrom(List<Track> sorted, double x)
    {
        int low = 0, high = sorted.Count;
        while (low < high)
        {
            var middle = (low + high) / 2;
            if (sorted[middle].Last.X < x) low = middle + 1;
            else high = middle;
        }
        return low;
    }

    private sealed class Track(Vec3 first, double area)
    {
        public Vec3 First { get; } = first;

        public Vec3 Last { get; private init; } = first;

        public double Area { get; private init; } = area;

        public int Length { get; private init; } = 1;

        public bool Taken { get; set; }

        /// <summary>The next spot lies where the rod's axis would be.</summary>
        public bool Straight(Vec3 at, double nextArea)
        {
            var r = Math.Sqrt(Math.Min(Area, nextArea) / Math.PI);
            var dz = at.Z - Last.Z;
            if (Length == 1) return Math.Sqrt(Math.Pow(at.X - Last.X, 2) + Math.Pow(at.Y - Last.Y, 2)) < 0.8 * dz + 0.2 * r;
            var f = (at.Z - First.Z) / (Last.Z - First.Z);
            var expected = First + (Last - First) * f;
            return Math.Sqrt(Math.Pow(at.X - expected.X, 2) + Math.Pow(at.Y - expected.Y, 2)) < 0.15 * r + 0.02 * dz;
        }

        public Track Grown(Vec3 at, double area) => new(First, area) { Last = at, Length = Length + 1, Area = area };
    }
}
