using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>A closed run of edges of a mesh whose corners are those of a regular polygon.</summary>
/// <param name="Vertices">Its corners in order.</param>
/// <param name="Centre">Their middle.</param>
/// <param name="Normal">Unit vector about which they run counter-clockwise.</param>
/// <param name="Radius">Distance of the corners from the middle, mm.</param>
internal sealed record DrawnRing(int[] Vertices, Vec3 Centre, Vec3 Normal, double Radius);

/// <summary>Finds the rings of corners from which generators draw tubes, as far as a union left them whole.</summary>
internal sealed class RingFinder
{
    private const int LeastSides = 4, MostSides = 48;
    private const double LeastRadius = 0.03;

    /// <summary>Departure of an edge's length and turn from those of a regular polygon.</summary>
    private const double EdgeShare = 0.02, TurnShare = 0.04;

    /// <summary>Departure of a corner from circle and plane, as a share of the radius.</summary>
    private const double RoundShare = 0.015;

    /// <summary>
    /// A corner of a drawn ring has a few neighbours, and at most the spokes of a cap or of a joint besides. All pairs of neighbours are
    /// tried, so the middle of a fan of thousands would cost millions of trials: such a corner starts no ring.
    /// </summary>
    private const int MostNeighbours = 200;

    private readonly Mesh _mesh;

    /// <summary>Step to which coordinates were rounded, mm.</summary>
    private readonly double _step;
    private readonly int[] _start;
    private readonly int[] _list;

    private RingFinder(Mesh mesh, double step)
    {
        _step = step;
        _mesh = mesh;
        var corners = mesh.CornersArray;
        _start = new int[mesh.VertexCount + 1];
        for (var h = 0; h < corners.Length; h++) _start[corners[h] + 1]++;
        for (var v = 0; v < mesh.VertexCount; v++) _start[v + 1] += _start[v];
        _list = new int[corners.Length];
        var fill = (int[])_start.Clone();
        // On a closed surface every neighbour follows its vertex once.
        for (var h = 0; h < corners.Length; h++) _list[fill[corners[h]]++] = corners[EdgePairing.Next(h)];
    }

    /// <summary>The rings no larger than a radius, mm, in the order of their first corner; coordinates may have been rounded to a step, mm.</summary>
    public static List<DrawnRing> Find(Mesh mesh, double widest, double step, CancellationToken ct)
    {
        var finder = new RingFinder(mesh, step);
        var found = new List<DrawnRing>();
        var seen = new HashSet<(int, int, int)>();
        for (var b = 0; b < mesh.VertexCount; b++)
        {
            if ((b & 255) == 0) ct.ThrowIfCancellationRequested();
            var around = finder._list.AsSpan(finder._start[b], finder._start[b + 1] - finder._start[b]);
            if (around.Length > MostNeighbours) continue;
            var pb = mesh.Vertex(b);
            for (var i = 0; i < around.Length; i++)
            {
                var pa = mesh.Vertex(around[i]);
                var first = pb - pa;
                var edge = first.Length;
                if (!(edge > 0)) continue;
                for (var k = 0; k < around.Length; k++)
                {
                    if (k == i) continue;
                    var second = mesh.Vertex(around[k]) - pb;
                    if (Math.Abs(second.Length - edge) > EdgeShare * edge + 1e-4 + 1.5 * step) continue;
                    var turn = Math.Acos(Math.Clamp(first.Dot(second) / (edge * second.Length), -1, 1));
                    if (!(turn > 2 * Math.PI / (MostSides + 1))) continue;
                    var sides = (int)Math.Round(2 * Math.PI / turn);
                    if (sides is < LeastSides or > MostSides || Math.Abs(turn - 2 * Math.PI / sides) > TurnShare * turn + Math.Min(1.5 * step / edge, 0.3 * turn)) continue;
                    var radius = edge / (2 * Math.Sin(Math.PI / sides));
                    if (radius < LeastRadius || radius > widest) continue;
                    // Each ring from its lowest corner only, one way round.
                    if (around[i] < b || around[k] < b || around[i] > around[k]) continue;
                    if (seen.Contains((b, around[i], around[k]))) continue;
                    if (finder.Walk(around[i], b, around[k], sides) is not { } ring) continue;
                    seen.Add((b, around[i], around[k]));
                    found.Add(ring);
                }
            }
        }
        return found;
    }

    private DrawnRing? Walk(int a, int b, int c, int sides)
    {
        var ring = new List<int>(sides) { a, b, c };
        Vec3 pa = _mesh.Vertex(a), pb = _mesh.Vertex(b), pc = _mesh.Vertex(c);
        while (ring.Count < sides)
        {
            // The next corner is the first of the last four, seen in the mirror half-way between the others.
            var axis = (pc - pb).Unit();
            var expected = pa + axis * (2 * ((pb + pc) / 2 - pa).Dot(axis));
            var reach = 0.06 * pb.DistanceTo(pc) + 1e-4 + 3 * _step;
            var next = -1;
            for (var i = _start[c]; i < _start[c + 1]; i++)
                if (_mesh.Vertex(_list[i]).DistanceTo(expected) <= reach) next = _list[i];
            if (next < 0 || ring.Contains(next)) return null;
            ring.Add(next);
            (a, b, c) = (b, c, next);
            (pa, pb, pc) = (pb, pc, _mesh.Vertex(next));
        }
        var closed = false;
        for (var i = _start[ring[^1]]; i < _start[ring[^1] + 1]; i++) closed |= _list[i] == ring[0];
        if (!closed) return null;
        var corners = ring.Select(_mesh.Vertex).ToArray();
        var centre = Vec3.Zero;
        foreach (var p in corners) centre += p / sides;
        var normal = Vec3.Zero;
        double radius = 0;
        for (var i = 0; i < sides; i++)
        {
            normal += (corners[i] - centre).Cross(corners[(i + 1) % sides] - centre);
            radius += corners[i].DistanceTo(centre) / sides;
        }
        normal = normal.Unit();
        foreach (var p in corners)
            if (Math.Abs(p.DistanceTo(centre) - radius) > RoundShare * radius + 5e-4 + _step || Math.Abs((p - centre).Dot(normal)) > RoundShare * radius + 5e-4 + _step) return null;
        return new DrawnRing([.. ring], centre, normal, radius);
    }
}
