using System.Numerics;

namespace Stiltwright.Geometry.Fields;

/// <summary>
/// Where a level surface passes a brick as one nearly flat patch, hundreds of triangles say what a few can: a fan from a middle to
/// the patch's border. Between two such bricks the border is drawn straight from one edge of the brick to the other; towards all
/// others it stays as it is, so the surface stays closed. A patch stays inside its brick, which is convex, so nothing crosses. Each
/// new triangle is judged by the field like any other triangle that saves some.
/// </summary>
internal sealed class FlatBricks
{
    private sealed class Patch
    {
        public required int[] Loop;
        public required int[] FaceOfEdge;
        public Vec3 Middle;
    }

    private readonly BrickField _field;
    private readonly LevelJudge _judge;
    private readonly double _level, _flat;
    private readonly int[] _xyz;
    private readonly int[][] _corners;
    private readonly Patch?[] _patches;

    private FlatBricks(BrickField field, LevelJudge judge, double level, int[] xyz, int[][] corners)
    {
        _field = field;
        _judge = judge;
        _level = level;
        _flat = judge.Most - judge.Least;
        _xyz = xyz;
        _corners = corners;
        _patches = new Patch?[corners.Length];
    }

    /// <summary>Replaces the triangles of flat bricks in place; gives the vertices with the new middles at the end.</summary>
    /// <param name="field">The field.</param>
    /// <param name="judge">Decides on new triangles.</param>
    /// <param name="level">The level that was cut.</param>
    /// <param name="xyz">Vertices in lattice units.</param>
    /// <param name="corners">Triangles of each brick.</param>
    /// <param name="options">Threads and cancellation; the result does not depend on them.</param>
    internal static int[] Reduce(BrickField field, LevelJudge judge, double level, int[] xyz, int[][] corners, ParallelOptions options)
    {
        var flat = new FlatBricks(field, judge, level, xyz, corners);
        return flat.Run(options);
    }

    private int[] Run(ParallelOptions options)
    {
        var bricks = _corners.Length;
        Parallel.For(0, bricks, options, b => _patches[b] = Find(b));
        var holds = Array.ConvertAll(_patches, p => p is not null);
        var asked = (bool[])holds.Clone();
        // A brick that turns out not to be flat gives its neighbours their full border back, and those are judged again.
        while (true)
        {
            var before = holds;
            var now = (bool[])holds.Clone();
            Parallel.For(0, bricks, options, b =>
            {
                if (asked[b] && before[b]) now[b] = Judged(b, before);
            });
            asked = new bool[bricks];
            var changed = false;
            for (var b = 0; b < bricks; b++)
            {
                if (now[b] == before[b]) continue;
                changed = true;
                for (var face = 0; face < 6; face++)
                    if (Neighbour(b, face) is >= 0 and var n) asked[n] = true;
            }
            holds = now;
            if (!changed) break;
        }
        var middle = new int[bricks];
        var vertices = _xyz.Length / 3;
        for (var b = 0; b < bricks; b++)
            if (holds[b]) middle[b] = vertices++;
        var xyz = new int[3 * vertices];
        _xyz.CopyTo(xyz, 0);
        var lattice = _field.Grid.Lattice;
        Parallel.For(0, bricks, options, b =>
        {
            if (!holds[b]) return;
            var m = _patches[b]!.Middle;
            (xyz[3 * middle[b]], xyz[3 * middle[b] + 1], xyz[3 * middle[b] + 2]) = (lattice.Round(m.X), lattice.Round(m.Y), lattice.Round(m.Z));
            var loop = Kept(b, holds);
            var fan = new int[3 * loop.Count];
            for (var i = 0; i < loop.Count; i++) (fan[3 * i], fan[3 * i + 1], fan[3 * i + 2]) = (middle[b], loop[i], loop[(i + 1) % loop.Count]);
            _corners[b] = fan;
        });
        return xyz;
    }

