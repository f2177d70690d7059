using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Simplifying;

/// <summary>How far one surface lies from another one.</summary>
/// <param name="LargestMm">Proven: no point of those that are not beyond lies farther away, mm.</param>
/// <param name="Beyond">Middles of parts for which the limit could not be proven.</param>
internal sealed record CoverResult(double LargestMm, IReadOnlyList<Vec3> Beyond);

/// <summary>
/// Proves how far all points of one surface lie from another one, not only those that are looked at. Over a flat triangle A, and along
/// its normal, triangles of the other surface are gathered, beginning below A's middle and going on over every edge that passes over A.
/// If all of them face as A does, the border of what was gathered passes nowhere over A; so every point of A has as many of them over it
/// as the middle has (the degree of a map is the same all over a connected set), that is at least one, straight above or below. Over
/// one of them the height is linear, so it is greatest at a corner of the part that both share. Where a crease keeps the gathered ones
/// from facing as A does, A is quartered; a small part is near where it lies near one triangle, as the distance to a convex set is
/// greatest at corners.
/// </summary>
/// <remarks>
/// A is taken a little smaller about its middle, so that edges over its border do not matter; what that leaves out is added to the
/// bound. Coordinates are whole units below 2^24, so the double arithmetic errs by far less than that.
/// </remarks>
internal sealed class CoverBound
{
    // Parts of the limit by which corners are drawn in: a little, and more where a crease lies along the border of A and not quite on it.
    private const double DrawnIn = 0.05, DrawnInMore = 0.35;
    private const int MostQuarterings = 10;
    // Parts of one triangle that are looked at before it is given up.
    private const int MostParts = 600;
    private const int MostGathered = 20_000;

    private readonly Mesh _to;
    private readonly int[] _twin;
    private readonly TriangleTree _tree;
    private readonly double _limit;
    private readonly int[] _stamp;
    private readonly List<int> _gathered = [];
    private int _now, _parts, _seed = -1;
    private double _largest;

    private CoverBound(Mesh to, int[] twin, TriangleTree tree, double limit)
    {
        (_to, _twin, _tree, _limit) = (to, twin, tree, limit);
        _stamp = new int[to.TriangleCount];
    }

    /// <summary>Proves a distance for every triangle of a surface.</summary>
    /// <param name="from">The surface whose points are meant.</param>
    /// <param name="to">The other surface, closed.</param>
    /// <param name="twin">Its half-edges on the other side.</param>
    /// <param name="tree">Its tree.</param>
    /// <param name="limit">The distance to be proven, mm.</param>
    /// <param name="maxThreads">Threads at most; the result does not depend on it.</param>
    internal static CoverResult Of(Mesh from, Mesh to, int[] twin, TriangleTree tree, double limit, int maxThreads)
    {
        if (Array.IndexOf(twin, -1) >= 0) throw new ArgumentException("The proof walks over every edge: the surface must be closed.", nameof(twin));
        const int block = 4096;
        int n = from.TriangleCount, blocks = (n + block - 1) / block;
        var most = new double[blocks];
        var beyond = new List<Vec3>[blocks];
        var workers = new System.Collections.Concurrent.ConcurrentBag<CoverBound>();
        Parallel.For(0, blocks, TriangleTree.Threads(maxThreads), b =>
        {
            if (!workers.TryTake(out var worker)) worker = new CoverBound(to, twin, tree, limit);
            (worker._largest, worker._seed) = (0, -1);
            beyond[b] = [];
            for (var t = b * block; t < Math.Min(n, (b + 1) * block); t++)
            {
                var (p, q, r) = from.Triangle(t);
                worker._parts = 0;
                worker.Prove(p, q, r, 0, beyond[b]);
            }
            most[b] = worker._largest;
            workers.Add(worker);
        });
        return new CoverResult(most.DefaultIfEmpty(0).Max(), [.. beyond.SelectMany(l => l)]);
    }

