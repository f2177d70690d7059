using Stiltwright.Geometry.Simplifying;

namespace Stiltwright.Geometry.Fields.Creases;

/// <summary>How a place is to be sharpened.</summary>
internal enum ProposalKind
{
    /// <summary>The vertex at the corner moves.</summary>
    Move,

    /// <summary>The edge across from the corner is flipped.</summary>
    Flip,

    /// <summary>A vertex comes onto the edge across from the corner.</summary>
    SplitEdge,

    /// <summary>A vertex comes into the corner's triangle.</summary>
    SplitTriangle,

    /// <summary>The edge across from the corner is drawn together into its start.</summary>
    Collapse,
}

/// <summary>One change of the surface, judged already.</summary>
/// <param name="Kind">What is done.</param>
/// <param name="Corner">Where.</param>
/// <param name="Point">The moved or new vertex.</param>
/// <param name="Touched">Triangles that change or vanish; those that stay come first, in the order of the pieces.</param>
/// <param name="After">What is beyond the limit afterwards, in the order in which <see cref="GrowingSurface"/> names the triangles.</param>
/// <param name="Rest">The sum of that, mm3.</param>
/// <param name="Gain">How much less that is than before, mm3.</param>
/// <param name="Vertex">Number of the moved or new vertex; -1 where edges are flipped.</param>
/// <param name="Pieces">The triangles that come.</param>
internal sealed record Proposal(
    ProposalKind Kind, int Corner, KnownPoint Point, int[] Touched, Excess[] After, double Rest, double Gain, int Vertex, Piece[] Pieces);

/// <summary>A triangle to be.</summary>
/// <param name="A">First vertex.</param>
/// <param name="B">Second vertex.</param>
/// <param name="C">Third vertex.</param>
/// <param name="Normal">Normal of those in whose place it comes, not a unit vector.</param>
internal readonly record struct Piece(int A, int B, int C, Vec3 Normal);

/// <summary>Finds what to do with a triangle that lies too deep; changes nothing itself.</summary>
internal sealed class CreaseProposals(GrowingSurface surface, TriangleCells cells, CreaseJudge judge, KeptSolid kept, CreaseLimits limits)
{
    /// <summary>Most triangles around a vertex that moves.</summary>
    internal const int MostAround = 24;

    private readonly CreasePoint _crease = new(judge, limits.Level + 0.15 * (limits.Deepest - limits.Level), 2 * limits.Cell);
    private readonly double _vertexLimit = limits.Level + 0.4 * (limits.Deepest - limits.Level);

    private KnownPoint[] _known = [];
    private Excess[] _excess = [];
    private double _least;

    /// <summary>The state that the next proposals start from.</summary>
    /// <param name="known">What is known of each vertex.</param>
    /// <param name="excess">What lies too deep of each triangle.</param>
    /// <param name="least">Share of what is too deep that a change must take away.</param>
    internal void See(KnownPoint[] known, Excess[] excess, double least) => (_known, _excess, _least) = (known, excess, least);

    /// <summary>The best change for a triangle, or null.</summary>
    internal Proposal? For(int triangle)
    {
        Proposal? best = null;
        // A vertex that lies too deep is moved first.
        var corner = -1;
        var most = _vertexLimit;
        for (var c = 3 * triangle; c < 3 * triangle + 3; c++)
            if (Corner(c).Depth > most) (most, corner) = (Corner(c).Depth, c);
        if (corner >= 0 && Better(ref best, Move(corner, 0))) return best;
        // Else what lies beside the deepest point: its edge, or the triangle where it is far from all of them.
        var x = _excess[triangle].At;
        Span<int> order = [3 * triangle, 3 * triangle + 1, 3 * triangle + 2];
        Span<double> share = stackalloc double[3];
        Shares(triangle, x, share);
        share.Sort(order);
        if (share[0] >= 0.15 && Better(ref best, SplitTriangle(triangle, x, best?.Gain ?? 0))) return best;
        foreach (var c in order)
            if (Better(ref best, Flip(c, best?.Gain ?? 0)) || Better(ref best, SplitEdge(c, x, best?.Gain ?? 0))) return best;
        if (share[0] < 0.15 && Better(ref best, SplitTriangle(triangle, x, best?.Gain ?? 0))) return best;
        if (best is not null) return best;
        // Nothing helps among small crumpled triangles: take one away.
        for (var c = 3 * triangle; c < 3 * triangle + 3; c++)
        {
            if (Better(ref best, Collapse(c, best?.Gain ?? 0)) || Better(ref best, Collapse(surface.Opposite(c), best?.Gain ?? 0))) return best;
        }
        if (corner < 0) return best;
        Span<int> ring = stackalloc int[MostAround];
        var n = surface.Ring(surface.Vertex(corner), ring);
        for (var i = 0; i < n; i++)
            if (Better(ref best, Collapse(CornerTable.Next(ring[i]), best?.Gain ?? 0))) return best;
        return best;
    }

