using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>
/// Finds the pieces of bent tubes by their rings: between two rings that edges join corner by corner, and from a ring whose edges run
/// into figure, raft or another strut, along which the other ring lies buried.
/// </summary>
internal sealed class SkewFinder
{
    /// <summary>Share of a ring's corners that must be joined to the other ring, or run on straight.</summary>
    private const double LeastJoined = 0.6;

    /// <summary>Share of a ring's side that is known already as that of a prism.</summary>
    private const double KnownShare = 0.8;

    /// <summary>A ring leans against its piece by no more than this (cosine).</summary>
    private const double LeastSquare = 0.6;

    /// <summary>A foot widens by no more than this towards its buried end.</summary>
    private const double MostWidening = 3;

    /// <summary>How far a buried ring may depart from a circle, as a share of the visible one's radius.</summary>
    private const double RoundShare = 0.08;

    private readonly Mesh _mesh;
    private readonly int[] _twin;
    private readonly int[] _labels;
    private readonly List<DrawnRing> _rings;
    private readonly Dictionary<int, List<(int Ring, int Corner)>> _at = [];
    private readonly Dictionary<int, List<int>> _edges = [];

    private SkewFinder(Mesh mesh, int[] twin, int[] labels, List<DrawnRing> rings)
    {
        (_mesh, _twin, _labels, _rings) = (mesh, twin, labels, rings);
        for (var r = 0; r < rings.Count; r++)
            for (var k = 0; k < rings[r].Vertices.Length; k++)
            {
                if (!_at.TryGetValue(rings[r].Vertices[k], out var list)) _at[rings[r].Vertices[k]] = list = [];
                list.Add((r, k));
            }
        for (var h = 0; h < twin.Length; h++)
        {
            var v = mesh.CornersArray[h];
            if (!_at.ContainsKey(v)) continue;
            if (!_edges.TryGetValue(v, out var list)) _edges[v] = list = [];
            list.Add(h);
        }
    }

    /// <param name="mesh">The surface.</param>
    /// <param name="twin">Its half-edge pairs.</param>
    /// <param name="labels">Body of each triangle so far, or -1.</param>
    /// <param name="rings">Its rings.</param>
    /// <param name="onMm">How far outside a piece a corner may lie, mm.</param>
    public static List<DrawnSkew> Find(Mesh mesh, int[] twin, int[] labels, List<DrawnRing> rings, double onMm)
    {
        var finder = new SkewFinder(mesh, twin, labels, rings);
        var found = new List<DrawnSkew>();
        for (var r = 0; r < rings.Count; r++)
            foreach (var up in new[] { 1, -1 })
            {
                var side = finder.Side(r, up);
                if (side.Count < LeastJoined * rings[r].Vertices.Length || side.Count(t => labels[t] >= 0) >= KnownShare * side.Count) continue;
                if (finder.Paired(r, up) is { } other)
                {
                    // Each pair once.
                    if (other.Ring < r) continue;
                    Take(other.Body, side, other.Body.High);
                }
                else if (finder.Buried(r, up) is { } body)
                {
                    Take(body, side, body.Farthest(MostWidening));
                }
            }
        return found;

        void Take(DrawnSkew body, List<int> side, double most)
        {
            body.OnMm = onMm;
            finder.Seed(body, side, most);
            if (body.Seeds.Count >= LeastJoined * body.Sides) found.Add(body);
        }
    }

    /// <summary>The triangles along a ring's edges on one side of it, but for flat caps.</summary>
    private List<int> Side(int r, int up)
    {
        var ring = _rings[r];
        var result = new List<int>();
        var n = ring.Vertices.Length;
        for (var k = 0; k < n; k++)
        {
            var h = Edge(ring.Vertices[k], ring.Vertices[(k + 1) % n]);
            if (h < 0 || _twin[h] < 0) continue;
            // Seen from outside, the triangle to the left of an edge that runs counter-clockwise about the normal lies above it.
            var t = up > 0 ? h / 3 : _twin[h] / 3;
            if (Math.Abs(_mesh.AreaVector(t).Unit().Dot(ring.Normal)) < 0.97) result.Add(t);
        }
        return result;
    }

