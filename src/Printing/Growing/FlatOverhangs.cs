using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Growing;

/// <summary>
/// Finds where the first layers of an underside reach out too far from what holds them: enlarging widens the flats between the
/// contacts of the source, but not the layers that must bridge them. mm, platform at z = 0.
/// </summary>
public static class FlatOverhangs
{
    /// <summary>So many layers of a flat face bridge a gap together (choice of the house: 0.2 mm of sag is not seen).</summary>
    public const int BridgingLayers = 4;

    /// <summary>Undersides are looked at in steps of about this, mm.</summary>
    private const double StepMm = 0.35;

    // Eight ways to look first: nearly every underside finds what it rests on in one of them.
    private static readonly (int X, int Y)[] Ways = [(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1), (1, -1), (-1, 1)];

    /// <summary>
    /// Places for contacts, those farthest from a hold first, so that no place of an underside is farther than <paramref name="reachMm"/> from a
    /// contact or from what was printed <see cref="BridgingLayers"/> layers before.
    /// </summary>
    /// <param name="figure">Where the figure is solid (hollows filled: struts cannot stand in them).</param>
    /// <param name="struts">The struts.</param>
    /// <param name="layerMm">Layer thickness, mm.</param>
    /// <param name="reachMm">Free lip that the first layers bear, mm (<see cref="Strength.Spacing.FreeLip"/>).</param>
    /// <param name="groundMm">Upper side of raft or platform: what begins on it is held, mm.</param>
    /// <param name="most">No more places than this are wanted of any one flat; those farthest from a hold come first.</param>
    /// <param name="cancel">Stops the work.</param>
    public static IReadOnlyList<GrowthSpot> Find(ColumnRuns figure, StrutGraph struts, double layerMm, double reachMm, double groundMm, int most, CancellationToken cancel)
    {
        ArgumentNullException.ThrowIfNull(figure);
        ArgumentNullException.ThrowIfNull(struts);
        var below = BridgingLayers * layerMm;
        var stride = Math.Max(1, (int)Math.Round(StepMm / figure.Grid.PitchMm));
        var free = Free(figure, struts, stride, layerMm, reachMm, groundMm, cancel);
        if (free.Count == 0) return [];
        var spots = new List<(GrowthSpot Spot, double Away)>();
        foreach (var patch in Patches(free, below))
            foreach (var (p, away) in Spread(figure, patch, stride, layerMm, reachMm, most, cancel))
                spots.Add((new GrowthSpot(p, new Vec3(0, 0, -1), double.IsPositiveInfinity(away)
                    ? $"lies on a flat underside with nothing within {reachMm:0.0} mm that holds it, which is what the first layers bear"
                    : $"lies {away:0.0} mm from the next hold on a flat underside, where the first layers bear {reachMm:0.0} mm"), away));
        return [.. spots.OrderByDescending(s => s.Away).ThenBy(s => s.Spot.At.Z).ThenBy(s => s.Spot.At.X).ThenBy(s => s.Spot.At.Y).Select(s => s.Spot)];
    }

    private sealed record Spot(int I, int J, Vec3 At);

    /// <summary>Steps of undersides with nothing within reach.</summary>
    private static List<Spot> Free(ColumnRuns figure, StrutGraph struts, int stride, double layer, double reach, double ground, CancellationToken cancel)
    {
        var grid = figure.Grid;
        var below = BridgingLayers * layer;
        var disc = (int)Math.Floor(reach / grid.PitchMm);
        var contacts = struts.Segments.Where(s => s.Contact is not null).Select(s => (At: s.Contact!.Value, Radius: s.RadiusTo)).OrderBy(c => c.At.Z).ToArray();
        var rows = (grid.Ny + stride - 1) / stride;
        var found = new List<Spot>[rows];
        Parallel.For(0, rows, new ParallelOptions { CancellationToken = cancel }, row =>
        {
            var own = found[row] = [];
            var j = row * stride;
            for (var i = 0; i < grid.Nx; i += stride)
            {
                var c = j * grid.Nx + i;
                for (var r = figure.Start[c]; r < figure.Start[c + 1]; r++)
                {
                    var at = new Vec3(grid.X(i), grid.Y(j), figure.Z0[r] * figure.UnitMm);
                    if (at.Z <= ground + below || Rests(figure, i, j, at.Z - below, at.Z + layer / 2, disc, stride)) continue;
                    if (!Held(contacts, at, below, reach)) own.Add(new Spot(i / stride, row, at));
                }
            }
        });
        return [.. found.SelectMany(f => f)];
    }

