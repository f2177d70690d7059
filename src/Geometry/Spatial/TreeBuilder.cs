namespace Stiltwright.Geometry.Spatial;

/// <summary>
/// Builds the boxes of a <see cref="TriangleTree"/>: top-down splits by the surface-area measure over 16 bins (Wald 2007),
/// first in binary form, then gathered to four children a node. Large ranges are split one after the other, the subtrees
/// below them in parallel, each into its own buffer, so the result is the same for any number of threads.
/// </summary>
internal sealed class TreeBuilder
{
    private const int Bins = 16;
    private const int LeafSize = 4;
    private const int DepthOfMedianSplits = 56;

    private struct Item
    {
        public float X0, Y0, Z0, X1, Y1, Z1;
        public int Triangle;
        public readonly float Middle(int axis) => axis == 0 ? X0 + X1 : axis == 1 ? Y0 + Y1 : Z0 + Z1;
    }

    private struct Bound
    {
        public float X0, Y0, Z0, X1, Y1, Z1;
        public static Bound None => new() { X0 = float.PositiveInfinity, Y0 = float.PositiveInfinity, Z0 = float.PositiveInfinity, X1 = float.NegativeInfinity, Y1 = float.NegativeInfinity, Z1 = float.NegativeInfinity };
        public void Add(in Item i)
        {
            if (i.X0 < X0) X0 = i.X0;
            if (i.Y0 < Y0) Y0 = i.Y0;
            if (i.Z0 < Z0) Z0 = i.Z0;
            if (i.X1 > X1) X1 = i.X1;
            if (i.Y1 > Y1) Y1 = i.Y1;
            if (i.Z1 > Z1) Z1 = i.Z1;
        }
        public void Add(in Bound i)
        {
            if (i.X0 < X0) X0 = i.X0;
            if (i.Y0 < Y0) Y0 = i.Y0;
            if (i.Z0 < Z0) Z0 = i.Z0;
            if (i.X1 > X1) X1 = i.X1;
            if (i.Y1 > Y1) Y1 = i.Y1;
            if (i.Z1 > Z1) Z1 = i.Z1;
        }
        public readonly float HalfArea
        {
            get
            {
                float x = X1 - X0, y = Y1 - Y0, z = Z1 - Z0;
                return x < 0 ? 0 : x * y + y * z + z * x;
            }
        }
    }

    // A binary node: a range of items; Left < 0 marks a leaf; Subtree >= 0 a place where a buffer built apart hangs.
    private struct Node
    {
        public Bound Box;
        public int Start, Count, Left, Right, Subtree;
    }

    private sealed class Buffer
    {
        public Node[] Nodes = new Node[64];
        public int Used;
        public int Add(Node n)
        {
            if (Used == Nodes.Length) Array.Resize(ref Nodes, 2 * Used);
            Nodes[Used] = n;
            return Used++;
        }
    }

    private readonly Item[] _items;
    private readonly int _maxThreads;
    private Buffer[] _subtrees = [];

    internal TreeBuilder(Mesh mesh, int maxThreads)
    {
        _maxThreads = maxThreads;
        var n = mesh.TriangleCount;
        _items = new Item[n];
        var xyz = mesh.XyzArray;
        var corners = mesh.CornersArray;
        var unit = (float)mesh.Lattice.UnitMm;
        foreach (var x in xyz)
            if (x is > Lattice.MaxUnits or < -Lattice.MaxUnits)
                throw new ArgumentException($"A coordinate of {mesh.Lattice.ToMm(x):0.###} mm lies beyond the lattice of the mesh.", nameof(mesh));
        Parallel.For(0, (n + 65535) / 65536, TriangleTree.Threads(maxThreads), block =>
        {
            for (var t = block * 65536; t < Math.Min(n, (block + 1) * 65536); t++)
            {
                int a = 3 * corners[3 * t], b = 3 * corners[3 * t + 1], c = 3 * corners[3 * t + 2];
                int x0 = Math.Min(xyz[a], Math.Min(xyz[b], xyz[c])), x1 = Math.Max(xyz[a], Math.Max(xyz[b], xyz[c]));
                int y0 = Math.Min(xyz[a + 1], Math.Min(xyz[b + 1], xyz[c + 1])), y1 = Math.Max(xyz[a + 1], Math.Max(xyz[b + 1], xyz[c + 1]));
                int z0 = Math.Min(xyz[a + 2], Math.Min(xyz[b + 2], xyz[c + 2])), z1 = Math.Max(xyz[a + 2], Math.Max(xyz[b + 2], xyz[c + 2]));
                _items[t] = new Item { X0 = x0 * unit, Y0 = y0 * unit, Z0 = z0 * unit, X1 = x1 * unit, Y1 = y1 * unit, Z1 = z1 * unit, Triangle = t };
            }
        });
    }

