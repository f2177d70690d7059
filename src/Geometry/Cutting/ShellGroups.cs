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
        var found = ConnectedPieces.Of(mesh);
        var (piece, pieces) = (found.OfVertex, found.Count);

        // Every piece is its own group unless it has a negative volume.
        var group = new int[pieces];
        for (var p = 0; p < pieces; p++) group[p] = p;
        if (pieces > 1) Join(mesh, piece, group, pieces);

        var number = new int[pieces];
        Array.Fill(number, -1);
        var count = 0;
        for (var p = 0; p < pieces; p++)
            if (group[p] == p) number[p] = count++;
        if (count < pieces || count > 1)
            Ranges.For(piece.Length, (_, from, to) =>
            {
                for (var v = from; v < to; v++)
                    if (piece[v] >= 0) piece[v] = number[group[piece[v]]];
            });
        var boxes = new int[6 * count];
        for (var g = 0; g < count; g++)
            for (var k = 0; k < 3; k++) (boxes[6 * g + k], boxes[6 * g + 3 + k]) = (int.MaxValue, int.MinValue);
        Ranges.For(piece.Length, (_, from, to) =>
        {
            // A run of vertices of one group is measured first, then added to the group's box.
            for (var v = from; v < to;)
            {
                var g = piece[v];
                int x0 = int.MaxValue, y0 = int.MaxValue, z0 = int.MaxValue, x1 = int.MinValue, y1 = int.MinValue, z1 = int.MinValue;
                for (; v < to && piece[v] == g; v++)
                {
                    int x = xyz[3 * v], y = xyz[3 * v + 1], z = xyz[3 * v + 2];
                    x0 = Math.Min(x0, x); x1 = Math.Max(x1, x);
                    y0 = Math.Min(y0, y); y1 = Math.Max(y1, y);
                    z0 = Math.Min(z0, z); z1 = Math.Max(z1, z);
                }
                if (g < 0) continue;
                lock (boxes)
                {
                    var b = boxes.AsSpan(6 * g, 6);
                    (b[0], b[1], b[2]) = (Math.Min(b[0], x0), Math.Min(b[1], y0), Math.Min(b[2], z0));
                    (b[3], b[4], b[5]) = (Math.Max(b[3], x1), Math.Max(b[4], y1), Math.Max(b[5], z1));
                }
            }
        });
        return new ShellGroups(piece, count, boxes);
    }

    private static void Join(Mesh mesh, int[] piece, int[] group, int pieces)
    {
        int[] xyz = mesh.XyzArray, corners = mesh.CornersArray;
        var six = new Int128[pieces];
        Ranges.For(corners.Length / 3, (_, from, to) =>
        {
            for (var t = from; t < to;)
            {
                var p = piece[corners[3 * t]];
                Int128 sum = 0;
                for (; t < to && piece[corners[3 * t]] == p; t++) sum += Predicates.SixVolume(xyz, 3 * corners[3 * t], 3 * corners[3 * t + 1], 3 * corners[3 * t + 2]);
                lock (six) six[p] += sum;
            }
        });
        var inner = Enumerable.Range(0, pieces).Where(p => six[p] < 0).ToList();
        if (inner.Count == 0) return;

        // A point just off the middle of each inner piece's largest triangle, on the side its normal points to: in the void.
        var largest = new int[pieces];
        Array.Fill(largest, -1);
        var flat = new double[pieces];
        Ranges.For(corners.Length / 3, (_, from, to) =>
        {
            for (var t = from; t < to;)
            {
                var p = piece[corners[3 * t]];
                double most = 0;
                var best = -1;
                for (; t < to && piece[corners[3 * t]] == p; t++)
                {
                    if (six[p] >= 0) continue;
                    var (nx, ny, nz) = Predicates.Normal(xyz, 3 * corners[3 * t], 3 * corners[3 * t + 1], 3 * corners[3 * t + 2]);
                    var size = (double)nx * nx + (double)ny * ny + (double)nz * nz;
                    if (size > most) (most, best) = (size, t);
                }
                if (best < 0) continue;
                lock (flat)
                    if (most > flat[p] || most == flat[p] && best < largest[p]) (flat[p], largest[p]) = (most, best);
            }
        });
        var sample = new (int X, int Y, int Z)[pieces];
        foreach (var p in inner)
        {
            var t = 3 * largest[p];
            int a = 3 * corners[t], b = 3 * corners[t + 1], c = 3 * corners[t + 2];
            var (nx, ny, nz) = Predicates.Normal(xyz, a, b, c);
            var k = 4 / Math.Sqrt(flat[p]);
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