    // Something four layers lower within reach, with which the spot hangs together in a straight line at its own height.
    private static bool Rests(ColumnRuns figure, int i, int j, double lower, double own, int disc, int stride)
    {
        foreach (var (x, y) in Ways)
            for (var d = 1; (x == 0 || y == 0 ? d * d : 2 * d * d) <= disc * disc && Solid(figure, i + d * x, j + d * y, own); d++)
                if (Solid(figure, i + d * x, j + d * y, lower)) return true;
        // Everywhere, first in strides.
        for (var step = stride; ; step = 1)
        {
            for (var y = -disc / step * step; y <= disc; y += step)
                for (var x = -disc / step * step; x <= disc; x += step)
                    if (x * x + y * y <= disc * disc && Solid(figure, i + x, j + y, lower) && Joined(x, y)) return true;
            if (step == 1) return false;
        }

        bool Joined(int x, int y)
        {
            var steps = Math.Max(Math.Abs(x), Math.Abs(y));
            for (var n = 1; n <= steps; n++)
                if (!Solid(figure, i + (int)Math.Round((double)n * x / steps), j + (int)Math.Round((double)n * y / steps), own)) return false;
            return true;
        }
    }

    private static bool Solid(ColumnRuns figure, int x, int y, double z) =>
        x >= 0 && y >= 0 && x < figure.Grid.Nx && y < figure.Grid.Ny && figure.Holds(y * figure.Grid.Nx + x, z);

    private static bool Held((Vec3 At, double Radius)[] contacts, Vec3 p, double below, double reach)
    {
        foreach (var (at, radius) in contacts)
        {
            if (at.Z < p.Z - 2 * below) continue;
            if (at.Z > p.Z + below) break;
            double dx = at.X - p.X, dy = at.Y - p.Y;
            if (dx * dx + dy * dy <= (reach + radius) * (reach + radius)) return true;
        }
        return false;
    }

    /// <summary>Steps that hang together: neighbours in the grid at nearly the same height.</summary>
    private static IEnumerable<List<Spot>> Patches(List<Spot> free, double below)
    {
        var at = free.Select((s, n) => (s, n)).ToLookup(x => (x.s.I, x.s.J), x => x.n);
        var seen = new bool[free.Count];
        for (var first = 0; first < free.Count; first++)
        {
            if (seen[first]) continue;
            var patch = new List<Spot>();
            var queue = new Queue<int>([first]);
            seen[first] = true;
            while (queue.TryDequeue(out var n))
            {
                patch.Add(free[n]);
                foreach (var (x, y) in Ways)
                    foreach (var m in at[(free[n].I + x, free[n].J + y)])
                        if (!seen[m] && Math.Abs(free[m].At.Z - free[n].At.Z) <= below)
                        {
                            seen[m] = true;
                            queue.Enqueue(m);
                        }
            }
            yield return patch;
        }
    }

    /// <summary>
    /// Contacts over a patch: the place farthest from its rim (where the figure goes on and something holds it within reach; over
    /// an edge to the air nothing does) and from the contacts chosen so far, until none is farther than the reach (farthest-point covering, Gonzalez 1985).
    /// </summary>
    private static List<(Vec3 At, double AwayMm)> Spread(ColumnRuns figure, List<Spot> patch, int stride, double layer, double reach, int most, CancellationToken cancel)
    {
        var inside = patch.Select(s => (s.I, s.J)).ToHashSet();
        bool HeldBeside(Spot s, (int X, int Y) w) => !inside.Contains((s.I + w.X, s.J + w.Y)) && Solid(figure, (s.I + w.X) * stride, (s.J + w.Y) * stride, s.At.Z + layer / 2);
        var rim = patch.Where(s => Ways.Any(w => HeldBeside(s, w))).ToList();
        var away = new double[patch.Count];
        Parallel.For(0, away.Length, new ParallelOptions { CancellationToken = cancel }, n => away[n] = rim.Count == 0 ? double.PositiveInfinity : reach + Math.Sqrt(rim.Min(r => Flat2(r.At, patch[n].At))));
        var chosen = new List<(Vec3, double)>();
        while (chosen.Count <= most)
        {
            cancel.ThrowIfCancellationRequested();
            var far = 0;
            for (var n = 1; n < away.Length; n++)
                if (away[n] > away[far] + 1e-9) far = n;
            if (away[far] <= reach) break;
            var at = patch[far].At;
            chosen.Add((at, away[far]));
            for (var n = 0; n < away.Length; n++) away[n] = Math.Min(away[n], Math.Sqrt(Flat2(at, patch[n].At)));
        }
        return chosen;
    }

    private static double Flat2(Vec3 a, Vec3 b) => (a.X - b.X) * (a.X - b.X) + (a.Y - b.Y) * (a.Y - b.Y);
}