    /// <summary>Boxes and children as the tree holds them, and the triangles of each leaf, four places a leaf, -1 where empty.</summary>
    internal (float[] Boxes, int[] Children, int[] Ids) Run()
    {
        var n = _items.Length;
        if (n == 0) return ([], [], []);
        var grain = Math.Max(4096, n / 24);
        var topTree = new Buffer();
        var pending = new List<(int Start, int Count, int Depth)>();
        SplitTop(topTree, 0, n, 0, grain, pending);
        _subtrees = new Buffer[pending.Count];
        Parallel.For(0, pending.Count, TriangleTree.Threads(_maxThreads), i =>
        {
            var buffer = new Buffer();
            Split(buffer, pending[i].Start, pending[i].Count, pending[i].Depth);
            _subtrees[i] = buffer;
        });
        var boxes = new List<float>(n * 12);
        var children = new List<int>(n * 2);
        var ids = new List<int>(2 * n);
        Gather(topTree, 0, boxes, children, ids);
        return (boxes.ToArray(), children.ToArray(), ids.ToArray());
    }

    private int SplitTop(Buffer into, int start, int count, int depth, int grain, List<(int, int, int)> pending)
    {
        if (count <= grain || depth >= DepthOfMedianSplits)
        {
            pending.Add((start, count, depth));
            return into.Add(new Node { Box = BoxOf(start, count), Start = start, Count = count, Left = -1, Right = -1, Subtree = pending.Count - 1 });
        }
        var box = BoxOf(start, count);
        var at = into.Add(new Node { Box = box, Start = start, Count = count, Left = -1, Right = -1, Subtree = -1 });
        var left = Partition(start, count, depth, box);
        var l = SplitTop(into, start, left, depth + 1, grain, pending);
        var r = SplitTop(into, start + left, count - left, depth + 1, grain, pending);
        into.Nodes[at].Left = l;
        into.Nodes[at].Right = r;
        return at;
    }

    private int Split(Buffer into, int start, int count, int depth)
    {
        var box = BoxOf(start, count);
        var at = into.Add(new Node { Box = box, Start = start, Count = count, Left = -1, Right = -1, Subtree = -1 });
        if (count <= LeafSize) return at;
        var left = Partition(start, count, depth, box);
        var l = Split(into, start, left, depth + 1);
        var r = Split(into, start + left, count - left, depth + 1);
        into.Nodes[at].Left = l;
        into.Nodes[at].Right = r;
        return at;
    }

    private Bound BoxOf(int start, int count)
    {
        var b = Bound.None;
        for (var i = start; i < start + count; i++) b.Add(_items[i]);
        return b;
    }

