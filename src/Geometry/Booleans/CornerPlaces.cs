using Stiltwright.Geometry.Exact;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Booleans;

/// <summary>
/// Gives the new corners of a boolean their places on the lattice so that no two triangles of the result cross. The result is known exactly
/// before; rounding each corner to the nearest lattice place may turn a needle over or push a corner through a sheet close by. Such corners (and
/// no corner of the operands, ever) try the places around, those first that lie near the surface and near the exact place, and take the one
/// with the fewest crossings; in rounds, the neighbourhood growing, until none is left.
/// </summary>
/// <remarks>Moving a corner along can only bring a crossing to triangles at that corner, so all crossings stay known by looking there.</remarks>
internal sealed class CornerPlaces
{
    /// <summary>The farthest that a corner is moved on an axis after rounding, units.</summary>
    public const int Farthest = 4;

    // Rounds with each size of the neighbourhood.
    private const int RoundsEach = 6;

    // How much worse a step off the surface is than one along it: what lies in a plane is to stay there.
    private const double OffSurface = 100;

    private static readonly (int X, int Y, int Z)[][] Around = [.. Enumerable.Range(1, Farthest).Select(Offsets)];

    private readonly int[] _xyz;
    private readonly int[] _rounded;
    private readonly int[] _corners;
    private readonly int _firstNew;
    private readonly CutPoints _exact;
    private readonly TriangleTree _tree;
    private readonly VertexTriangles _at;
    private readonly double _unit;
    private readonly List<int> _near = [];
    private readonly List<(int Own, int Other)> _candidates = [];

    private CornerPlaces(Mesh mesh, int firstNew, CutPoints exact)
    {
        _exact = exact;
        _xyz = (int[])mesh.XyzArray.Clone();
        _rounded = mesh.XyzArray;
        _corners = mesh.CornersArray;
        _firstNew = firstNew;
        _tree = TriangleTree.Build(mesh);
        _at = new VertexTriangles(mesh);
        _unit = mesh.Lattice.UnitMm;
    }

    /// <summary>The mesh with its new corners (those numbered from <paramref name="firstNew"/>) moved where that takes crossings away, and what still crosses. New corner n has the exact point n of <paramref name="exact"/>.
    /// Triangles of old corners are taken to cross only such as have a new one, unless it is to <paramref name="lookEverywhere"/>.</summary>
    public static (Mesh Mesh, IReadOnlyList<(int A, int B)> Crossings) Settle(Mesh mesh, int firstNew, CutPoints exact, bool lookEverywhere, CancellationToken cancel)
    {
        var fresh = Ranges.Where(mesh.TriangleCount, t => lookEverywhere || IsNew(mesh.CornersArray, t, firstNew));
        if (fresh.Length == 0) return (mesh, []);
        var run = new CornerPlaces(mesh, firstNew, exact);
        var crossing = run.Find(fresh, lookEverywhere);
        if (crossing.Count == 0) return (mesh, []);
        for (var reach = 1; reach <= Farthest; reach++)
            for (var round = 0; round < RoundsEach && crossing.Count > 0; round++)
            {
                cancel.ThrowIfCancellationRequested();
                if (!run.Round(ref crossing, Around[reach - 1])) break;
            }
        return (new Mesh(mesh.Lattice, run._xyz, mesh.CornersArray), crossing);
    }

    private static bool IsNew(int[] corners, int t, int firstNew) => corners[3 * t] >= firstNew || corners[3 * t + 1] >= firstNew || corners[3 * t + 2] >= firstNew;

    // Places up to so far away, in a fixed order.
    private static (int X, int Y, int Z)[] Offsets(int reach)
    {
        var all = new List<(int X, int Y, int Z)>();
        for (var x = -reach; x <= reach; x++)
            for (var y = -reach; y <= reach; y++)
                for (var z = -reach; z <= reach; z++) all.Add((x, y, z));
        return [.. all];
    }

    // Crossings of new triangles with any, at first: triangles of old corners lie where they lay and cross nothing but new ones.
    private List<(int A, int B)> Find(int[] fresh, bool lookEverywhere)
    {
        var blocks = new List<(int, int)>[Ranges.Count(fresh.Length)];
        Ranges.For(fresh.Length, (r, from, to) =>
        {
            var own = blocks[r] = [];
            var near = new List<int>();
            for (var i = from; i < to; i++)
            {
                var t = fresh[i];
                near.Clear();
                _tree.Overlapping(BoxOf(t, 0), near);
                foreach (var u in near)
                    if (u != t && !(u < t && (lookEverywhere || IsNew(_corners, u, _firstNew))) && Meets(t, u)) own.Add((Math.Min(t, u), Math.Max(t, u)));
            }
        });
        var found = new List<(int, int)>();
        foreach (var b in blocks) found.AddRange(b);
        found.Sort();
        return found;
    }

