using Stiltwright.Geometry;

namespace Stiltwright.Printing.Growing;

/// <summary>
/// The rim of a raft's flat upper side: edges at which it ends, in buckets seen from above. Tells quickly that a foot lies
/// well inside; where it is near a rim (or plates overlap, whose rims lie inside one another) it does not decide. mm.
/// </summary>
internal sealed class RaftRim
{
    private const double FlatMm = 0.05; // from the highest point
    private const double BucketMm = 4;
    private const int MostBuckets = 1 << 20;

    private readonly Dictionary<(int X, int Y), List<(Vec3 A, Vec3 B)>> _buckets = [];
    private readonly bool[] _flat;
    private readonly bool _known;

    public RaftRim(Mesh raft)
    {
        _flat = new bool[raft.TriangleCount];
        var top = raft.Bounds.Max.Z;
        var edges = new HashSet<(int, int)>();
        for (var t = 0; t < raft.TriangleCount; t++)
        {
            int a = raft.Corners[3 * t], b = raft.Corners[3 * t + 1], c = raft.Corners[3 * t + 2];
            if (Math.Min(raft.Vertex(a).Z, Math.Min(raft.Vertex(b).Z, raft.Vertex(c).Z)) < top - FlatMm || raft.AreaVector(t).Z <= 0) continue;
            _flat[t] = true;
            foreach (var (from, to) in ((int, int)[])[(a, b), (b, c), (c, a)])
                if (!edges.Remove((to, from))) edges.Add((from, to));
        }
        long buckets = 0;
        foreach (var (from, to) in edges)
        {
            Vec3 a = raft.Vertex(from) with { Z = 0 }, b = raft.Vertex(to) with { Z = 0 };
            var (low, high) = (At(Vec3.Min(a, b)), At(Vec3.Max(a, b)));
            buckets += (high.X - low.X + 1L) * (high.Y - low.Y + 1L);
            if (buckets > MostBuckets) return;
            for (var x = low.X; x <= high.X; x++)
                for (var y = low.Y; y <= high.Y; y++)
                {
                    if (!_buckets.TryGetValue((x, y), out var list)) _buckets[(x, y)] = list = [];
                    list.Add((a, b));
                }
        }
        _known = edges.Count > 0;
    }

    /// <summary>True if a disc on a triangle of the upper side meets no rim: all of it is on the upper side.</summary>
    public bool Holds(int triangle, double x, double y, double radius)
    {
        if (!_known || !_flat[triangle]) return false;
        var p = new Vec3(x, y, 0);
        var reach = new Vec3(radius, radius, 0);
        var (low, high) = (At(p - reach), At(p + reach));
        for (var i = low.X; i <= high.X; i++)
            for (var j = low.Y; j <= high.Y; j++)
            {
                if (!_buckets.TryGetValue((i, j), out var list)) continue;
                foreach (var (a, b) in list)
                    if (Segments.Distance(p, p, a, b) <= radius) return false;
            }
        return true;
    }

    private static (int X, int Y) At(Vec3 p) => ((int)Math.Floor(p.X / BucketMm), (int)Math.Floor(p.Y / BucketMm));
}
