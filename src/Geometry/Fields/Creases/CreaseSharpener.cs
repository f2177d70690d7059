using Stiltwright.Geometry.Simplifying;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Fields.Creases;

/// <summary>Depths between which a sharpened surface lies, mm.</summary>
/// <param name="Cell">Cell of the field.</param>
/// <param name="Wall">Wall that stays everywhere.</param>
/// <param name="Level">Depth at which the surface was cut.</param>
/// <param name="Deepest">Depth beyond which points are put back.</param>
internal readonly record struct CreaseLimits(double Cell, double Wall, double Level, double Deepest);

/// <summary>A surface and how deep it still lies where it could not be put back, mm; zero where it could everywhere.</summary>
/// <param name="Xyz">Vertices in lattice units.</param>
/// <param name="Corners">Triangles.</param>
/// <param name="Depth">Depth outside gaps.</param>
/// <param name="InGap">Depth in gaps, less than a cell wide, between walls that face each other.</param>
/// <param name="GapAt">Where that is.</param>
internal readonly record struct SharpSurface(int[] Xyz, int[] Corners, double Depth, double InGap, Vec3 GapAt);

/// <summary>
/// Puts back the sharp inner edges and corners that the cells of the field blunt. Where a point of the surface lies deeper than
/// asked, the vertex there is moved, or one is put on the edge or into the triangle, or the edge is flipped, so that the surface
/// passes through the place where the offset planes meet (<see cref="CreasePoint"/>; feature vertices and flips after Kobbelt, Botsch,
/// Schwanecke, Seidel 2001). Every new triangle is proven to keep the wall (<see cref="CreaseJudge"/>) and to cross none around it; in
/// the end the whole surface is searched for crossings, exactly, and where there is one the place is left as it was.
/// Each round proposes for all triangles that are still too deep, in parallel and from the same state, and then carries out those
/// that do not touch each other, deepest first: the result is the same for any number of threads.
/// </summary>
internal sealed class CreaseSharpener
{
    private const int MostRounds = 90;

    // Obstacles seen at more than 120 degrees apart.
    private const double FacingCosine = -0.5;
    private readonly CreaseProposals _proposals;
    private readonly GrowingSurface _surface;
    private readonly TriangleCells _cells;
    private readonly CreaseJudge _judge;
    private readonly KeptSolid _kept;
    private readonly double _stubborn;
    private readonly List<(Vec3 At, double Radius)> _left;
    private readonly ParallelOptions _options;
    private KnownPoint[] _known = [];
    private Excess[] _excess = [];
    private bool[] _failed = [];
    private int[] _touched = [];
    private int[] _taken = [];
    private (double Depth, double InGap, Vec3 GapAt) _found;

    private CreaseSharpener(GrowingSurface surface, TriangleTree border, KeptSolid kept, CreaseLimits limits, List<(Vec3, double)> left, ParallelOptions options)
    {
        _surface = surface;
        _kept = kept;
        _stubborn = limits.Deepest + 0.2 * (limits.Deepest - limits.Wall);
        _judge = new CreaseJudge(border, limits);
        _cells = new TriangleCells(2 * limits.Cell);
        _proposals = new CreaseProposals(surface, _cells, _judge, kept, limits);
        _left = left;
        _options = options;
    }

    /// <summary>Sharpens a closed 2-manifold surface that crosses nowhere; gives it back so.</summary>
    internal static SharpSurface Run(
        TriangleTree border, KeptSolid kept, Lattice lattice, int[] xyz, int[] corners, CreaseLimits limits, int threads, CancellationToken cancel)
    {
        var options = new ParallelOptions { MaxDegreeOfParallelism = TriangleTree.Threads(threads).MaxDegreeOfParallelism, CancellationToken = cancel };
        var left = new List<(Vec3, double)>();
        SharpSurface found = default;
        for (var attempt = 0; attempt < 4; attempt++)
        {
            var surface = new GrowingSurface(lattice, xyz, corners);
            var run = new CreaseSharpener(surface, border, kept, limits, left, options);
            var changed = run.Rounds();
            var (depth, inGap, gapAt) = run.Rest();
            if (attempt == 0) found = new(xyz, corners, run._found.Depth, run._found.InGap, run._found.GapAt);
            if (!changed) return found;
            var (points, triangles) = surface.Packed();
            var mesh = new Mesh(lattice, points, triangles);
            var crossings = SelfCrossings.Find(mesh, threads);
            if (crossings.Count == 0) return new(points, triangles, depth, inGap, gapAt);
            foreach (var (a, b) in crossings)
            {
                var (p, q, r) = mesh.Triangle(a);
                var (s, t, u) = mesh.Triangle(b);
                left.Add(((p + q + r) / 3, (attempt + 1) * 2 * limits.Cell));
                left.Add(((s + t + u) / 3, (attempt + 1) * 2 * limits.Cell));
            }
        }
        return found;
    }

