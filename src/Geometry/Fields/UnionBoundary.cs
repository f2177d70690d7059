using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Fields;

/// <summary>
/// The facets of closed, possibly overlapping shells that border their union (winding number at least 1). A facet deep inside
/// another shell must not carve a wall around itself, so it is left out; one that another facet crosses is divided until the
/// pieces are uncrossed or no larger than a cell. A piece that is still crossed then counts as border (which can only make the
/// wall thicker) unless it lies deep inside: no uncrossed border within two cells and solid wherever it is probed around it.
/// </summary>
internal static class UnionBoundary
{
    // Facets nearer than this count as crossing; the two sides of a facet are looked at half as far away from it.
    private const double TouchMm = 2e-4;

    /// <summary>The tree of border facets; the whole tree again where nothing overlaps.</summary>
    internal static TriangleTree Of(TriangleTree tree, NodeColumns columns, NodeGrid grid, int maxThreads, CancellationToken cancel)
    {
        if (!columns.Overlaps) return tree;
        var mesh = tree.Mesh;
        var suspect = SuspectCells(columns, grid);
        var n = mesh.TriangleCount;
        const int block = 1024;
        var blocks = (n + block - 1) / block;
        var keptOf = new List<int>[blocks];
        var piecesOf = new List<Vec3>[blocks];
        var crossedOf = new List<Vec3>[blocks];
        Parallel.For(0, blocks, new ParallelOptions { MaxDegreeOfParallelism = TriangleTree.Threads(maxThreads).MaxDegreeOfParallelism, CancellationToken = cancel }, b =>
        {
            var kept = keptOf[b] = [];
            var pieces = piecesOf[b] = [];
            var crossed = crossedOf[b] = [];
            var near = new List<int>();
            for (var t = b * block; t < Math.Min(n, (b + 1) * block); t++)
            {
                var (p, q, r) = mesh.Triangle(t);
                var box = Box3.Empty.With(p).With(q).With(r);
                if (!suspect.Meets(box)) { kept.Add(t); continue; }
                near.Clear();
                tree.Overlapping(box.Grown(TouchMm), near);
                var crossers = new List<int>();
                foreach (var other in near)
                    if (other != t && Meet(mesh, t, other)) crossers.Add(other);
                if (crossers.Count == 0)
                {
                    if (OnBorder(tree, p, q, r)) kept.Add(t);
                }
                else if (!Divide(tree, p, q, r, crossers, grid.Cell, pieces, crossed, 0)) kept.Add(t);
            }
        });
        var keep = new List<int>();
        var points = new List<Vec3>();
        foreach (var k in keptOf) keep.AddRange(k);
        foreach (var k in piecesOf) points.AddRange(k);
        var whole = mesh.Part(System.Runtime.InteropServices.CollectionsMarshal.AsSpan(keep));
        var certain = TriangleTree.Build(Mesh.Concat(mesh.Lattice, [whole, Loose(mesh.Lattice, points)]), maxThreads);
        var doubtful = new List<Vec3>[blocks];
        Parallel.For(0, blocks, new ParallelOptions { MaxDegreeOfParallelism = TriangleTree.Threads(maxThreads).MaxDegreeOfParallelism, CancellationToken = cancel }, b =>
        {
            var list = doubtful[b] = [];
            var crossed = crossedOf[b];
            for (var i = 0; i < crossed.Count; i += 3)
                if (!DeepInside(tree, certain, crossed[i], crossed[i + 1], crossed[i + 2], grid.Cell)) list.AddRange([crossed[i], crossed[i + 1], crossed[i + 2]]);
        });
        var more = doubtful.SelectMany(d => d).ToList();
        return more.Count == 0 ? certain : TriangleTree.Build(Mesh.Concat(mesh.Lattice, [certain.Mesh, Loose(mesh.Lattice, more)]), maxThreads);
    }