    private int Edge(int from, int to)
    {
        foreach (var h in _edges[from])
            if (_mesh.CornersArray[EdgePairing.Next(h)] == to) return h;
        return -1;
    }

    /// <summary>The ring on one side whose corners hang on this one's by edges, and the piece between them.</summary>
    private (int Ring, DrawnSkew Body)? Paired(int r, int up)
    {
        var ring = _rings[r];
        var n = ring.Vertices.Length;
        var votes = new Dictionary<(int Ring, int Shift, bool Same), int>();
        for (var k = 0; k < n; k++)
            foreach (var h in _edges[ring.Vertices[k]])
            {
                var v = _mesh.CornersArray[EdgePairing.Next(h)];
                if (!_at.TryGetValue(v, out var list)) continue;
                foreach (var (other, corner) in list)
                {
                    var o = _rings[other];
                    if (other == r || o.Vertices.Length != n || (o.Centre - ring.Centre).Dot(ring.Normal) * up <= 0) continue;
                    var same = o.Normal.Dot(ring.Normal) > 0;
                    var shift = same ? (corner - k + n) % n : (corner + k) % n;
                    votes[(other, shift, same)] = votes.GetValueOrDefault((other, shift, same)) + 1;
                }
            }
        (int Ring, DrawnSkew Body)? best = null;
        var bestTwist = double.MaxValue;
        foreach (var ((other, shift, same), count) in votes.OrderBy(v => v.Key))
        {
            if (count < LeastJoined * n) continue;
            var o = _rings[other];
            var axis = (o.Centre - ring.Centre).Unit();
            if (Math.Abs(axis.Dot(ring.Normal)) < LeastSquare || Math.Abs(axis.Dot(o.Normal)) < LeastSquare) continue;
            var a = new Vec3[n];
            var b = new Vec3[n];
            double twist = 0;
            for (var k = 0; k < n; k++)
            {
                a[k] = _mesh.Vertex(ring.Vertices[k]);
                b[k] = _mesh.Vertex(o.Vertices[same ? (k + shift) % n : (shift - k + n) % n]);
                Vec3 p = (a[k] - ring.Centre).Cross(axis).Unit(), q = (b[k] - o.Centre).Cross(axis).Unit();
                twist += 1 - p.Dot(q);
            }
            if (twist >= bestTwist) continue;
            bestTwist = twist;
            best = (other, Body(a, b, up, true));
        }
        return best;
    }

    // Corners run counter-clockwise about the ring's normal; seen from the far ring they must too.
    private static DrawnSkew Body(Vec3[] a, Vec3[] b, int up, bool ends)
    {
        if (up < 0)
        {
            Array.Reverse(a);
            Array.Reverse(b);
        }
        return new DrawnSkew(a, b, ends);
    }

