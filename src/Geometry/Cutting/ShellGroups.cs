using Stiltwright.Geometry.Exact;

namespace Stiltwright.Geometry.Cutting;

/// <summary>
/// The operands of a cut: pieces of surface that hang together by vertices, each inner piece (negative volume: a cavity) joined to the
/// outer piece whose material it hollows. Of several outer pieces around it, it belongs to the smallest that is still solid there once the
/// cavities already given to it are taken out; so copies of one cavity in overlapping shells go to one shell each.
/// </summary>
internal sealed class ShellGroups
{
    private ShellGroups(int[] ofVertex, int count, int[] boxes) => (OfVertex, Count, Boxes) = (ofVertex, count, boxes);

    /// <summary>Group of each vertex (-1 for a vertex no triangle uses).</summary>
    public int[] OfVertex { get; }

    /// <summary>Number of groups.</summary>
    public int Count { get; }

    /// <summary>Least x, y, z and greatest x, y, z of each group, units.</summary>
    public int[] Boxes { get; }

    public static ShellGroups Of(Mesh mesh)
    {
        int[] xyz = mesh.XyzArray, corners = mesh.CornersArray;
        var parent = new int[mesh.VertexCount];
        for (var v = 0; v < parent.Length; v++) parent[v] = v;
        for (var i = 0; i < corners.Length; i += 3)
        {
            var a = Root(parent, corners[i]);
            var b = Root(parent, corners[i + 1]);
            if (a != b) { if (a < b) parent[b] = a; else { parent[a] = b; a = b; } }
            var c = Root(parent, corners[i + 2]);
            if (a != c) { if (a < c) parent[c] = a; else parent[a] = c; }
        }
        var piece = new int[parent.Length];
        Array.Fill(piece, -1);
        var pieces = 0;
        foreach (var c in corners)
        {
            var r = Root(parent, c);
            if (piece[r] < 0) piece[r] = pieces++;
        }
        for (var v = 0; v < piece.Length; v++)
            if (piece[v] < 0) piece[v] = piece[Root(parent, v)];

        // Every piece is its own group unless it has a negative volume.
        var group = new int[pieces];
        for (var p = 0; p < pieces; p++) group[p] = p;
        if (pieces > 1) Join(mesh, piece, group, pieces);

        var number = new int[pieces];
        Array.Fill(number, -1);
        var count = 0;
        for (var p = 0; p < pieces; p++)
            if (group[p] == p) number[p] = count++;
        for (var v = 0; v < piece.Length; v++)
            if (piece[v] >= 0) piece[v] = number[group[piece[v]]];
        var boxes = new int[6 * count];
        for (var g = 0; g < count; g++)
            for (var k = 0; k < 3; k++) (boxes[6 * g + k], boxes[6 * g + 3 + k]) = (int.MaxValue, int.MinValue);
        for (var v = 0; v < piece.Length; v++)
        {
            if (piece[v] < 0) continue;
            var box = boxes.AsSpan(6 * piece[v], 6);
            for (var k = 0; k < 3; k++)
            {
                var x = xyz[3 * v + k];
                if (x < box[k]) box[k] = x;
                if (x > box[3 + k]) box[3 + k] = x;
            }
        }
        return new ShellGroups(piece, count, boxes);
    }

    private static int Root(int[] parent, int v)
    {
        while (parent[v] != v) v = parent[v] = parent[parent[v]];
        return v;
    }

    private static void Join(Mesh mesh, int[] piece, int[] group, int pieces)
    {
        int[] xyz = mesh.XyzArray, corners = mesh.CornersArray;
        var six = new Int128[pieces];
        for (var i = 0; i < corners.Length; i += 3)
        {
            int a = 3 * corners[i], b = 3 * corners[i + 1], c = 3 * corners[i + 2];
            long ax = xyz[a], ay = xyz[a + 1], az = xyz[a + 2], bx = xyz[b], by = xyz[b + 1], bz = xyz[b + 2], cx = xyz[c], cy = xyz[c + 1], cz = xyz[c + 2];
            six[piece[corners[i]]] += (Int128)ax * (by * cz - bz * cy) + (Int128)ay * (bz * cx - bx * cz) + (Int128)az * (bx * cy - by * cx);
        }
        var inner = Enumerable.Range(0, pieces).Where(p => six[p] < 0).ToList();
        if (inner.Count == 0) return;

        // A point just off the middle of each inner piece's largest triangle, on the side its normal points to: in the void.
        var largest = new double[pieces];
        var sample = new (int X, int Y, int Z)[pieces];
        for (var i = 0; i < corners.Length; i += 3)
        {
            var p = piece[corners[i]];
            if (six[p] >= 0) continue;
            int a = 3 * corners[i], b = 3 * corners[i + 1], c = 3 * corners[i + 2];
            var (nx, ny, nz) = Predicates.Normal(xyz, a, b, c);
            var length = Math.Sqrt((double)nx * nx + (double)ny * ny + (double)nz * nz);
            if (!(length > largest[p])) continue;
            largest[p] = length;
            var k = 4 / length;
            sample[p] = ((int)Math.Round((xyz[a] + (double)xyz[b] + xyz[c]) / 3 + nx * k), (int)Math.Round((xyz[a + 1] + (double)xyz[b + 1] + xyz[c + 1]) / 3 + ny * k),
                (int)Math.Round((xyz[a + 2] + (double)xyz[b + 2] + xyz[c + 2]) / 3 + nz * k));
        }
        // Large cavities first, so that one within a solid island within another finds its island.
        inner.Sort((p, q) => six[p] != six[q] ? six[p].CompareTo(six[q]) : p.CompareTo(q));
        var windings = VerticalRays.Count(xyz, corners, piece, inner.Select(p => sample[p]).ToList());
        for (var i = 0; i < inner.Count; i++)
        {
            var best = -1;
            foreach (var (outer, w) in windings[i])
            {
                if (six[outer] < 0 || w < 1) continue;
                var left = w;
                for (var j = 0; j < i; j++)
                    if (group[inner[j]] == outer) left += windings[i].GetValueOrDefault(inner[j]);
                if (left >= 1 && (best < 0 || six[outer] < six[best] || six[outer] == six[best] && outer < best)) best = outer;
            }
            if (best >= 0) group[inner[i]] = best;
        }
    }
}
