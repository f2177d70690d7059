using Stiltwright.Geometry.Exact;

namespace Stiltwright.Geometry.Cutting;

internal sealed partial class ToolCut
{
    private const sbyte Outside = 1, Inside = 2;

    private SubtractResult Assemble(ShellGroups groups, List<ToolSide> sides, int[] candidates)
    {
        var points = _crossings.Points;
        var newXyz = new List<int>();
        var newCorners = new List<int>();
        var firstNew = _soup.VertexCount;
        var vertexOfPoint = new int[points.Count];
        Array.Fill(vertexOfPoint, -1);
        int At(int point)
        {
            point = points.Canonical(point);
            if (vertexOfPoint[point] < 0) vertexOfPoint[point] = Make(point);
            return vertexOfPoint[point];
        }
        int Make(int code)
        {
            for (var k = 0; k < 3; k++) newXyz.Add(code >= 0 ? points.Rounded(code, k) : _tool.Xyz[3 * ~code + k]);
            return firstNew + newXyz.Count / 3 - 1;
        }

        var status = new sbyte[_soup.VertexCount];
        var crossed = DivideSoup(At, status, newCorners);
        var gone = Classify(candidates, crossed, status);
        ulong before = 0;
        foreach (var t in candidates)
            if (gone[t]) before += EdgeSum.Triangle(_sc[3 * t], _sc[3 * t + 1], _sc[3 * t + 2]);
        foreach (var side in sides)
            side.Patches(points).Emit(!_keepInside, At, Make, newCorners);

        (int, int, int) Place(int v) => v < firstNew ? (_sx[3 * v], _sx[3 * v + 1], _sx[3 * v + 2])
            : (newXyz[3 * (v - firstNew)], newXyz[3 * (v - firstNew) + 1], newXyz[3 * (v - firstNew) + 2]);
        newCorners = Coincident.Merge(newCorners, Place, firstNew);
        var after = EdgeSum.Of(System.Runtime.InteropServices.CollectionsMarshal.AsSpan(newCorners));
        if (_keepInside)
        {
            // Kept old triangles are those inside; the whole must close by itself.
            for (var t = 0; t < gone.Length; t++)
                if (!gone[t]) after += EdgeSum.Triangle(_sc[3 * t], _sc[3 * t + 1], _sc[3 * t + 2]);
            before = 0;
        }
        if (before != after) throw OpenResult(candidates, gone, newCorners, Place);
        return Build(gone, newXyz, newCorners);
    }

    // Divides the soup's crossed triangles, keeps the wanted pieces, notes on which side of the tool their corners lie. Gives the crossed triangles.
    private HashSet<int> DivideSoup(Func<int, int> vertexOf, sbyte[] status, List<int> corners)
    {
        var segments = _crossings.Segments;
        var order = new int[segments.Count];
        for (var i = 0; i < order.Length; i++) order[i] = i;
        Array.Sort(order, (i, j) => segments[i].Soup != segments[j].Soup ? segments[i].Soup.CompareTo(segments[j].Soup) : i.CompareTo(j));
        var crossed = new HashSet<int>();
        var plane = new Arrangement(_crossings.Points);
        for (var i = 0; i < order.Length;)
        {
            var f = segments[order[i]].Soup;
            var first = i;
            while (i < order.Length && segments[order[i]].Soup == f) i++;
            crossed.Add(f);
            int a = 3 * _sc[3 * f], b = 3 * _sc[3 * f + 1], c = 3 * _sc[3 * f + 2];
            var normal = Predicates.Normal(_sx, a, b, c);
            var d = (Int128)normal.X * _sx[a] + (Int128)normal.Y * _sx[a + 1] + (Int128)normal.Z * _sx[a + 2];
            plane.Start([_sx[a], _sx[a + 1], _sx[a + 2], _sx[b], _sx[b + 1], _sx[b + 2], _sx[c], _sx[c + 1], _sx[c + 2]], normal, d);
            for (var pass = 0; pass < 2; pass++)
                for (var j = first; j < i; j++)
                {
                    var s = segments[order[j]];
                    int start = plane.Add(s.Start, s.StartOnSoup), end = plane.Add(s.End, s.EndOnSoup);
                    if (!_chains.TryGetValue((f, s.Tool), out var chain)) { if (pass == 1) plane.AddSegment(start, end); continue; }
                    var at = start;
                    for (var k = 1; k < chain.Length; k++)
                    {
                        var next = k == chain.Length - 1 ? end : plane.Add(chain[k], 0);
                        if (pass == 1) plane.AddSegment(at, next);
                        at = next;
                    }
                }
            var sound = plane.Settle();
            int low = int.MaxValue, high = int.MinValue;
            for (var t = 0; t < plane.TriangleCount; t++)
            {
                low = Math.Min(low, plane.Relative(t));
                high = Math.Max(high, plane.Relative(t));
            }
            if (!sound || high != low + 1) throw new CuttingException("The tool's surface crosses itself or is not closed", _soup.Vertex(_sc[3 * f]));
            var keep = _keepInside ? high : low;
            for (var t = 0; t < plane.TriangleCount; t++)
                if (plane.Relative(t) == keep)
                    for (var k = 0; k < 3; k++)
                    {
                        var code = plane.Corner(t, k);
                        corners.Add(code >= 0 ? vertexOf(code) : _sc[3 * f + ~code]);
                    }
            for (var k = 0; k < 3; k++)
            {
                var side = plane.Relative(plane.TriangleAtCorner(k)) == low ? Outside : Inside;
                var v = _sc[3 * f + k];
                if (status[v] != 0 && status[v] != side) throw Contradiction(v);
                status[v] = side;
            }
        }
        return crossed;
    }

