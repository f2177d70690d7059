namespace Stiltwright.Geometry;

/// <summary>
/// Pairs the sheets of edges with more than two triangles. Sheets are sorted by angle around the edge, exactly (integer
/// determinants); walking round, a sheet whose solid side lies ahead opens a wedge and one whose solid side lies behind
/// closes it, like brackets. Brackets are matched first among sheets that already hang together over other edges, so that
/// overlapping bodies which share an edge stay bodies of their own; then among what is left.
/// </summary>
internal static class Fans
{
    private struct Sheet
    {
        internal int Half;
        internal long Wx, Wy, Wz; // from the lower vertex to the corner opposite the edge
        internal bool Opens; // runs against the edge: its solid side lies ahead in turning direction
        internal byte Quarter; // 0: angle 0, 1: (0, pi), 2: pi, 3: (pi, 2 pi)
        internal int Body;
        internal bool Done;
    }

    internal static void Resolve(Mesh mesh, ulong[] keys, List<(int From, int Count)>?[] crowded, int[] twin, ref bool[]? clash)
    {
        var bodies = new UnionFind(mesh.TriangleCount);
        for (var h = 0; h < twin.Length; h++)
            if (twin[h] > h) bodies.Join(h / 3, twin[h] / 3);
        var clashing = clash;
        var sheets = new List<Sheet>();
        foreach (var list in crowded)
        {
            if (list is null) continue;
            foreach (var (from, count) in list)
            {
                Gather(mesh, keys.AsSpan(from, count), bodies, sheets);
                Match(sheets, twin, sameBody: true);
                Match(sheets, twin, sameBody: false);
                PairTurned(sheets, twin, ref clashing);
            }
        }
        clash = clashing;
    }

    private static void Gather(Mesh mesh, ReadOnlySpan<ulong> keys, UnionFind bodies, List<Sheet> sheets)
    {
        sheets.Clear();
        int[] corners = mesh.CornersArray, xyz = mesh.XyzArray;
        var first = (int)(uint)keys[0];
        int lower = Math.Min(corners[first], corners[EdgePairing.Next(first)]), upper = Math.Max(corners[first], corners[EdgePairing.Next(first)]);
        long px = xyz[3 * lower], py = xyz[3 * lower + 1], pz = xyz[3 * lower + 2];
        long dx = xyz[3 * upper] - px, dy = xyz[3 * upper + 1] - py, dz = xyz[3 * upper + 2] - pz;
        long rx = 0, ry = 0, rz = 0; // d x w of the first sheet with an area: angle zero
        var reference = default(Sheet);
        var have = false;
        foreach (var key in keys)
        {
            var h = (int)(uint)key;
            var o = 3 * corners[EdgePairing.Next(EdgePairing.Next(h))];
            var s = new Sheet
            {
                Half = h,
                Wx = xyz[o] - px,
                Wy = xyz[o + 1] - py,
                Wz = xyz[o + 2] - pz,
                Opens = corners[h] == upper,
                Body = bodies.Find(h / 3),
            };
            long cx = dy * s.Wz - dz * s.Wy, cy = dz * s.Wx - dx * s.Wz, cz = dx * s.Wy - dy * s.Wx;
            if (!have && (cx | cy | cz) != 0) (have, reference, rx, ry, rz) = (true, s, cx, cy, cz);
            if (have)
            {
                var side = Turn(dx, dy, dz, reference, s);
                var ahead = (Int128)rx * cx + (Int128)ry * cy + (Int128)rz * cz;
                s.Quarter = side > 0 ? (byte)1 : side < 0 ? (byte)3 : ahead >= 0 ? (byte)0 : (byte)2;
            }
            sheets.Add(s);
        }
        sheets.Sort((a, b) =>
        {
            if (a.Quarter != b.Quarter) return a.Quarter - b.Quarter;
            if (a.Quarter is 1 or 3)
            {
                var t = Turn(dx, dy, dz, a, b);
                if (t != 0) return -t;
            }
            // Sheets on top of each other: what closes comes before what opens, so that a facet is not paired with its own mirror.
            return a.Opens != b.Opens ? (a.Opens ? 1 : -1) : a.Half - b.Half;
        });
    }

    /// <summary>Sign of d . (a x b): 1 if b lies ahead of a (by less than half a turn), turning right-handed about d.</summary>
    private static int Turn(long dx, long dy, long dz, in Sheet a, in Sheet b) => Int128.Sign(
        (Int128)dx * (a.Wy * b.Wz - a.Wz * b.Wy) + (Int128)dy * (a.Wz * b.Wx - a.Wx * b.Wz) + (Int128)dz * (a.Wx * b.Wy - a.Wy * b.Wx));

    private static void Match(List<Sheet> sheets, int[] twin, bool sameBody)
    {
        var open = new List<int>();
        // Twice around: a wedge may reach over the place where the walk began.
        for (var step = 0; step < 2 * sheets.Count; step++)
        {
            var i = step % sheets.Count;
            var s = sheets[i];
            if (s.Done) continue;
            if (s.Opens)
            {
                if (step < sheets.Count) open.Add(i);
                continue;
            }
            for (var k = open.Count - 1; k >= 0; k--)
            {
                var o = sheets[open[k]];
                // A facet and its own mirror are one body at the rim of a doubled sheet; matching them there would tear the sheet into pockets.
                if (sameBody && (o.Body != s.Body || SameAngle(o, s))) continue;
                open.RemoveAt(k);
                Pair(sheets, o.Half, s.Half, i, twin);
                break;
            }
        }
    }

    private static bool SameAngle(in Sheet a, in Sheet b) =>
        a.Quarter == b.Quarter && (a.Quarter is 0 or 2 || a.Wx == b.Wx && a.Wy == b.Wy && a.Wz == b.Wz);

    private static void Pair(List<Sheet> sheets, int g, int h, int at, int[] twin)
    {
        twin[g] = h;
        twin[h] = g;
        var s = sheets[at];
        s.Done = true;
        sheets[at] = s;
        var other = sheets.FindIndex(x => x.Half == g);
        var t = sheets[other];
        t.Done = true;
        sheets[other] = t;
    }

    /// <summary>What is left runs all in one direction: neighbours of one body are paired as a clash (one of them is turned), the rest stays open.</summary>
    private static void PairTurned(List<Sheet> sheets, int[] twin, ref bool[]? clash)
    {
        var waiting = -1;
        for (var i = 0; i < sheets.Count; i++)
        {
            if (sheets[i].Done) continue;
            if (waiting < 0 || sheets[waiting].Body != sheets[i].Body) { waiting = i; continue; }
            int g = sheets[waiting].Half, h = sheets[i].Half;
            Pair(sheets, g, h, i, twin);
            clash ??= new bool[twin.Length];
            clash[g] = clash[h] = true;
            waiting = -1;
        }
    }
}