    // False where nothing was changed.
    private bool Rounds()
    {
        FindDeep();
        _found = Rest();
        var changed = false;
        var effort = 0;
        for (var round = 1; round <= MostRounds; round++)
        {
            var deep = new List<int>();
            for (var t = 0; t < _surface.Triangles; t++)
                if (_excess[t].Volume > 0 && !_failed[t]) deep.Add(t);
            if (deep.Count == 0)
            {
                if (!Again(ref effort)) break;
                continue;
            }
            deep = Apart(deep, round);
            var proposals = new Proposal?[deep.Count];
            _proposals.See(_known, _excess, Efforts[effort]);
            Parallel.For(0, deep.Count, _options, i =>
            {
                if (!LeftAlone(_excess[deep[i]].At)) proposals[i] = _proposals.For(deep[i]);
            });
            var order = new List<int>();
            for (var i = 0; i < deep.Count; i++)
                if (proposals[i] is null) _failed[deep[i]] = true;
                else order.Add(i);
            order.Sort((i, j) => proposals[j]!.Gain.CompareTo(proposals[i]!.Gain) is not 0 and var more ? more : i.CompareTo(j));
            foreach (var i in order) changed |= Carry(proposals[i]!, round);
            _options.CancellationToken.ThrowIfCancellationRequested();
        }
        return changed;
    }

    // Where nothing more helps, smaller gains count, and flatter triangles.
    private static readonly double[] Efforts = [0.05, 0.002];

    private bool Again(ref int effort)
    {
        if (++effort == Efforts.Length) return false;
        for (var t = 0; t < _surface.Triangles; t++) _failed[t] = _excess[t].Depth < _stubborn;
        return true;
    }

    // The deepest of those that share no corner with a deeper one: what the others would need is not known before these are done.
    private List<int> Apart(List<int> deep, int round)
    {
        deep.Sort((s, t) => _excess[t].Volume.CompareTo(_excess[s].Volume) is not 0 and var more ? more : s.CompareTo(t));
        if (_taken.Length < _surface.Vertices) Array.Resize(ref _taken, _surface.Vertices + _surface.Vertices / 4);
        var apart = new List<int>();
        foreach (var t in deep)
        {
            int a = _surface.Vertex(3 * t), b = _surface.Vertex(3 * t + 1), c = _surface.Vertex(3 * t + 2);
            if (_taken[a] == round || _taken[b] == round || _taken[c] == round) continue;
            _taken[a] = _taken[b] = _taken[c] = round;
            apart.Add(t);
        }
        return apart;
    }

    private bool LeftAlone(Vec3 p)
    {
        foreach (var (at, radius) in _left)
            if ((at - p).LengthSquared < radius * radius) return true;
        return false;
    }

    private void FindDeep()
    {
        _known = new KnownPoint[_surface.Vertices];
        const int block = 256;
        Parallel.For(0, (_known.Length + block - 1) / block, _options, b =>
        {
            // Vertices that were found one after the other lie near each other.
            var seed = -1;
            for (var v = b * block; v < Math.Min(_known.Length, (b + 1) * block); v++)
            {
                _known[v] = _judge.Known(_surface.At(v), _kept, seed);
                seed = _known[v].Facet;
            }
        });
        var count = _surface.Triangles;
        for (var t = 0; t < count; t++) _cells.Add(t, _surface.At(_surface.Vertex(3 * t)), _surface.At(_surface.Vertex(3 * t + 1)), _surface.At(_surface.Vertex(3 * t + 2)));
        (_excess, _failed, _touched) = (new Excess[count], new bool[count], new int[count]);
        Parallel.For(0, (count + block - 1) / block, _options, b =>
        {
            for (var t = b * block; t < Math.Min(count, (b + 1) * block); t++)
                _excess[t] = _judge.Beyond(_known[_surface.Vertex(3 * t)], _known[_surface.Vertex(3 * t + 1)], _known[_surface.Vertex(3 * t + 2)], _kept);
        });
    }

