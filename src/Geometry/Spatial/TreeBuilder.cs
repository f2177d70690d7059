using System.Numerics;
using System.Runtime.CompilerServices;

namespace Stiltwright.Geometry.Spatial;

/// <summary>
/// Builds the boxes of a <see cref="TriangleTree"/>. Triangles are sorted along a space-filling curve (those far larger than the
/// rest apart) and gathered to leaves of at most eight; above them nodes of eight children, by splits that keep the sum of
/// surface times number small (surface-area measure over 16 bins, Wald 2007). Subtrees are built in parallel, each into its own
/// buffer, so the result is the same for any number of threads.
/// </summary>
internal sealed class TreeBuilder
{
    internal const int Wide = 8;
    private const int Bins = 16;
    private const int DepthOfMedianSplits = 20;

    private struct Item
    {
        public Bound Box;
        public int Start, Count;
    }

    private struct Bound
    {
        public Vector3 Low, High;
        public static Bound None => new() { Low = new Vector3(float.PositiveInfinity), High = new Vector3(float.NegativeInfinity) };

        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public void Add(in Bound b)
        {
            Low = Vector3.Min(Low, b.Low);
            High = Vector3.Max(High, b.High);
        }

        public readonly Vector3 Middle2 => Low + High;

        public readonly float HalfArea
        {
            get
            {
                var d = High - Low;
                return d.X < 0 ? 0 : d.X * d.Y + d.Y * d.Z + d.Z * d.X;
            }
        }
    }

    private readonly record struct Range(int Start, int Count, Bound Box);

    private sealed class Buffer
    {
        public readonly List<float> Boxes = [];
        public readonly List<int> Children = [];
    }

    private readonly Mesh _mesh;
    private readonly int _maxThreads;
    private readonly float _unit;
    private Item[] _items = [];

    internal TreeBuilder(Mesh mesh, int maxThreads)
    {
        _mesh = mesh;
        _maxThreads = maxThreads;
        _unit = (float)mesh.Lattice.UnitMm;
        if (mesh.TriangleCount >= MortonOrder.Most) throw new ArgumentException($"A tree holds fewer than {MortonOrder.Most} triangles; the mesh has {mesh.TriangleCount}.", nameof(mesh));
        foreach (var x in mesh.XyzArray)
            if (x is > Lattice.MaxUnits or < -Lattice.MaxUnits)
                throw new ArgumentException($"A coordinate of {mesh.Lattice.ToMm(x):0.###} mm lies beyond the lattice of the mesh.", nameof(mesh));
    }

    /// <summary>Boxes and children as the tree holds them, and the triangles of each leaf, eight places a leaf, -1 where empty.</summary>
    internal (float[] Boxes, int[] Children, int[] Ids) Run()
    {
        if (_mesh.TriangleCount == 0) return ([], [], []);
        var order = Order();
        _items = Leaves(order);
        MeasureLeaves(order);
        var top = new Buffer();
        var pending = new List<(Range Range, int Depth, int Slot)>();
        var whole = Bound.None;
        foreach (ref var i in _items.AsSpan()) whole.Add(i.Box);
        Divide(top, new Range(0, _items.Length, whole), 0, Math.Max(1024, _items.Length / 24), pending);
        var subtrees = new Buffer[pending.Count];
        Parallel.For(0, pending.Count, TriangleTree.Threads(_maxThreads), i =>
        {
            subtrees[i] = new Buffer();
            Divide(subtrees[i], pending[i].Range, pending[i].Depth, 0, null);
        });
        var (boxes, children) = Joined(top, pending, subtrees);
        var ids = new int[Wide * _items.Length];
        Parallel.For(0, (_items.Length + 8191) / 8192, TriangleTree.Threads(_maxThreads), block =>
        {
            for (var l = block * 8192; l < Math.Min(_items.Length, (block + 1) * 8192); l++)
                for (var i = 0; i < Wide; i++)
                    ids[Wide * l + i] = i < _items[l].Count ? (int)(order[_items[l].Start + i] & (MortonOrder.Most - 1)) : -1;
        });
        return (boxes, children, ids);
    }