    private bool Meets(int t, int u) => TriangleMeet.Meets(_xyz, _corners.AsSpan(3 * t, 3), _corners.AsSpan(3 * u, 3));

    private Box3 BoxOf(int t, double grown)
    {
        var box = Box3.Empty;
        for (var k = 0; k < 3; k++)
        {
            var v = 3 * _corners[3 * t + k];
            box = box.With(new Vec3(_xyz[v] * _unit, _xyz[v + 1] * _unit, _xyz[v + 2] * _unit));
        }
        return grown > 0 ? box.Grown(grown) : box;
    }

    // Every new corner of a crossing triangle gets a turn. True if anything moved.
    private bool Round(ref List<(int A, int B)> crossing, (int X, int Y, int Z)[] places)
    {
        var turns = new SortedSet<int>();
        foreach (var (a, b) in crossing)
            for (var k = 0; k < 3; k++)
            {
                turns.Add(_corners[3 * a + k]);
                turns.Add(_corners[3 * b + k]);
            }
        var pairs = new HashSet<(int, int)>(crossing);
        var moved = false;
        foreach (var v in turns)
            if (v >= _firstNew && Move(v, places, pairs)) moved = true;
        crossing = [.. pairs.Order()];
        return moved;
    }

    private bool Move(int v, (int X, int Y, int Z)[] places, HashSet<(int A, int B)> pairs)
    {
        var star = _at.Of(v);
        Gather(star);
        var (x, y, z) = (_xyz[3 * v], _xyz[3 * v + 1], _xyz[3 * v + 2]);
        var least = Count(int.MaxValue);
        if (least == 0) return false;
        var best = (x, y, z);
        var had = least;
        foreach (var o in InTurn(v, star, places))
        {
            Put(v, (_rounded[3 * v] + o.X, _rounded[3 * v + 1] + o.Y, _rounded[3 * v + 2] + o.Z));
            var n = Count(least);
            if (n >= least) continue;
            (least, best) = (n, (_xyz[3 * v], _xyz[3 * v + 1], _xyz[3 * v + 2]));
            if (least == 0) break;
        }
        Put(v, best);
        if (least == had) return false;
        foreach (var (t, u) in _candidates)
        {
            var key = (Math.Min(t, u), Math.Max(t, u));
            if (Meets(t, u)) pairs.Add(key);
            else pairs.Remove(key);
        }
        return true;
    }

    // The best places first: volume changes by a third of the way along the sum of the area vectors around, so a way across that sum keeps it.
    private (int X, int Y, int Z)[] InTurn(int v, ReadOnlySpan<int> star, (int X, int Y, int Z)[] places)
    {
        var normal = Vec3.Zero;
        foreach (var t in star)
        {
            var (x, y, z) = Predicates.Normal(_xyz, 3 * _corners[3 * t], 3 * _corners[3 * t + 1], 3 * _corners[3 * t + 2]);
            normal += new Vec3(x, y, z);
        }
        normal = normal.Length > 0 ? normal.Unit() : Vec3.Zero;
        var off = new Vec3(_rounded[3 * v] - _exact.Coordinate(v - _firstNew, 0), _rounded[3 * v + 1] - _exact.Coordinate(v - _firstNew, 1), _rounded[3 * v + 2] - _exact.Coordinate(v - _firstNew, 2));
        var keys = new (double, int)[places.Length];
        for (var i = 0; i < keys.Length; i++)
        {
            var way = off + new Vec3(places[i].X, places[i].Y, places[i].Z);
            keys[i] = (way.Dot(way) + OffSurface * way.Dot(normal) * way.Dot(normal), i);
        }
        var turn = ((int, int, int)[])places.Clone();
        Array.Sort(keys, turn);
        return turn;
    }

    private void Put(int v, (int X, int Y, int Z) p) => (_xyz[3 * v], _xyz[3 * v + 1], _xyz[3 * v + 2]) = p;

    // What the triangles around a corner could meet, wherever it and others are moved; each pair once.
    private void Gather(ReadOnlySpan<int> star)
    {
        _candidates.Clear();
        foreach (var t in star)
        {
            _near.Clear();
            // Boxes of the tree are those before any move: both sides may have gone the whole way, and this corner may still go.
            _tree.Overlapping(BoxOf(t, (3 * Farthest + 1) * _unit), _near);
            foreach (var u in _near)
                if (u != t && (u > t || !star.Contains(u))) _candidates.Add((t, u));
        }
    }

    private int Count(int enough)
    {
        var n = 0;
        foreach (var (t, u) in _candidates)
            if (Meets(t, u) && ++n >= enough) break;
        return n;
    }
}