    // Keeps the one that takes away more; true if it leaves nothing too deep.
    private static bool Better(ref Proposal? best, Proposal? next)
    {
        if (next is null) return false;
        if (best is null || next.Gain > best.Gain) best = next;
        return next.Rest == 0;
    }

    private KnownPoint Corner(int c) => _known[surface.Vertex(c)];

    private void Shares(int triangle, Vec3 x, Span<double> share)
    {
        Vec3 a = Corner(3 * triangle).At, b = Corner(3 * triangle + 1).At, c = Corner(3 * triangle + 2).At, n = (b - a).Cross(c - a);
        var whole = n.LengthSquared;
        share[0] = (c - b).Cross(x - b).Dot(n) / whole;
        share[1] = (a - c).Cross(x - c).Dot(n) / whole;
        share[2] = (b - a).Cross(x - a).Dot(n) / whole;
    }

    private Proposal? Move(int corner, double gain)
    {
        Span<int> ring = stackalloc int[MostAround];
        var vertex = surface.Vertex(corner);
        var n = surface.Ring(vertex, ring);
        if (n < 3) return null;
        var x = _known[vertex];
        var touched = new int[n];
        var around = new KnownPoint[n];
        for (var i = 0; i < n; i++) (touched[i], around[i]) = (ring[i] / 3, Corner(CornerTable.Next(ring[i])));
        var near = KeptNear(x.At, around);
        if (!_crease.Find(x, around, near, out var place)) return null;
        var pieces = new Piece[n];
        for (var attempt = 0; attempt < 3; attempt++)
        {
            var m = judge.Known(surface.Rounded(x.At + (place - x.At) * (1 - 0.3 * attempt)), near, x.Facet);
            for (var i = 0; i < n; i++)
            {
                int q = surface.Vertex(CornerTable.Next(ring[i])), r = surface.Vertex(CornerTable.Previous(ring[i]));
                pieces[i] = new(vertex, q, r, (_known[q].At - x.At).Cross(_known[r].At - x.At));
            }
            if (Judged(ProposalKind.Move, corner, vertex, m, touched, pieces, near, gain) is { } p) return p;
        }
        return null;
    }

    private Proposal? Flip(int corner, double gain)
    {
        if (!surface.MayFlip(corner)) return null;
        var (v, a, b, w) = Diamond(corner);
        var normal = Normal(v, a, b) + Normal(w, b, a);
        var near = KeptNear(_known[v].At, [_known[a], _known[b], _known[w]]);
        return Judged(ProposalKind.Flip, corner, -1, default, [corner / 3, surface.Opposite(corner) / 3], [new(v, a, w, normal), new(w, b, v, normal)], near, gain);
    }

    // The end of the edge across from a corner goes to its start.
    private Proposal? Collapse(int corner, double gain)
    {
        if (!surface.MayCollapse(corner)) return null;
        int a = surface.Vertex(CornerTable.Next(corner)), b = surface.Vertex(CornerTable.Previous(corner)), other = surface.Opposite(corner) / 3;
        Span<int> ring = stackalloc int[MostAround];
        var n = surface.Ring(b, ring);
        if (n < 3) return null;
        var pieces = new Piece[n - 2];
        var touched = new int[n];
        (touched[n - 2], touched[n - 1]) = (corner / 3, other);
        var around = new KnownPoint[n];
        var at = 0;
        for (var i = 0; i < n; i++)
        {
            int t = ring[i] / 3, q = surface.Vertex(CornerTable.Next(ring[i])), r = surface.Vertex(CornerTable.Previous(ring[i]));
            around[i] = _known[q];
            if (t == corner / 3 || t == other) continue;
            touched[at] = t;
            pieces[at++] = new(a, q, r, Normal(b, q, r));
        }
        if (at != n - 2) return null;
        return Judged(ProposalKind.Collapse, corner, -1, default, touched, pieces, KeptNear(_known[b].At, around), gain);
    }

