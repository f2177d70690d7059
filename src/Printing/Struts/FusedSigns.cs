using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>
/// Signs that struts are one surface with the figure: low level sections of a large shell show several small, round,
/// like-sized spots that stay in place from level to level and merge into the bulk further up.
/// </summary>
internal static class FusedSigns
{
    private const int Levels = 28;

    /// <summary>Straight spots needed in one shell.</summary>
    private const int Enough = 6;

    /// <summary>A spot smaller than this is relief, not a rod, mm2.</summary>
    private const double LeastSpotMm2 = 0.02;

    /// <summary>Levels through which a spot must be followed.</summary>
    private const int LeastRun = 3;

    public static List<(int Shell, string Why)> Look(Scene scene, StrutGraph graph, CancellationToken ct)
    {
        _ = graph;
        var result = new List<(int, string)>();
        foreach (var part in scene.Parts)
        {
            ct.ThrowIfCancellationRequested();
            var s = part.Shell;
            if (!scene.IsBulk(s.Index) || s.SignedVolumeMm3 <= 0 || s.Triangles.Length < 100) continue;
            if (s.Bounds.Min.Z > scene.Floor + 0.3 * (scene.Diagonal / 3)) continue;
            var count = StraightSpots(scene.Mesh, s);
            if (count >= Enough)
                result.Add((s.Index, $"{count} straight rods of like size rise in one surface with the shell that holds them"));
        }
        return result;
    }

    private static int StraightSpots(Mesh mesh, Shell shell)
    {
        double low = shell.Bounds.Min.Z, height = shell.Bounds.Size.Z;
        var span = 0.6 * height;
        var previous = new List<Track>(); // sorted by the last spot's x
        var done = new List<Track>();
        var loops = LevelLoops.Cut(mesh, shell.Triangles, low, span, Levels);
        for (var level = 0; level < Levels; level++)
        {
            var z = low + span * (level + 0.5) / Levels;
            var largest = loops[level].Count == 0 ? 0 : loops[level].Max(l => Math.Abs(l.Area));
            var current = new List<Track>();
            foreach (var loop in loops[level])
            {
                if (loop.Area < LeastSpotMm2 || loop.Roundness < 0.55) continue;
                if (loop.Area > 0.004 * shell.Bounds.Size.X * shell.Bounds.Size.Y + 0.02 && loop.Area > 0.2 * largest) continue;
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
        var runs = done.Where(t => t.Length >= LeastRun && t.Last.Z - t.First.Z >= 5 * Math.Sqrt(t.Area / Math.PI)).ToList();
        if (runs.Count < Enough) return 0;
        // Like-sized: the largest number within a factor of three in area.
        var areas = runs.Select(r => r.Area).Order().ToArray();
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