    private void Prove(Vec3 a, Vec3 b, Vec3 c, int depth, List<Vec3> beyond)
    {
        var middle = (a + b + c) / 3;
        var within = _limit * _limit;
        var place = _tree.ClosestPlace(middle, null, ref within, _seed);
        if (place < 0)
        {
            beyond.Add(middle);
            return;
        }
        _seed = place;
        var nearest = _tree.TriangleAt(place);
        var (p, q, r) = _to.Triangle(nearest);
        var corners2 = Math.Max(Distance2(a, p, q, r), Math.Max(Distance2(b, p, q, r), Distance2(c, p, q, r)));
        if (corners2 <= _limit * _limit)
        {
            // Near one triangle altogether; where that says little, what lies straight above may say more.
            var bound = Math.Sqrt(corners2);
            if (bound > _largest && Covered(a, b, c, middle, nearest, DrawnIn * _limit) is { } less) bound = Math.Min(bound, less);
            _largest = Math.Max(_largest, bound);
            return;
        }
        if ((Covered(a, b, c, middle, nearest, DrawnIn * _limit) ?? Covered(a, b, c, middle, nearest, DrawnInMore * _limit)) is { } height && height <= _limit)
        {
            _largest = Math.Max(_largest, height);
            return;
        }
        _parts += 4;
        if (depth == MostQuarterings || _parts > MostParts)
        {
            beyond.Add(middle);
            return;
        }
        Vec3 ab = (a + b) * 0.5, bc = (b + c) * 0.5, ca = (c + a) * 0.5;
        Prove(a, ab, ca, depth + 1, beyond);
        Prove(ab, b, bc, depth + 1, beyond);
        Prove(ca, bc, c, depth + 1, beyond);
        Prove(ab, bc, ca, depth + 1, beyond);
    }

    private static double Distance2(Vec3 x, Vec3 p, Vec3 q, Vec3 r) => (TriangleDistance.ClosestPoint(x, p, q, r) - x).LengthSquared;

    // A triangle in the plane of A, counter-clockwise, and the heights of its corners above it.
    private struct Seen
    {
        public double X0, Y0, H0, X1, Y1, H1, X2, Y2, H2;
    }

    // The largest height over A, with what was drawn in; null where it is not covered by what faces it.
    private double? Covered(Vec3 a, Vec3 b, Vec3 c, Vec3 middle, int start, double draw)
    {
        var normal = (b - a).Cross(c - a);
        var length = normal.Length;
        if (!(length > 0)) return null;
        normal /= length;
        var far = Math.Sqrt(Math.Max((a - middle).LengthSquared, Math.Max((b - middle).LengthSquared, (c - middle).LengthSquared)));
        var keep = 1 - Math.Min(0.5, draw / far);
        Vec3 u = (b - a).Unit(), v = normal.Cross(u);
        Vec3 da = (a - middle) * keep, db = (b - middle) * keep, dc = (c - middle) * keep;
        var area = new Seen { X0 = da.Dot(u), Y0 = da.Dot(v), X1 = db.Dot(u), Y1 = db.Dot(v), X2 = dc.Dot(u), Y2 = dc.Dot(v) };
        _gathered.Clear();
        _now++;
        Gather(start);
        double most = 0;
        var overMiddle = false;
        for (var i = 0; i < _gathered.Count; i++)
        {
            var t = _gathered[i];
            var (p, q, r) = _to.Triangle(t);
            p -= middle; q -= middle; r -= middle;
            var s = new Seen { X0 = p.Dot(u), Y0 = p.Dot(v), H0 = p.Dot(normal), X1 = q.Dot(u), Y1 = q.Dot(v), H1 = q.Dot(normal), X2 = r.Dot(u), Y2 = r.Dot(v), H2 = r.Dot(normal) };
            var twice = (s.X1 - s.X0) * (s.Y2 - s.Y0) - (s.X2 - s.X0) * (s.Y1 - s.Y0);
            if (!(twice > 0)) return null;
            overMiddle |= LeftOf(s.X0, s.Y0, s.X1, s.Y1) && LeftOf(s.X1, s.Y1, s.X2, s.Y2) && LeftOf(s.X2, s.Y2, s.X0, s.Y0);
            // Corners of either triangle bound what lies over both; where that is not enough the shared part itself.
            var height = Math.Max(Math.Abs(s.H0), Math.Max(Math.Abs(s.H1), Math.Abs(s.H2)));
            if (height > most && height > 0.5 * _limit) height = Math.Min(height, HeightOver(area, s));
            most = Math.Max(most, height);
            if (most > _limit) return null;
            if (Meets(area, s.X0, s.Y0, s.X1, s.Y1)) Gather(_twin[3 * t] / 3);
            if (Meets(area, s.X1, s.Y1, s.X2, s.Y2)) Gather(_twin[3 * t + 1] / 3);
            if (Meets(area, s.X2, s.Y2, s.X0, s.Y0)) Gather(_twin[3 * t + 2] / 3);
            if (_gathered.Count > MostGathered) return null;
        }
        return overMiddle ? most + Math.Min(draw, 0.5 * far) : null;

        void Gather(int t)
        {
            if (_stamp[t] == _now) return;
            _stamp[t] = _now;
            _gathered.Add(t);
        }
    }