    private Proposal? SplitEdge(int corner, Vec3 deepest, double gain)
    {
        var (v, a, b, w) = Diamond(corner);
        Vec3 from = _known[a].At, way = _known[b].At - from;
        var along = Math.Clamp((deepest - from).Dot(way) / way.LengthSquared, 0.15, 0.85);
        Vec3 n1 = Normal(v, a, b), n2 = Normal(w, b, a);
        var m = surface.Vertices;
        return Split(ProposalKind.SplitEdge, corner, from + way * along, [v, a, b, w], [corner / 3, surface.Opposite(corner) / 3],
            [new(v, a, m, n1), new(w, b, m, n2), new(v, m, b, n1), new(w, m, a, n2)], gain);
    }

    private Proposal? SplitTriangle(int triangle, Vec3 deepest, double gain)
    {
        int a = surface.Vertex(3 * triangle), b = surface.Vertex(3 * triangle + 1), c = surface.Vertex(3 * triangle + 2), m = surface.Vertices;
        var n = Normal(a, b, c);
        return Split(ProposalKind.SplitTriangle, 3 * triangle, deepest, [a, b, c], [triangle], [new(a, b, m, n), new(b, c, m, n), new(c, a, m, n)], gain);
    }

    private Proposal? Split(ProposalKind kind, int corner, Vec3 at, ReadOnlySpan<int> vertices, int[] touched, Piece[] pieces, double gain)
    {
        var around = new KnownPoint[vertices.Length];
        for (var i = 0; i < around.Length; i++) around[i] = _known[vertices[i]];
        var near = KeptNear(at, around);
        var x = judge.Known(at, near, around[0].Facet);
        if (!_crease.Find(x, around, near, out var place)) return null;
        for (var attempt = 0; attempt < 3; attempt++)
        {
            var m = judge.Known(surface.Rounded(at + (place - at) * (1 - 0.3 * attempt)), near, x.Facet);
            if (Judged(kind, corner, surface.Vertices, m, touched, pieces, near, gain) is { } p) return p;
        }
        return null;
    }

    private (int V, int A, int B, int W) Diamond(int corner) =>
        (surface.Vertex(corner), surface.Vertex(CornerTable.Next(corner)), surface.Vertex(CornerTable.Previous(corner)), surface.Vertex(surface.Opposite(corner)));

    private Vec3 Normal(int a, int b, int c) => (_known[b].At - _known[a].At).Cross(_known[c].At - _known[a].At);

    private Proposal? Judged(ProposalKind kind, int corner, int vertex, in KnownPoint point, int[] touched, Piece[] pieces, KeptSolid near, double gain)
    {
        // The cheap questions first.
        foreach (var piece in pieces)
            if (!Shapely(Of(piece.A, vertex, point).At, Of(piece.B, vertex, point).At, Of(piece.C, vertex, point).At, piece.Normal)) return null;
        var before = 0.0;
        foreach (var t in touched) before += _excess[t].Volume;
        var most = before - Math.Max(gain, _least * before);
        var after = new Excess[pieces.Length];
        var rest = 0.0;
        for (var i = 0; i < pieces.Length; i++)
        {
            after[i] = judge.Beyond(Of(pieces[i].A, vertex, point), Of(pieces[i].B, vertex, point), Of(pieces[i].C, vertex, point), near, most - rest);
            // The judge may have ended early: then what it says is part of the truth only.
            if (after[i].Volume >= most - rest) return null;
            rest += after[i].Volume;
            if (rest >= most) return null;
        }
        foreach (var piece in pieces)
            if (!judge.Holds(Of(piece.A, vertex, point), Of(piece.B, vertex, point), Of(piece.C, vertex, point), near)) return null;
        if (Crosses(vertex, vertex, point.At, touched, pieces, null)) return null;
        return new Proposal(kind, corner, point, touched, after, rest, before - rest, vertex, pieces);
    }