    private Vec3 At(int v)
    {
        var u = _field.Grid.Lattice.UnitMm;
        return new Vec3(_xyz[3 * v] * u, _xyz[3 * v + 1] * u, _xyz[3 * v + 2] * u);
    }

    // Faces of the brick on which a vertex lies, as bits: least x, largest x, least y, ... Cuts never fall on nodes, so this is exact.
    private int Faces(int b, int v)
    {
        var grid = _field.Grid;
        var (bx, by, bz) = _field.Places[b];
        const int n = NodeGrid.Brick;
        int x = _xyz[3 * v] - grid.X0 - bx * n * grid.Step, y = _xyz[3 * v + 1] - grid.Y0 - by * n * grid.Step, z = _xyz[3 * v + 2] - grid.Z0 - bz * n * grid.Step;
        var far = n * grid.Step;
        return (x == 0 ? 1 : x == far ? 2 : 0) | (y == 0 ? 4 : y == far ? 8 : 0) | (z == 0 ? 16 : z == far ? 32 : 0);
    }

    private int Neighbour(int b, int face)
    {
        var grid = _field.Grid;
        var (x, y, z) = _field.Places[b];
        var step = face % 2 == 0 ? -1 : 1;
        if (face < 2) x += step; else if (face < 4) y += step; else z += step;
        if ((uint)x >= (uint)grid.Bx || (uint)y >= (uint)grid.By || (uint)z >= (uint)grid.Bz) return -1;
        return Math.Max(-1, _field.Index[(z * grid.By + y) * grid.Bx + x]);
    }

    // The brick's triangles as one patch with a border loop, if they are nearly flat.
    private Patch? Find(int b)
    {
        var corners = _corners[b];
        if (corners.Length < 3 * 16) return null;
        Vec3 sum = Vec3.Zero, mean = Vec3.Zero;
        for (var i = 0; i < corners.Length; i += 3)
        {
            Vec3 p = At(corners[i]), q = At(corners[i + 1]), r = At(corners[i + 2]);
            sum += (q - p).Cross(r - p);
            mean += p;
        }
        var normal = sum.Unit();
        mean /= corners.Length / 3;
        var border = new List<(int From, int To, int Face)>();
        for (var i = 0; i < corners.Length; i += 3)
        {
            Vec3 p = At(corners[i]), q = At(corners[i + 1]), r = At(corners[i + 2]);
            if (Math.Abs((p - mean).Dot(normal)) > _flat || Math.Abs((q - mean).Dot(normal)) > _flat || Math.Abs((r - mean).Dot(normal)) > _flat) return null;
            var own = (q - p).Cross(r - p);
            if (own.Dot(normal) < 0.5 * own.Length) return null;
            for (var k = 0; k < 3; k++)
            {
                int from = corners[i + k], to = corners[i + (k + 1) % 3], common = Faces(b, from) & Faces(b, to);
                if (common == 0) continue;
                if (BitOperations.PopCount((uint)common) != 1) return null;
                border.Add((from, to, BitOperations.TrailingZeroCount(common)));
            }
        }
        if (Walk(border) is not { } loop) return null;
        // Begin where the border passes from one face to another, so that every stretch on one face is in one piece.
        var first = -1;
        for (var i = 0; i < loop.Count && first < 0; i++)
            if (loop[i].Face != loop[(i + loop.Count - 1) % loop.Count].Face) first = i;
        if (first < 0) return null;
        var patch = new Patch { Loop = new int[loop.Count], FaceOfEdge = new int[loop.Count] };
        var middle = Vec3.Zero;
        for (var i = 0; i < loop.Count; i++)
        {
            (patch.Loop[i], _, patch.FaceOfEdge[i]) = loop[(first + i) % loop.Count];
            middle += At(patch.Loop[i]);
        }
        if (!_judge.OnLevel(middle / loop.Count, _level, out patch.Middle) || !Inside(b, patch.Middle)) return null;
        return patch;
    }