    /// <summary>Reorders a range into a left and a right part and gives the size of the left one (1 .. count - 1).</summary>
    private int Partition(int start, int count, int depth, in Bound box)
    {
        // Middles carry a factor of two throughout; the axis is the longest of the box of middles.
        float x0 = float.PositiveInfinity, y0 = x0, z0 = x0, x1 = -x0, y1 = -x0, z1 = -x0;
        for (var i = start; i < start + count; i++)
        {
            ref var m = ref _items[i];
            float x = m.X0 + m.X1, y = m.Y0 + m.Y1, z = m.Z0 + m.Z1;
            if (x < x0) x0 = x;
            if (x > x1) x1 = x;
            if (y < y0) y0 = y;
            if (y > y1) y1 = y;
            if (z < z0) z0 = z;
            if (z > z1) z1 = z;
        }
        float dx = x1 - x0, dy = y1 - y0, dz = z1 - z0;
        var axis = dx >= dy && dx >= dz ? 0 : dy >= dz ? 1 : 2;
        float low = axis == 0 ? x0 : axis == 1 ? y0 : z0, span = axis == 0 ? dx : axis == 1 ? dy : dz;
        if (!(span > 0)) return count / 2;
        if (count <= 8 || depth >= DepthOfMedianSplits) return Median(start, count, axis);

        Span<Bound> bins = stackalloc Bound[Bins];
        Span<int> counts = stackalloc int[Bins];
        counts.Clear();
        bins.Fill(Bound.None);
        var scale = Bins * 0.9999f / span;
        for (var i = start; i < start + count; i++)
        {
            ref var m = ref _items[i];
            var bin = Math.Min(Bins - 1, (int)((m.Middle(axis) - low) * scale));
            bins[bin].Add(m);
            counts[bin]++;
        }
        Span<float> rightCost = stackalloc float[Bins];
        var right = Bound.None;
        var n = 0;
        for (var b = Bins - 1; b > 0; b--)
        {
            right.Add(bins[b]);
            n += counts[b];
            rightCost[b] = n * right.HalfArea;
        }
        var left = Bound.None;
        int seen = 0, cut = -1;
        var best = float.PositiveInfinity;
        for (var b = 1; b < Bins; b++)
        {
            left.Add(bins[b - 1]);
            seen += counts[b - 1];
            if (seen == 0 || seen == count) continue;
            var cost = seen * left.HalfArea + rightCost[b];
            if (cost < best) { best = cost; cut = b; }
        }
        if (cut < 0) return Median(start, count, axis);
        int lo = start, hi = start + count - 1;
        while (lo <= hi)
        {
            if (Math.Min(Bins - 1, (int)((_items[lo].Middle(axis) - low) * scale)) < cut) lo++;
            else (_items[lo], _items[hi]) = (_items[hi--], _items[lo]);
        }
        return lo - start;
    }

    private int Median(int start, int count, int axis)
    {
        var range = _items.AsSpan(start, count);
        if (count > 16)
        {
            range.Sort((p, q) =>
            {
                var c = p.Middle(axis).CompareTo(q.Middle(axis));
                return c != 0 ? c : p.Triangle.CompareTo(q.Triangle);
            });
            return count / 2;
        }
        for (var i = 1; i < count; i++)
        {
            var item = range[i];
            var middle = item.Middle(axis);
            var j = i - 1;
            for (; j >= 0 && range[j].Middle(axis) > middle; j--) range[j + 1] = range[j];
            range[j + 1] = item;
        }
        return count / 2;
    }

    /// <summary>Turns the binary node into one four-child node (and those below it); gives the number of the new node.</summary>
    private int Gather(Buffer buffer, int root, List<float> boxes, List<int> children, List<int> ids)
    {
        Span<int> at = stackalloc int[4];
        var from = new Buffer[4];
        Span<float> box = stackalloc float[24];
        var n = 1;
        (from[0], at[0]) = Resolve(buffer, root);
        while (n < 4)
        {
            // Open the largest child that is no leaf.
            int open = -1;
            var area = -1f;
            for (var k = 0; k < n; k++)
            {
                ref var c = ref from[k].Nodes[at[k]];
                if (c.Left >= 0 && c.Box.HalfArea > area) { area = c.Box.HalfArea; open = k; }
            }
            if (open < 0) break;
            var (b, node) = (from[open], at[open]);
            (from[open], at[open]) = Resolve(b, b.Nodes[node].Left);
            (from[n], at[n]) = Resolve(b, b.Nodes[node].Right);
            n++;
        }
        for (var k = 0; k < 4; k++)
        {
            var b = k < n ? from[k].Nodes[at[k]].Box : Bound.None;
            box[k] = b.X0; box[4 + k] = b.Y0; box[8 + k] = b.Z0;
            box[12 + k] = b.X1; box[16 + k] = b.Y1; box[20 + k] = b.Z1;
        }
        var number = children.Count / 4;
        boxes.AddRange(box);
        for (var k = 0; k < 4; k++) children.Add(int.MinValue);
        for (var k = 0; k < n; k++)
        {
            var node = from[k].Nodes[at[k]];
            if (node.Left >= 0)
            {
                children[4 * number + k] = Gather(from[k], at[k], boxes, children, ids);
                continue;
            }
            children[4 * number + k] = ~(ids.Count / LeafSize);
            for (var i = 0; i < LeafSize; i++) ids.Add(i < node.Count ? _items[node.Start + i].Triangle : -1);
        }
        return number;
    }

    private (Buffer, int) Resolve(Buffer buffer, int node)
    {
        var s = buffer.Nodes[node].Subtree;
        return s < 0 ? (buffer, node) : (_subtrees[s], 0);
    }
}