    private CuttingException Contradiction(int v) => new("A corner lies inside the tool by one curve and outside by another: the tool is not closed or crosses itself", _soup.Vertex(v));

    // Which old triangles go: the crossed ones, and those on the unwanted side.
    private bool[] Classify(int[] candidates, HashSet<int> crossed, sbyte[] status)
    {
        var boxes = PieceBoxes(0);
        bool InBox(int v)
        {
            for (var i = 0; i < boxes.Length; i += 6)
                if (_sx[3 * v] >= boxes[i] && _sx[3 * v] <= boxes[i + 3] && _sx[3 * v + 1] >= boxes[i + 1] && _sx[3 * v + 1] <= boxes[i + 4]
                    && _sx[3 * v + 2] >= boxes[i + 2] && _sx[3 * v + 2] <= boxes[i + 5]) return true;
            return false;
        }
        // Only triangles near enough to have a corner in a box of the tool's pieces matter; a whole triangle outside is outside.
        var uncrossed = new List<int>();
        foreach (var t in candidates)
        {
            if (crossed.Contains(t)) continue;
            uncrossed.Add(t);
            for (var k = 0; k < 3; k++)
            {
                var v = _sc[3 * t + k];
                if (status[v] == 0 && !InBox(v)) status[v] = Outside;
            }
        }
        var link = GC.AllocateUninitializedArray<int>(_soup.VertexCount); // only the corners of those triangles are set
        foreach (var t in uncrossed)
            for (var k = 0; k < 3; k++) link[_sc[3 * t + k]] = _sc[3 * t + k];
        int Find(int v)
        {
            while (link[v] != v) v = link[v] = link[link[v]];
            return v;
        }
        foreach (var t in uncrossed)
            for (var k = 1; k < 3; k++)
            {
                int a = Find(_sc[3 * t]), b = Find(_sc[3 * t + k]);
                if (a == b) continue;
                if (a > b) (a, b) = (b, a);
                link[b] = a;
            }
        var sideOfRoot = new Dictionary<int, sbyte>();
        foreach (var t in uncrossed)
            for (var k = 0; k < 3; k++)
            {
                var v = _sc[3 * t + k];
                if (status[v] == 0) continue;
                var r = Find(v);
                if (!sideOfRoot.TryGetValue(r, out var known)) sideOfRoot[r] = status[v];
                else if (known != status[v]) throw Contradiction(v);
            }
        // Whole pieces of surface within the tool's box that no curve touches: one ray each.
        var asked = uncrossed.Select(t => Find(_sc[3 * t])).Where(r => !sideOfRoot.ContainsKey(r)).Distinct().ToList();
        var windings = VerticalRays.Count(_tool.XyzArray, _tool.CornersArray, null, asked.Select(r => (_sx[3 * r], _sx[3 * r + 1], _sx[3 * r + 2])).ToList());
        for (var i = 0; i < asked.Count; i++)
        {
            var w = windings[i].GetValueOrDefault(0);
            if (w is not (0 or 1)) throw new CuttingException($"The tool winds {w} times around a point; it must be turned outwards and not overlap itself", _soup.Vertex(asked[i]));
            sideOfRoot[asked[i]] = w == 1 ? Inside : Outside;
        }
        var gone = new bool[_sc.Length / 3];
        if (_keepInside) Array.Fill(gone, true);
        foreach (var t in uncrossed) gone[t] = sideOfRoot[Find(_sc[3 * t])] != (_keepInside ? Inside : Outside);
        foreach (var t in crossed) gone[t] = true;
        return gone;
    }

    private CuttingException OpenResult(int[] candidates, bool[] gone, List<int> newCorners, Func<int, (int X, int Y, int Z)> place)
    {
        var near = new List<int>(newCorners);
        foreach (var t in candidates)
            if (!gone[t]) near.AddRange([_sc[3 * t], _sc[3 * t + 1], _sc[3 * t + 2]]);
        var newVertices = new HashSet<int>(newCorners);
        var (a, _) = EdgeSum.FirstOpen(near.ToArray());
        if (a < 0 || !newVertices.Contains(a)) a = newCorners.Count > 0 ? newCorners[0] : _sc[0];
        var p = place(a);
        return new CuttingException("The result would not be closed; the shells were open where they are cut",
            new Vec3(p.X, p.Y, p.Z) * _soup.Lattice.UnitMm);
    }

    private SubtractResult Build(bool[] gone, List<int> newXyz, List<int> newCorners)
    {
        var triangles = gone.Length;
        // Where each range of kept triangles begins among the kept.
        var starts = new int[Ranges.Count(triangles) + 1];
        Ranges.For(triangles, (r, from, to) =>
        {
            var n = 0;
            for (var t = from; t < to; t++)
                if (!gone[t]) n++;
            starts[r + 1] = n;
        });
        for (var r = 1; r < starts.Length; r++) starts[r] += starts[r - 1];
        var kept = starts[^1];
        var touched = _keepInside ? newCorners.Count / 3 : triangles - kept;
        var corners = GC.AllocateUninitializedArray<int>(3 * kept + newCorners.Count);
        Ranges.For(triangles, (r, from, to) =>
        {
            var at = 3 * starts[r];
            for (var t = from; t < to; t++)
            {
                if (gone[t]) continue;
                (corners[at], corners[at + 1], corners[at + 2]) = (_sc[3 * t], _sc[3 * t + 1], _sc[3 * t + 2]);
                at += 3;
            }
        });
        newCorners.CopyTo(corners, 3 * kept);
        return new SubtractResult(Compact.Used(_soup.Lattice, _sx, [.. newXyz], corners), touched, _jitters, kept);
    }
}
