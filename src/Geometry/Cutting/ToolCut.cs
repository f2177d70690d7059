using Stiltwright.Geometry.Exact;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Cutting;

/// <summary>One run of <see cref="SolidTool"/>: general position, curves, both sides divided, the pieces put together.</summary>
internal sealed partial class ToolCut
{
    private const int MaxTries = 8;

    private readonly Mesh _soup;
    private readonly ulong _seed;
    private readonly bool _keepInside;
    private readonly int[] _sx;
    private int[] _sc;
    private Mesh _tool;
    private TriangleTree _tree;
    private int _jitters;

    private Crossings _crossings = null!;
    private readonly Dictionary<(int Soup, int Tool), int[]> _chains = [];

    public ToolCut(Mesh soup, Mesh tool, ulong seed, bool keepInside)
    {
        ArgumentNullException.ThrowIfNull(soup);
        ArgumentNullException.ThrowIfNull(tool);
        if (soup.Lattice != tool.Lattice) throw new ArgumentException("Figure and tool must lie on the same lattice; place the tool on the figure's first.", nameof(tool));
        (_soup, _seed, _keepInside) = (soup, seed, keepInside);
        (_sx, _sc) = (soup.XyzArray, soup.CornersArray);
        if (EdgeSum.Of(tool.Corners) != 0)
        {
            var (a, _) = EdgeSum.FirstOpen(tool.Corners);
            throw new CuttingException("The tool is not closed", tool.Vertex(a));
        }
        var mended = Collinear.Mend(tool, tool.XyzArray, tool.CornersArray, Enumerable.Range(0, tool.TriangleCount));
        _tool = mended == tool.CornersArray ? tool : new Mesh(tool.Lattice, tool.XyzArray, mended);
        _tree = TriangleTree.Build(_tool);
    }

    public SubtractResult Run()
    {
        if (_tool.TriangleCount == 0 || _soup.TriangleCount == 0) return new SubtractResult(_keepInside ? Mesh.Empty(_soup.Lattice) : _soup, 0, 0, _keepInside ? 0 : _soup.TriangleCount);
        var candidates = Candidates(2 * MaxShift);
        _sc = Collinear.Mend(_soup, _sx, _sc, candidates);
        if (_sc != _soup.CornersArray) candidates = Candidates(2 * MaxShift);
        ReachGeneralPosition(candidates);
        var groups = ShellGroups.Of(_sc == _soup.CornersArray ? _soup : new Mesh(_soup.Lattice, _sx, _sc));
        try
        {
            var sides = DivideTool(groups);
            return Assemble(groups, sides, candidates);
        }
        catch (InvalidOperationException e)
        {
            throw new CuttingException("The cut could not be made: " + e.Message, _tool.Bounds.Center, e);
        }
    }

    // Triangles of the soup whose box comes within a margin (units) of the box of one of the tool's pieces.
    private int[] Candidates(int margin)
    {
        var boxes = PieceBoxes(margin);
        return Ranges.Where(_sc.Length / 3, t =>
        {
            int a = 3 * _sc[3 * t], b = 3 * _sc[3 * t + 1], c = 3 * _sc[3 * t + 2];
            for (var i = 0; i < boxes.Length; i += 6)
                if (Apart(_sx[a], _sx[b], _sx[c], boxes[i], boxes[i + 3]) || Apart(_sx[a + 1], _sx[b + 1], _sx[c + 1], boxes[i + 1], boxes[i + 4])
                    || Apart(_sx[a + 2], _sx[b + 2], _sx[c + 2], boxes[i + 2], boxes[i + 5])) continue;
                else return true;
            return false;
        });

        static bool Apart(int x, int y, int z, int low, int high) => x < low && y < low && z < low || x > high && y > high && z > high;
    }

    // With more pieces than this their common box is taken.
    private const int MostBoxes = 16;

    // Least and greatest coordinates of each piece of the tool, grown by a margin: far fewer triangles lie in them than in the box of all.
    private int[] PieceBoxes(int margin)
    {
        var pieces = ConnectedPieces.Of(_tool);
        var all = pieces.Count > MostBoxes;
        var boxes = new int[6 * (all ? 1 : pieces.Count)];
        for (var i = 0; i < boxes.Length; i++) boxes[i] = i % 6 < 3 ? int.MaxValue : int.MinValue;
        var xyz = _tool.XyzArray;
        for (var v = 0; v < _tool.VertexCount; v++)
        {
            if (pieces.OfVertex[v] < 0) continue;
            var box = boxes.AsSpan(all ? 0 : 6 * pieces.OfVertex[v], 6);
            for (var k = 0; k < 3; k++)
            {
                box[k] = Math.Min(box[k], xyz[3 * v + k] - margin);
                box[k + 3] = Math.Max(box[k + 3], xyz[3 * v + k] + margin);
            }
        }
        return boxes;
    }