    // Triangles by size class, then along the curve through their boxes' middles.
    private ulong[] Order()
    {
        var n = _mesh.TriangleCount;
        var box = _mesh.Bounds;
        double sum = 0;
        const int block = 32768;
        var sums = new double[(n + block - 1) / block];
        Parallel.For(0, sums.Length, TriangleTree.Threads(_maxThreads), b =>
        {
            for (var t = b * block; t < Math.Min(n, (b + 1) * block); t++) sums[b] += Size(BoxOf(t));
        });
        foreach (var s in sums) sum += s;
        var usual = (float)(4 * sum / n);
        var low = new Vector3((float)box.Min.X, (float)box.Min.Y, (float)box.Min.Z);
        var span = Math.Max(box.Size.X, Math.Max(box.Size.Y, box.Size.Z));
        var scale = span > 0 ? (float)(2047.5 / span) : 0;
        var keys = new ulong[n];
        Parallel.For(0, sums.Length, TriangleTree.Threads(_maxThreads), b =>
        {
            for (var t = b * block; t < Math.Min(n, (b + 1) * block); t++)
            {
                var of = BoxOf(t);
                ulong large = 0;
                for (var s = Size(of); s > usual && large < 7; s *= 0.25f) large++;
                var m = (of.Middle2 * 0.5f - low) * scale;
                keys[t] = (large << 33 | MortonOrder.Code(Math.Clamp((int)m.X, 0, 2047), Math.Clamp((int)m.Y, 0, 2047), Math.Clamp((int)m.Z, 0, 2047)))
                    << MortonOrder.IndexBits | (uint)t;
            }
        });
        return MortonOrder.Sorted(keys, _maxThreads);
    }

    private static float Size(in Bound b)
    {
        var d = b.High - b.Low;
        return Math.Max(d.X, Math.Max(d.Y, d.Z));
    }

