using Stiltwright.Geometry.Fields;

namespace Stiltwright.Geometry.Simplifying;

/// <summary>
/// Saves triangles of a cavity's surface by drawing short edges together. The field judges every new triangle at sample points: its
/// value less the level is the deviation, so one bound keeps the wall and another the shape (<see cref="LevelJudge"/>).
/// The work goes through slabs of space in parallel; edges near a border of slabs wait for the next pass, whose slabs are
/// shifted. So the result is the same for any number of threads.
/// </summary>
internal sealed class LevelCollapse
{
    private const int RingSize = 20;
    private readonly BrickField _field;
    private readonly CornerTable _table;
    private readonly Vec3[] _points;
    private readonly int[] _owner;
    private readonly bool[] _locked;
    private readonly byte[] _changed;
    private readonly byte[] _failed;
    private readonly LevelJudge _judge;
    private readonly double _level, _longest;

    /// <param name="field">The field whose level the surface is.</param>
    /// <param name="xyz">Vertices in lattice units.</param>
    /// <param name="corners">Closed 2-manifold.</param>
    /// <param name="locked">Vertices that must stay.</param>
    /// <param name="level">Where new vertices are put.</param>
    /// <param name="judge">Decides on new triangles.</param>
    internal LevelCollapse(BrickField field, int[] xyz, int[] corners, bool[] locked, double level, LevelJudge judge)
    {
        _field = field;
        var unit = field.Grid.Lattice.UnitMm;
        _points = new Vec3[xyz.Length / 3];
        for (var v = 0; v < _points.Length; v++) _points[v] = new Vec3(xyz[3 * v] * unit, xyz[3 * v + 1] * unit, xyz[3 * v + 2] * unit);
        _table = new CornerTable(_points.Length, corners, EdgePairing.Build(new Mesh(field.Grid.Lattice, xyz, corners)).TwinArray);
        _owner = new int[_points.Length];
        _changed = new byte[_points.Length];
        _failed = new byte[corners.Length];
        _locked = locked;
        (_level, _judge) = (level, judge);
        _longest = 12 * field.Grid.Cell;
    }

    internal (int[] Xyz, int[] Corners) Run(int maxThreads, CancellationToken cancel)
    {
        var options = new ParallelOptions { MaxDegreeOfParallelism = Spatial.TriangleTree.Threads(maxThreads).MaxDegreeOfParallelism, CancellationToken = cancel };
        ReadOnlySpan<double> lengths = [0.6, 0.9, 1.3, 1.3, 1.9, 1.9, 2.8, 2.8, 4, 4, 6, 6, 9, 9, 12, 12];
        for (var pass = 0; pass < lengths.Length; pass++) Pass(pass + 1, lengths[pass] * _field.Grid.Cell, options);
        return Packed();
    }

    private void Pass(int pass, double length, ParallelOptions options)
    {
        // Slabs across the longest side, far wider than the triangles of this pass, shifted by half a slab every other pass.
        var grid = _field.Grid;
        var axis = grid.Nx >= grid.Ny && grid.Nx >= grid.Nz ? 0 : grid.Ny >= grid.Nz ? 1 : 2;
        var origin = axis == 0 ? grid.X(0) : axis == 1 ? grid.Y(0) : grid.Z(0);
        var width = Math.Max(Math.Max(32, Math.Max(grid.Nx, Math.Max(grid.Ny, grid.Nz)) / 24) * grid.Cell, 24 * length);
        var shift = pass % 2 == 0 ? 0 : width / 2;
        var slabs = (int)(Math.Max(grid.Nx, Math.Max(grid.Ny, grid.Nz)) * grid.Cell / width) + 2;
        for (var v = 0; v < _points.Length; v++) _owner[v] = Math.Clamp((int)((_points[v][axis] - origin + shift) / width), 0, slabs - 1);
        var vertex = _table.Vertex;
        var start = new int[slabs + 1];
        for (var t = 0; t < vertex.Length; t += 3)
            if (vertex[t] >= 0) start[_owner[vertex[t]] + 1]++;
        for (var s = 0; s < slabs; s++) start[s + 1] += start[s];
        var fill = start.AsSpan(0, slabs).ToArray();
        var order = new int[start[slabs]];
        for (var t = 0; t < vertex.Length; t += 3)
            if (vertex[t] >= 0) order[fill[_owner[vertex[t]]]++] = t;
        Ranges.OneByOne(slabs, options, s =>
        {
            var work = new Work();
            for (var i = start[s]; i < start[s + 1]; i++)
                for (var k = 0; k < 3; k++)
                {
                    var c = order[i] + k;
                    if (vertex[c] < 0) break;
                    TryEdge(c, s, pass, length * length, work);
                }
        });
    }

    private sealed class Work
    {
        public int CountA, CountB;
        public readonly int[] RingA = new int[RingSize], RingB = new int[RingSize];
    }