    private static Mesh Loose(Lattice lattice, List<Vec3> points)
    {
        var xyz = new int[3 * points.Count];
        for (var i = 0; i < points.Count; i++)
            (xyz[3 * i], xyz[3 * i + 1], xyz[3 * i + 2]) = (lattice.Round(points[i].X), lattice.Round(points[i].Y), lattice.Round(points[i].Z));
        return new Mesh(lattice, xyz, Enumerable.Range(0, points.Count).ToArray());
    }

    private static bool DeepInside(TriangleTree tree, TriangleTree certain, Vec3 a, Vec3 b, Vec3 c, double cell)
    {
        var m = (a + b + c) / 3;
        if (certain.Closest(m, 2 * cell + m.DistanceTo(a)).Found) return false;
        var n = (b - a).Cross(c - a).Unit();
        foreach (var p in new[] { a, b, c, m, (a + b) * 0.5, (b + c) * 0.5, (c + a) * 0.5 })
            foreach (var away in new[] { TouchMm / 2, 0.02 * cell, 0.2 * cell, 0.6 * cell })
                if (tree.Winding(p + n * away) < 1 || tree.Winding(p - n * away) < 1) return false;
        return true;
    }

    // Divides until uncrossed or small. Returns false, with nothing added, where the whole facet turned out to be border.
    private static bool Divide(TriangleTree tree, Vec3 p, Vec3 q, Vec3 r, List<int> crossers, double cell, List<Vec3> pieces, List<Vec3> crossed, int depth)
    {
        var before = pieces.Count;
        var whole = true;
        var longest = Math.Max(p.DistanceTo(q), Math.Max(q.DistanceTo(r), r.DistanceTo(p)));
        if (longest <= cell || depth >= 14)
        {
            crossed.AddRange([p, q, r]);
            return true;
        }
        Vec3 pq = (p + q) * 0.5, qr = (q + r) * 0.5, rp = (r + p) * 0.5;
        Span<(Vec3 A, Vec3 B, Vec3 C)> four = [(p, pq, rp), (pq, q, qr), (rp, qr, r), (pq, qr, rp)];
        var mesh = tree.Mesh;
        foreach (var (a, b, c) in four)
        {
            var still = new List<int>();
            foreach (var other in crossers)
            {
                var (x, y, z) = mesh.Triangle(other);
                if (TriangleContact.NearerThan(a, b, c, x, y, z, TouchMm)) still.Add(other);
            }
            if (still.Count > 0)
            {
                Divide(tree, a, b, c, still, cell, pieces, crossed, depth + 1);
                whole = false;
            }
            else if (OnBorder(tree, a, b, c)) pieces.AddRange([a, b, c]);
            else whole = false;
        }
        if (!whole || depth > 0) return true;
        pieces.RemoveRange(before, pieces.Count - before);
        return false;
    }

    /// <summary>Border unless both sides are seen, one facet apart, to be solid or both to be empty.</summary>
    private static bool OnBorder(TriangleTree tree, Vec3 a, Vec3 b, Vec3 c)
    {
        var n = (b - a).Cross(c - a).Unit() * (TouchMm / 2);
        var m = (a + b + c) / 3;
        int outside = tree.Winding(m + n), inside = tree.Winding(m - n);
        return inside - outside != 1 || inside >= 1 && outside <= 0;
    }