    // Whether the middle lies left of a side, or so near it that the degree beside it is the same.
    private static bool LeftOf(double ax, double ay, double bx, double by) => ax * by - bx * ay >= -1e-9 * (Math.Abs(bx - ax) + Math.Abs(by - ay));

    // Whether a segment meets the triangle: no line along a side of one or the other lies between them.
    private static bool Meets(in Seen t, double px, double py, double qx, double qy)
    {
        double dx = qx - px, dy = qy - py;
        double s0 = dx * (t.Y0 - py) - dy * (t.X0 - px), s1 = dx * (t.Y1 - py) - dy * (t.X1 - px), s2 = dx * (t.Y2 - py) - dy * (t.X2 - px);
        if ((s0 > 0 && s1 > 0 && s2 > 0) || (s0 < 0 && s1 < 0 && s2 < 0)) return false;
        return !Beyond(t.X0, t.Y0, t.X1, t.Y1) && !Beyond(t.X1, t.Y1, t.X2, t.Y2) && !Beyond(t.X2, t.Y2, t.X0, t.Y0);

        bool Beyond(double ax, double ay, double bx, double by) =>
            (bx - ax) * (py - ay) - (by - ay) * (px - ax) < 0 && (bx - ax) * (qy - ay) - (by - ay) * (qx - ax) < 0;
    }

    // Largest height of s over what it shares with the triangle in the plane (Sutherland, Hodgman 1974); 0 where they share nothing.
    private static double HeightOver(in Seen t, in Seen s)
    {
        Span<double> x = stackalloc double[8], y = stackalloc double[8], h = stackalloc double[8];
        Span<double> nx = stackalloc double[8], ny = stackalloc double[8], nh = stackalloc double[8];
        (x[0], y[0], h[0], x[1], y[1], h[1], x[2], y[2], h[2]) = (s.X0, s.Y0, s.H0, s.X1, s.Y1, s.H1, s.X2, s.Y2, s.H2);
        var n = 3;
        for (var k = 0; k < 3 && n > 0; k++)
        {
            var (ax, ay, bx, by) = k == 0 ? (t.X0, t.Y0, t.X1, t.Y1) : k == 1 ? (t.X1, t.Y1, t.X2, t.Y2) : (t.X2, t.Y2, t.X0, t.Y0);
            var m = 0;
            for (int i = n - 1, j = 0; j < n; i = j++)
            {
                double from = (bx - ax) * (y[i] - ay) - (by - ay) * (x[i] - ax), to = (bx - ax) * (y[j] - ay) - (by - ay) * (x[j] - ax);
                if ((from >= 0) != (to >= 0))
                {
                    var share = from / (from - to);
                    (nx[m], ny[m], nh[m]) = (x[i] + (x[j] - x[i]) * share, y[i] + (y[j] - y[i]) * share, h[i] + (h[j] - h[i]) * share);
                    m++;
                }
                if (to < 0) continue;
                (nx[m], ny[m], nh[m]) = (x[j], y[j], h[j]);
                m++;
            }
            n = m;
            nx[..n].CopyTo(x);
            ny[..n].CopyTo(y);
            nh[..n].CopyTo(h);
        }
        var most = 0.0;
        for (var i = 0; i < n; i++) most = Math.Max(most, Math.Abs(h[i]));
        return most;
    }
}