    private void TryEdge(int corner, int slab, int pass, double length2, Work work)
    {
        var table = _table;
        int a = table.Vertex[CornerTable.Next(corner)], b = table.Vertex[CornerTable.Previous(corner)];
        if (a > b || _owner[a] != slab || _owner[b] != slab || _locked[a] || _locked[b]) return;
        if ((_points[a] - _points[b]).LengthSquared > length2) return;
        if (_failed[corner] > 0 && _changed[a] < _failed[corner] && _changed[b] < _failed[corner]) return;
        if (!OwnsRings(corner, slab, work) || Collapse(corner, a, b, pass, work)) return;
        if (_failed[corner] != byte.MaxValue) _failed[corner] = (byte)pass;
    }

    // Gathers the rings of both ends; false where another slab has a say in them.
    private bool OwnsRings(int corner, int slab, Work work)
    {
        work.CountA = _table.Ring(_table.Vertex[CornerTable.Next(corner)], work.RingA);
        work.CountB = _table.Ring(_table.Vertex[CornerTable.Previous(corner)], work.RingB);
        for (var i = 0; i < work.CountA; i++)
            if (_owner[_table.Vertex[CornerTable.Next(work.RingA[i])]] != slab) return false;
        for (var i = 0; i < work.CountB; i++)
            if (_owner[_table.Vertex[CornerTable.Next(work.RingB[i])]] != slab) return false;
        return true;
    }

    private bool Collapse(int corner, int a, int b, int pass, Work work)
    {
        var table = _table;
        int na = work.CountA, nb = work.CountB;
        if (na < 3 || nb < 3 || na + nb - 4 < 3 || na + nb - 4 > 14) return false;
        Span<int> ringA = work.RingA.AsSpan(0, na), ringB = work.RingB.AsSpan(0, nb);
        // Link condition: the two vertices have exactly the two common neighbours across the edge, and those keep three triangles.
        int d1 = table.Vertex[corner], d2 = table.Vertex[table.Opposite[corner]], common = 0;
        foreach (var c in ringB)
        {
            var v = table.Vertex[CornerTable.Next(c)];
            if (v == a) continue;
            foreach (var e in ringA)
                if (table.Vertex[CornerTable.Next(e)] == v) common++;
        }
        if (common != 2 || d1 == d2) return false;
        Span<int> few = stackalloc int[4];
        if (table.Ring(d1, few) == 3 || table.Ring(d2, few) == 3) return false;

        var middle = (_points[a] + _points[b]) * 0.5;
        for (var attempt = 0; attempt < 2; attempt++)
        {
            var target = attempt == 0 ? _level : _level + 0.55 * (_judge.Most - _level);
            if (!_judge.OnLevel(middle, target, out var p)) continue;
            if (!Fits(ringA, a, b, p) || !Fits(ringB, b, a, p)) continue;
            _points[a] = p;
            foreach (var c in ringA) _changed[table.Vertex[CornerTable.Next(c)]] = (byte)pass;
            foreach (var c in ringB) _changed[table.Vertex[CornerTable.Next(c)]] = (byte)pass;
            table.Collapse(corner, ringB);
            table.CornerOf[b] = -1;
            _changed[a] = (byte)pass;
            return true;
        }
        return false;
    }

    // Whether the triangles around a vertex, without those at the other end of the edge, may get a new position for it.
    private bool Fits(ReadOnlySpan<int> ring, int vertex, int otherEnd, Vec3 p)
    {
        var table = _table;
        foreach (var c in ring)
        {
            int v = table.Vertex[CornerTable.Next(c)], w = table.Vertex[CornerTable.Previous(c)];
            if (v == otherEnd || w == otherEnd) continue;
            Vec3 q = _points[v], r = _points[w], old = _points[vertex];
            Vec3 before = (q - old).Cross(r - old), after = (q - p).Cross(r - p);
            double beforeLength = before.Length, area2 = after.Length;
            if (after.Dot(before) < 0.3 * beforeLength * area2) return false;
            double e1 = (q - p).LengthSquared, e2 = (r - q).LengthSquared, e3 = (p - r).LengthSquared, longest = Math.Max(e1, Math.Max(e2, e3));
            if (longest > _longest * _longest) return false;
            // Shape: 1 for equal sides. Thin triangles (the cut makes clusters of close corners) may become thinner for a while, not needles.
            var shape = 3.4641016 * area2 / (e1 + e2 + e3);
            if (shape < 0.25)
            {
                var shapeBefore = 3.4641016 * beforeLength / ((q - old).LengthSquared + e2 + (old - r).LengthSquared);
                if (area2 == 0 || shape < 0.02 || shape < 0.35 * shapeBefore) return false;
            }
            if (!_judge.Holds(p, q, r, after / area2, longest)) return false;
        }
        return true;
    }

    private (int[] Xyz, int[] Corners) Packed()
    {
        var lattice = _field.Grid.Lattice;
        var number = new int[_points.Length];
        number.AsSpan().Fill(-1);
        var xyz = new List<int>();
        var corners = new List<int>();
        foreach (var v in _table.Vertex)
        {
            if (v < 0) continue;
            if (number[v] < 0)
            {
                number[v] = xyz.Count / 3;
                xyz.Add(lattice.Round(_points[v].X));
                xyz.Add(lattice.Round(_points[v].Y));
                xyz.Add(lattice.Round(_points[v].Z));
            }
            corners.Add(number[v]);
        }
        return (xyz.ToArray(), corners.ToArray());
    }
}