    private static int[] BoxOf(int[] xyz, int[] corners)
    {
        int[] box = [int.MaxValue, int.MaxValue, int.MaxValue, int.MinValue, int.MinValue, int.MinValue];
        foreach (var c in corners)
            for (var k = 0; k < 3; k++)
            {
                var x = xyz[3 * c + k];
                if (x < box[k]) box[k] = x;
                if (x > box[k + 3]) box[k + 3] = x;
            }
        return box;
    }

    // The largest move of the whole tool on an axis, units.
    private const int MaxShift = 24;

    private void ReachGeneralPosition(int[] candidates)
    {
        var finder = new PairFinder(_soup.Lattice, _sx, _sc, candidates, _tool);
        var original = _tool;
        var random = _seed;
        int Random(int span) => (int)((random = EdgeSum.Scramble(random)) % (ulong)(2 * span + 1)) - span;
        var pairs = new List<(int Soup, int Tool)>();
        for (var attempt = 0; ; attempt++)
        {
            finder.Find(_tree, _tool.Bounds, pairs);
            _crossings = new Crossings(_sx, _sc, _tool.XyzArray, _tool.CornersArray);
            _crossings.Find(pairs);
            if (_crossings.Offending.Count == 0) return;
            if (attempt == MaxTries)
                throw new CuttingException($"The tool cannot be brought into general position: {_crossings.Offending.Count} of its triangles touch corners or edges of the shells in every try", _soup.Vertex(_sc[3 * _crossings.OffendedSoup]));
            _jitters++;
            int[] xyz;
            if (attempt < 4)
            {
                // Moved as a whole: this parts faces that lie in one plane.
                xyz = (int[])original.XyzArray.Clone();
                var span = 3 << attempt;
                int dx = Random(span), dy = Random(span), dz = Random(span);
                for (var v = 0; v < xyz.Length; v += 3)
                {
                    xyz[v] += dx;
                    xyz[v + 1] += dy;
                    xyz[v + 2] += dz;
                }
            }
            else
            {
                // Few places are left: only the corners of the tool's triangles there move.
                xyz = (int[])_tool.XyzArray.Clone();
                foreach (var v in _crossings.Offending.SelectMany(t => new[] { _tool.Corners[3 * t], _tool.Corners[3 * t + 1], _tool.Corners[3 * t + 2] }).Distinct().Order())
                    for (var k = 0; k < 3; k++) xyz[3 * v + k] += Random(3);
            }
            for (var v = 0; v < xyz.Length; v++) xyz[v] = Math.Clamp(xyz[v], -Lattice.MaxUnits, Lattice.MaxUnits);
            _tool = new Mesh(original.Lattice, xyz, _tool.CornersArray);
            _tree = TriangleTree.Build(_tool);
        }
    }

    private List<ToolSide> DivideTool(ShellGroups groups)
    {
        var segments = _crossings.Segments;
        var order = new int[segments.Count];
        for (var i = 0; i < order.Length; i++) order[i] = i;
        int GroupOf(int s) => groups.OfVertex[_sc[3 * segments[s].Soup]];
        Array.Sort(order, (i, j) =>
        {
            var c = GroupOf(i).CompareTo(GroupOf(j));
            if (c == 0) c = segments[i].Tool.CompareTo(segments[j].Tool);
            return c != 0 ? c : i.CompareTo(j);
        });
        var sides = new Dictionary<int, ToolSide>();
        var plane = new Arrangement(_crossings.Points);
        var bundle = new List<CutSegment>();
        for (var i = 0; i < order.Length;)
        {
            int g = GroupOf(order[i]), t = segments[order[i]].Tool;
            bundle.Clear();
            for (; i < order.Length && GroupOf(order[i]) == g && segments[order[i]].Tool == t; i++) bundle.Add(segments[order[i]]);
            if (!sides.TryGetValue(g, out var side)) sides[g] = side = new ToolSide(_tool, g);
            side.Divide(t, System.Runtime.InteropServices.CollectionsMarshal.AsSpan(bundle), plane, _chains);
        }

        var box = BoxOf(_tool.XyzArray, _tool.CornersArray);
        var local = new int[_tool.VertexCount];
        Array.Fill(local, -1);
        var all = new List<ToolSide>();
        for (var g = 0; g < groups.Count; g++)
        {
            var b = groups.Boxes.AsSpan(6 * g, 6);
            var meets = true;
            for (var k = 0; k < 3; k++) meets &= b[k] <= box[3 + k] && box[k] <= b[3 + k];
            if (!meets) continue;
            if (!sides.TryGetValue(g, out var side)) side = new ToolSide(_tool, g);
            side.Spread(b, _tree, local);
            all.Add(side);
        }
        var points = new List<(int, int, int)>();
        foreach (var s in all)
            foreach (var v in s.Asked) points.Add((_tool.Xyz[3 * v], _tool.Xyz[3 * v + 1], _tool.Xyz[3 * v + 2]));
        var windings = VerticalRays.Count(_sx, _sc, groups.OfVertex, points);
        var at = 0;
        foreach (var s in all)
        {
            var answers = new List<int>();
            foreach (var _ in s.Asked) answers.Add(windings[at++].GetValueOrDefault(s.Group));
            s.Answer(answers);
        }
        return all;
    }
}