    private bool Inside(int b, Vec3 p)
    {
        var grid = _field.Grid;
        var (bx, by, bz) = _field.Places[b];
        const int n = NodeGrid.Brick;
        double margin = 0.05 * grid.Cell;
        return p.X > grid.X(bx * n) + margin && p.X < grid.X(bx * n + n) - margin && p.Y > grid.Y(by * n) + margin && p.Y < grid.Y(by * n + n) - margin
            && p.Z > grid.Z(bz * n) + margin && p.Z < grid.Z(bz * n + n) - margin;
    }

    // The edges in the order in which they follow each other; null if they are not one loop.
    private static List<(int From, int To, int Face)>? Walk(List<(int From, int To, int Face)> border)
    {
        if (border.Count < 3) return null;
        border.Sort();
        for (var i = 1; i < border.Count; i++)
            if (border[i].From == border[i - 1].From) return null;
        var loop = new List<(int From, int To, int Face)>(border.Count);
        var at = 0;
        do
        {
            if (loop.Count == border.Count) return null;
            loop.Add(border[at]);
            var to = border[at].To;
            int lo = 0, hi = border.Count;
            while (lo < hi)
            {
                var mid = (lo + hi) / 2;
                if (border[mid].From < to) lo = mid + 1; else hi = mid;
            }
            if (lo == border.Count || border[lo].From != to) return null;
            at = lo;
        }
        while (at != 0);
        return loop.Count == border.Count ? loop : null;
    }

    // The border with the stretches towards other flat bricks drawn straight.
    private List<int> Kept(int b, bool[] holds)
    {
        var patch = _patches[b]!;
        int[] loop = patch.Loop, faces = patch.FaceOfEdge;
        var kept = new List<int>();
        for (var i = 0; i < loop.Length;)
        {
            var j = i + 1;
            while (j < loop.Length && faces[j] == faces[i]) j++;
            var end = loop[j % loop.Length];
            kept.Add(loop[i]);
            var neighbour = Neighbour(b, faces[i]);
            if (neighbour < 0 || !holds[neighbour] || !Straight(loop, i, j, end))
                for (var k = i + 1; k < j; k++) kept.Add(loop[k]);
            i = j;
        }
        return kept;
    }

    // Both bricks at a face must come to the same answer, so the line is always taken from its lower end.
    private bool Straight(int[] loop, int from, int to, int end)
    {
        Vec3 a = At(Math.Min(loop[from], end)), d = At(Math.Max(loop[from], end)) - a;
        var l2 = d.LengthSquared;
        for (var k = from + 1; k < to; k++)
        {
            var p = At(loop[k]) - a;
            var along = p.Dot(d);
            if (!(along > 0 && along < l2) || p.Cross(d).LengthSquared > _flat * _flat * l2) return false;
        }
        return true;
    }

    private bool Judged(int b, bool[] holds)
    {
        var patch = _patches[b]!;
        var loop = Kept(b, holds);
        if (loop.Count < 3) return false;
        var m = patch.Middle;
        var normal = Vec3.Zero;
        for (var i = 0; i < loop.Count; i++) normal += (At(loop[i]) - m).Cross(At(loop[(i + 1) % loop.Count]) - m);
        normal = normal.Unit();
        var u = normal.AnyPerpendicular();
        var v = normal.Cross(u);
        var turns = 0;
        for (var i = 0; i < loop.Count; i++)
        {
            Vec3 p = At(loop[i]), q = At(loop[(i + 1) % loop.Count]), own = (p - m).Cross(q - m);
            var area2 = own.Length;
            double e1 = (p - m).LengthSquared, e2 = (q - p).LengthSquared, e3 = (m - q).LengthSquared;
            // Seen from the front, once around, no needles: then the border is a simple loop that the middle sees whole.
            if (own.Dot(normal) < 0.5 * area2 || 3.4641016 * area2 < 0.02 * (e1 + e2 + e3)) return false;
            if ((p - m).Dot(v) <= 0 && (q - m).Dot(v) > 0) turns++;
            if (!_judge.Holds(m, p, q, own / area2, Math.Max(e1, Math.Max(e2, e3)))) return false;
        }
        return turns == 1;
    }
}