    /// <summary>A piece whose other ring is buried: its edges are creases that leave the ring's corners on one side.</summary>
    private DrawnSkew? Buried(int r, int up)
    {
        var ring = _rings[r];
        var n = ring.Vertices.Length;
        var start = Array.ConvertAll(ring.Vertices, _mesh.Vertex);
        var way = new Vec3?[n];
        for (var k = 0; k < n; k++)
        {
            double best = 0.02;
            foreach (var h in _edges[ring.Vertices[k]])
            {
                if (_twin[h] < 0) continue;
                var d = _mesh.Vertex(_mesh.CornersArray[EdgePairing.Next(h)]) - start[k];
                var rise = d.Dot(ring.Normal) * up;
                if (rise < 0.3 * d.Length || rise < 0.05 * ring.Radius) continue;
                Vec3 p = _mesh.AreaVector(h / 3).Unit(), q = _mesh.AreaVector(_twin[h] / 3).Unit();
                var crease = p.Cross(q).Dot(d.Unit());
                if (crease <= best) continue;
                best = crease;
                way[k] = d.Unit();
            }
        }
        var known = Enumerable.Range(0, n).Where(k => way[k] is not null).ToArray();
        if (known.Length < Math.Max(3, LeastJoined * n)) return null;
        var axis = Vec3.Zero;
        foreach (var k in known) axis += way[k]!.Value;
        axis = axis.Unit();
        // The other ring, two radii on: square to the axis through its middle, which is found with it.
        var length = 2 * ring.Radius;
        var end = new Vec3[n];
        var middle = Vec3.Zero;
        double radius = 0;
        for (var round = 0; round < 4; round++)
        {
            var foot = ring.Centre + axis * length;
            foreach (var k in known)
            {
                var along = way[k]!.Value.Dot(axis);
                if (along < 0.3) return null;
                end[k] = start[k] + way[k]!.Value * ((foot - start[k]).Dot(axis) / along);
            }
            if (Circle(known.Select(k => end[k]).ToArray(), foot, axis) is not { } circle) return null;
            (middle, radius) = circle;
            axis = (middle - ring.Centre).Unit();
        }
        if (!(radius > 0) || radius > 2.5 * ring.Radius || Math.Abs(axis.Dot(ring.Normal)) < LeastSquare) return null;
        foreach (var k in known)
            if (Math.Abs(end[k].DistanceTo(middle) - radius) > RoundShare * ring.Radius) return null;
        // Corners whose edge was not seen: turned on from the nearest one that was.
        for (var k = 0; k < n; k++)
        {
            if (way[k] is not null) continue;
            var from = known.MinBy(j => Math.Min((k - j + n) % n, (j - k + n) % n));
            end[k] = middle + Affine.Turn(axis, 2 * Math.PI * (k - from) / n * Math.Sign(axis.Dot(ring.Normal))).Direction(end[from] - middle);
        }
        return Body(start, end, up, false);
    }

    /// <summary>The circle through points of a plane, by least squares (Kasa's linear fit, a common textbook method).</summary>
    private static (Vec3 Middle, double Radius)? Circle(Vec3[] points, Vec3 origin, Vec3 axis)
    {
        var u = axis.AnyPerpendicular().Unit();
        var w = axis.Cross(u).Unit();
        double sx = 0, sy = 0, sxx = 0, sxy = 0, syy = 0, sz = 0, sxz = 0, syz = 0;
        var n = points.Length;
        foreach (var p in points)
        {
            double x = (p - origin).Dot(u), y = (p - origin).Dot(w), z = x * x + y * y;
            (sx, sy, sz) = (sx + x, sy + y, sz + z);
            (sxx, sxy, syy) = (sxx + x * x, sxy + x * y, syy + y * y);
            (sxz, syz) = (sxz + x * z, syz + y * z);
        }
        double a = sxx - sx * sx / n, b = sxy - sx * sy / n, c = syy - sy * sy / n;
        double d = (sxz - sx * sz / n) / 2, e = (syz - sy * sz / n) / 2, det = a * c - b * b;
        if (!(Math.Abs(det) > 1e-18)) return null;
        double cx = (d * c - b * e) / det, cy = (a * e - b * d) / det;
        var r2 = (sz - 2 * cx * sx - 2 * cy * sy) / n + cx * cx + cy * cy;
        return r2 > 0 ? (origin + u * cx + w * cy, Math.Sqrt(r2)) : null;
    }

    /// <summary>Collects the triangles of a piece from those along its ring, and where they end: at most at a place along its axis.</summary>
    private void Seed(DrawnSkew body, List<int> side, double most)
    {
        body.High = most;
        var seen = new HashSet<int>();
        var queue = new Queue<int>();
        double high = 0;
        foreach (var t in side)
            if (Held(t) && seen.Add(t)) queue.Enqueue(t);
        while (queue.TryDequeue(out var t))
        {
            body.Seeds.Add(t);
            var (a, b, c) = _mesh.Triangle(t);
            high = Math.Max(high, Math.Max(body.Along(a), Math.Max(body.Along(b), body.Along(c))));
            for (var k = 0; k < 3; k++)
            {
                var g = _twin[3 * t + k];
                if (g >= 0 && !seen.Contains(g / 3) && Held(g / 3) && seen.Add(g / 3)) queue.Enqueue(g / 3);
            }
        }
        body.High = Math.Min(high, most);

        bool Held(int t)
        {
            var (a, b, c) = _mesh.Triangle(t);
            return body.Holds(a) && body.Holds(b) && body.Holds(c) && body.OnSide(a, b, c);
        }
    }
}