    private bool Carry(Proposal p, int round)
    {
        foreach (var t in p.Touched)
            if (_touched[t] == round) return false;
        if (_proposals.Crosses(p, t => _touched[t] == round)) return false;
        Span<int> now = stackalloc int[CreaseProposals.MostAround];
        var vertex = _surface.Vertices;
        switch (p.Kind)
        {
            case ProposalKind.Move:
                vertex = _surface.Vertex(p.Corner);
                _surface.Move(vertex, p.Point.At);
                p.Touched.CopyTo(now);
                break;
            case ProposalKind.Collapse:
                if (!_surface.MayCollapse(p.Corner)) return false;
                _surface.Collapse(p.Corner);
                p.Touched.CopyTo(now);
                break;
            case ProposalKind.Flip:
                if (!_surface.MayFlip(p.Corner)) return false;
                (now[0], now[1]) = _surface.Flip(p.Corner);
                break;
            case ProposalKind.SplitEdge:
                (now[0], now[1], now[2], now[3]) = _surface.SplitEdge(p.Corner, p.Point.At);
                break;
            default:
                (now[0], now[1], now[2]) = _surface.SplitTriangle(p.Corner / 3, p.Point.At);
                break;
        }
        Grow();
        if (p.Vertex >= 0) _known[vertex] = p.Point;
        // Those that vanished.
        for (var i = p.After.Length; i < p.Touched.Length; i++) (_excess[p.Touched[i]], _touched[p.Touched[i]]) = (Excess.None, round);
        for (var i = 0; i < p.After.Length; i++)
        {
            var t = now[i];
            (_excess[t], _failed[t], _touched[t]) = (p.After[i], false, round);
            _cells.Add(t, _known[_surface.Vertex(3 * t)].At, _known[_surface.Vertex(3 * t + 1)].At, _known[_surface.Vertex(3 * t + 2)].At);
            // What failed beside it may succeed now.
            for (var c = 3 * t; c < 3 * t + 3; c++) _failed[_surface.Opposite(c) / 3] = false;
        }
        return true;
    }

    private void Grow()
    {
        var seen = false;
        if (_surface.Vertices > _known.Length)
        {
            Array.Resize(ref _known, _surface.Vertices + _surface.Vertices / 4);
            seen = true;
        }
        if (_surface.Triangles > _excess.Length)
        {
            var room = _surface.Triangles + _surface.Triangles / 4;
            Array.Resize(ref _excess, room);
            Array.Resize(ref _failed, room);
            Array.Resize(ref _touched, room);
            seen = true;
        }
        if (seen) _proposals.See(_known, _excess, 0);
    }

    // What could not be put back: the deepest place in gaps between walls that face each other, and the deepest of all others.
    private (double Depth, double InGap, Vec3 GapAt) Rest()
    {
        double depth = 0, inGap = 0;
        var at = Vec3.Zero;
        for (var t = 0; t < _surface.Triangles; t++)
        {
            if (_excess[t].Volume == 0) continue;
            Vec3 a = _known[_surface.Vertex(3 * t)].Away, b = _known[_surface.Vertex(3 * t + 1)].Away, c = _known[_surface.Vertex(3 * t + 2)].Away;
            if (Math.Min(a.Dot(b), Math.Min(b.Dot(c), c.Dot(a))) > FacingCosine) depth = Math.Max(depth, _excess[t].Depth);
            else if (_excess[t].Depth > inGap) (inGap, at) = (_excess[t].Depth, _excess[t].At);
        }
        return (depth, inGap, at);
    }
}