    private static bool Meet(Mesh mesh, int s, int t)
    {
        var c = mesh.CornersArray;
        var shared = 0;
        int loneS = 7, loneT = 7;
        for (var i = 0; i < 3; i++)
            for (var j = 0; j < 3; j++)
                if (c[3 * s + i] == c[3 * t + j]) { shared++; loneS &= ~(1 << i); loneT &= ~(1 << j); }
        var (p, q, r) = mesh.Triangle(s);
        var (x, y, z) = mesh.Triangle(t);
        if (shared == 0) return TriangleContact.NearerThan(p, q, r, x, y, z, TouchMm);
        if (shared == 3) return true;
        if (shared == 2)
        {
            // Neighbours over an edge meet elsewhere only where one is folded flat onto the other.
            var lone = mesh.Vertex(c[3 * t + BitOf(loneT)]);
            return TriangleDistance.ClosestPoint(lone, p, q, r).DistanceTo(lone) < TouchMm
                || TriangleDistance.ClosestPoint(mesh.Vertex(c[3 * s + BitOf(loneS)]), x, y, z).DistanceTo(mesh.Vertex(c[3 * s + BitOf(loneS)])) < TouchMm;
        }
        // One corner in common: they meet elsewhere if the edge across from it comes to the other facet.
        Edge(loneS, p, q, r, out var e0, out var e1);
        if (TriangleDistance.SegmentTriangleSquared(e0, e1, x, y, z, out _) < TouchMm * TouchMm) return true;
        Edge(loneT, x, y, z, out e0, out e1);
        return TriangleDistance.SegmentTriangleSquared(e0, e1, p, q, r, out _) < TouchMm * TouchMm;
    }

    private static int BitOf(int mask) => (mask & 1) != 0 ? 0 : (mask & 2) != 0 ? 1 : 2;

    private static void Edge(int mask, Vec3 p, Vec3 q, Vec3 r, out Vec3 a, out Vec3 b)
    {
        a = (mask & 1) != 0 ? p : q;
        b = (mask & 4) != 0 ? r : q;
    }

    private static Cells SuspectCells(NodeColumns columns, NodeGrid grid)
    {
        var cells = new Cells(grid);
        for (var j = 0; j < grid.Ny; j++)
            for (var i = 0; i < grid.Nx; i++)
            {
                double x = grid.X(i), y = grid.Y(j);
                columns.Unusual(i, j, (z0, z1) => cells.Mark(x, y, z0, z1));
            }
        return cells;
    }

    /// <summary>Coarse cells near stretches that are wound other than 0 or 1 times: only facets there can be inner ones.</summary>
    private sealed class Cells
    {
        private readonly NodeGrid _grid;
        private readonly double _size;
        private readonly int _nx, _ny, _nz;
        private readonly bool[] _marked;

        internal Cells(NodeGrid grid)
        {
            _grid = grid;
            _size = 4 * grid.Cell;
            (_nx, _ny, _nz) = (grid.Nx / 4 + 1, grid.Ny / 4 + 1, grid.Nz / 4 + 1);
            _marked = new bool[_nx * _ny * _nz];
        }

        internal void Mark(double x, double y, double z0, double z1)
        {
            int i0 = At(x - _grid.Cell, 0, _nx), i1 = At(x + _grid.Cell, 0, _nx);
            int j0 = At(y - _grid.Cell, 1, _ny), j1 = At(y + _grid.Cell, 1, _ny);
            int k0 = At(z0 - _grid.Cell, 2, _nz), k1 = At(z1 + _grid.Cell, 2, _nz);
            for (var k = k0; k <= k1; k++)
                for (var j = j0; j <= j1; j++)
                    for (var i = i0; i <= i1; i++) _marked[(k * _ny + j) * _nx + i] = true;
        }

        internal bool Meets(Box3 b)
        {
            int i0 = At(b.Min.X, 0, _nx), i1 = At(b.Max.X, 0, _nx), j0 = At(b.Min.Y, 1, _ny), j1 = At(b.Max.Y, 1, _ny), k0 = At(b.Min.Z, 2, _nz), k1 = At(b.Max.Z, 2, _nz);
            for (var k = k0; k <= k1; k++)
                for (var j = j0; j <= j1; j++)
                    for (var i = i0; i <= i1; i++)
                        if (_marked[(k * _ny + j) * _nx + i]) return true;
            return false;
        }

        private int At(double v, int axis, int n)
        {
            var origin = axis == 0 ? _grid.X(0) : axis == 1 ? _grid.Y(0) : _grid.Z(0);
            return Math.Clamp((int)((v - origin) / _size), 0, n - 1);
        }
    }
}