    private KnownPoint Of(int v, int vertex, in KnownPoint point) => v == vertex ? point : _known[v];

    // No needle, and not turned far from the normals it had; whether it crosses anything is asked later.
    private bool Shapely(Vec3 p, Vec3 q, Vec3 r, Vec3 normal)
    {
        var own = (q - p).Cross(r - p);
        var area2 = own.Length;
        var longest = Math.Sqrt(Math.Max((q - p).LengthSquared, Math.Max((r - q).LengthSquared, (p - r).LengthSquared)));
        return area2 > (_least < 0.05 ? 0.004 : 0.01) * limits.Cell * longest && own.Dot(normal) > -0.3 * area2 * normal.Length;
    }

    /// <summary>
    /// Whether a new triangle of a proposal would meet another one, or one of those that others made meanwhile, elsewhere than in
    /// corners they share; exact.
    /// </summary>
    internal bool Crosses(Proposal p, Func<int, bool> made) =>
        Crosses(p.Vertex, p.Kind == ProposalKind.Move ? p.Vertex : -1, p.Point.At, p.Touched, p.Pieces, made);

    // New vertices have the number `vertex` in the pieces; in triangles around, `moved` is at the new place.
    private bool Crosses(int vertex, int moved, Vec3 place, int[] touched, Piece[] pieces, Func<int, bool>? only)
    {
        var numbers = new List<int>(48);
        var xyz = new List<int>(144);
        var corners = new List<int>(192);
        var near = new HashSet<int>();
        foreach (var p in pieces)
        {
            corners.AddRange([Local(p.A, vertex), Local(p.B, vertex), Local(p.C, vertex)]);
            Vec3 a = p.A == vertex ? place : _known[p.A].At, b = p.B == vertex ? place : _known[p.B].At, c = p.C == vertex ? place : _known[p.C].At;
            cells.Near(Vec3.Min(a, Vec3.Min(b, c)), Vec3.Max(a, Vec3.Max(b, c)), near);
        }
        var own = corners.Count;
        foreach (var t in near)
        {
            if (!surface.Lives(t) || touched.Contains(t) || only is not null && !only(t)) continue;
            for (var c = 3 * t; c < 3 * t + 3; c++) corners.Add(Local(surface.Vertex(c), moved));
        }
        var points = xyz.ToArray();
        var all = System.Runtime.InteropServices.CollectionsMarshal.AsSpan(corners);
        for (var i = 0; i < own; i += 3)
            for (var j = i + 3; j < all.Length; j += 3)
                if (BoxesMeet(points, all.Slice(i, 3), all.Slice(j, 3)) && TriangleMeet.Meets(points, all.Slice(i, 3), all.Slice(j, 3))) return true;
        return false;

        int Local(int v, int placed)
        {
            // The new vertex may have the number of one that another change has made meanwhile.
            var key = v == placed && v >= 0 ? -1 : v;
            var i = numbers.IndexOf(key);
            if (i >= 0) return i;
            numbers.Add(key);
            surface.AddUnits(key < 0 ? place : _known[v].At, xyz);
            return numbers.Count - 1;
        }
    }

    private static bool BoxesMeet(int[] xyz, ReadOnlySpan<int> s, ReadOnlySpan<int> t)
    {
        for (var axis = 0; axis < 3; axis++)
        {
            int a = xyz[3 * s[0] + axis], b = xyz[3 * s[1] + axis], c = xyz[3 * s[2] + axis], d = xyz[3 * t[0] + axis], e = xyz[3 * t[1] + axis], f = xyz[3 * t[2] + axis];
            if (Math.Max(a, Math.Max(b, c)) < Math.Min(d, Math.Min(e, f)) || Math.Max(d, Math.Max(e, f)) < Math.Min(a, Math.Min(b, c))) return false;
        }
        return true;
    }

    private KeptSolid KeptNear(Vec3 x, ReadOnlySpan<KnownPoint> around)
    {
        if (kept.IsEmpty) return kept;
        var far = 0.0;
        foreach (var p in around) far = Math.Max(far, (p.At - x).LengthSquared);
        return kept.Near(x, limits.Deepest + Math.Sqrt(far) + 3 * limits.Cell);
    }
}