    private Bound BoxOf(int t)
    {
        var corners = _mesh.CornersArray;
        Vector3 a = At(corners[3 * t]), b = At(corners[3 * t + 1]), c = At(corners[3 * t + 2]);
        return new Bound { Low = Vector3.Min(a, Vector3.Min(b, c)), High = Vector3.Max(a, Vector3.Max(b, c)) };
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private Vector3 At(int v)
    {
        var xyz = _mesh.XyzArray;
        return new Vector3(xyz[3 * v], xyz[3 * v + 1], xyz[3 * v + 2]) * _unit;
    }

    // Cells of the curve with at most eight triangles; where more lie in one place, eight by eight.
    private static Item[] Leaves(ulong[] order)
    {
        var leaves = new List<Item>(order.Length / 4);
        var stack = new Stack<(int From, int To)>();
        stack.Push((0, order.Length));
        while (stack.Count > 0)
        {
            var (from, to) = stack.Pop();
            if (to - from <= Wide)
            {
                leaves.Add(new Item { Start = from, Count = to - from });
                continue;
            }
            var differing = (order[from] ^ order[to - 1]) >> MortonOrder.IndexBits;
            int middle;
            if (differing == 0) middle = from + Wide;
            else
            {
                var bit = 1ul << (63 - BitOperations.LeadingZeroCount(differing) + MortonOrder.IndexBits);
                int lo = from, hi = to - 1;
                while (hi - lo > 1)
                {
                    var mid = (lo + hi) / 2;
                    if ((order[mid] & bit) != 0) hi = mid; else lo = mid;
                }
                middle = hi;
            }
            stack.Push((middle, to));
            stack.Push((from, middle));
        }
        return leaves.ToArray();
    }

    private void MeasureLeaves(ulong[] order) => Parallel.For(0, (_items.Length + 4095) / 4096, TriangleTree.Threads(_maxThreads), block =>
    {
        for (var l = block * 4096; l < Math.Min(_items.Length, (block + 1) * 4096); l++)
        {
            ref var item = ref _items[l];
            var box = Bound.None;
            for (var i = item.Start; i < item.Start + item.Count; i++) box.Add(BoxOf((int)(order[i] & (MortonOrder.Most - 1))));
            item.Box = box;
        }
    });

    // One node of up to eight children out of a range, and the nodes below it; ranges up to the grain are left for later.
    private int Divide(Buffer into, Range whole, int depth, int grain, List<(Range, int, int)>? pending)
    {
        Span<Range> parts = stackalloc Range[Wide];
        parts[0] = whole;
        var n = 1;
        while (n < Wide)
        {
            // Open the largest part, or the fullest one where the tree grows too deep.
            var open = -1;
            var most = -1f;
            for (var k = 0; k < n; k++)
            {
                if (parts[k].Count < 2) continue;
                var measure = depth < DepthOfMedianSplits ? parts[k].Box.HalfArea : parts[k].Count;
                if (measure > most) { most = measure; open = k; }
            }
            if (open < 0) break;
            (parts[open], parts[n]) = Partition(parts[open], depth);
            n++;
        }
        var at = into.Children.Count / Wide;
        for (var row = 0; row < 6; row++)
            for (var k = 0; k < Wide; k++)
            {
                var b = k < n ? parts[k].Box : Bound.None;
                var v = row < 3 ? b.Low : b.High;
                into.Boxes.Add(v[row % 3]);
            }
        for (var k = 0; k < Wide; k++) into.Children.Add(k < n && parts[k].Count == 1 ? ~parts[k].Start : TriangleTree.Empty);
        for (var k = 0; k < n; k++)
        {
            if (parts[k].Count == 1) continue;
            if (pending is not null && parts[k].Count <= grain) pending.Add((parts[k], depth + 1, Wide * at + k));
            else
            {
                var child = Divide(into, parts[k], depth + 1, grain, pending);
                into.Children[Wide * at + k] = child;
            }
        }
        return at;
    }

    private static (float[], int[]) Joined(Buffer top, List<(Range Range, int Depth, int Slot)> pending, Buffer[] subtrees)
    {
        var boxes = new float[top.Boxes.Count + subtrees.Sum(s => s.Boxes.Count)];
        var children = new int[top.Children.Count + subtrees.Sum(s => s.Children.Count)];
        top.Boxes.CopyTo(boxes);
        top.Children.CopyTo(children);
        int boxAt = top.Boxes.Count, childAt = top.Children.Count;
        for (var i = 0; i < subtrees.Length; i++)
        {
            var offset = childAt / Wide;
            children[pending[i].Slot] = offset;
            subtrees[i].Boxes.CopyTo(boxes, boxAt);
            foreach (var c in subtrees[i].Children) children[childAt++] = c >= 0 ? c + offset : c;
            boxAt += subtrees[i].Boxes.Count;
        }
        return (boxes, children);
    }

    /// <summary>Reorders a range into two parts, neither of them empty.</summary>
    private (Range, Range) Partition(in Range range, int depth)
    {
        var items = _items.AsSpan(range.Start, range.Count);
        // Middles carry a factor of two throughout; the axis is the longest of the box of middles.
        Vector3 least = new(float.PositiveInfinity), largest = new(float.NegativeInfinity);
        foreach (ref var i in items)
        {
            var m = i.Box.Middle2;
            least = Vector3.Min(least, m);
            largest = Vector3.Max(largest, m);
        }
        var d = largest - least;
        var axis = d.X >= d.Y && d.X >= d.Z ? 0 : d.Y >= d.Z ? 1 : 2;
        var span = d[axis];
        if (!(span > 0)) return Halves(range, items.Length / 2);
        if (items.Length <= 4 || depth >= DepthOfMedianSplits) return Halves(range, Median(items, axis));

        Span<Bound> bins = stackalloc Bound[Bins];
        Span<int> counts = stackalloc int[Bins];
        counts.Clear();
        bins.Fill(Bound.None);
        float low = least[axis], scale = Bins * 0.9999f / span;
        foreach (ref var i in items)
        {
            var bin = Math.Min(Bins - 1, (int)((i.Box.Middle2[axis] - low) * scale));
            bins[bin].Add(i.Box);
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
            if (seen == 0 || seen == items.Length) continue;
            var cost = seen * left.HalfArea + rightCost[b];
            if (cost < best) { best = cost; cut = b; }
        }
        if (cut < 0) return Halves(range, Median(items, axis));
        int lo = 0, hi = items.Length - 1;
        while (lo <= hi)
        {
            if (Math.Min(Bins - 1, (int)((items[lo].Box.Middle2[axis] - low) * scale)) < cut) lo++;
            else (items[lo], items[hi]) = (items[hi--], items[lo]);
        }
        Bound a = Bound.None, c = Bound.None;
        for (var b = 0; b < cut; b++) a.Add(bins[b]);
        for (var b = cut; b < Bins; b++) c.Add(bins[b]);
        return (new Range(range.Start, lo, a), new Range(range.Start + lo, range.Count - lo, c));
    }

    private (Range, Range) Halves(in Range range, int left)
    {
        Bound a = Bound.None, b = Bound.None;
        for (var i = 0; i < range.Count; i++)
            if (i < left) a.Add(_items[range.Start + i].Box);
            else b.Add(_items[range.Start + i].Box);
        return (new Range(range.Start, left, a), new Range(range.Start + left, range.Count - left, b));
    }

    private static int Median(Span<Item> items, int axis)
    {
        if (items.Length > 16)
        {
            items.Sort((p, q) =>
            {
                var c = p.Box.Middle2[axis].CompareTo(q.Box.Middle2[axis]);
                return c != 0 ? c : p.Start.CompareTo(q.Start);
            });
            return items.Length / 2;
        }
        for (var i = 1; i < items.Length; i++)
        {
            var item = items[i];
            var middle = item.Box.Middle2[axis];
            var j = i - 1;
            for (; j >= 0 && items[j].Box.Middle2[axis] > middle; j--) items[j + 1] = items[j];
            items[j + 1] = item;
        }
        return items.Length / 2;
    }
}
