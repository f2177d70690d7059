using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Fields;

/// <summary>
/// A binary tree of boxes around capsules' axes, for the least of (distance to an axis + a constant of its own) over many
/// capsules. The least is the same number, bit for bit, as when all are asked.
/// </summary>
internal sealed class KeptTree
{
    private const int MostInLeaf = 4;

    // More than the rounding of a distance to a box, mm.
    private const double Slack = 1e-9;

    private readonly record struct Node(Box3 Box, double LeastPlus, int From, int Count, int Left, int Right)
    {
        public double Bound(Vec3 p) => Vec3.Max(Vec3.Max(Box.Min - p, p - Box.Max), Vec3.Zero).Length + LeastPlus - Slack;
    }

    private readonly (Capsule Capsule, double Plus)[] _capsules;
    private readonly List<Node> _nodes = [];

    /// <param name="capsules">At least one; copied.</param>
    internal KeptTree((Capsule Capsule, double Plus)[] capsules)
    {
        _capsules = [.. capsules];
        Divide(0, _capsules.Length);
    }

    private int Divide(int from, int to)
    {
        var at = _nodes.Count;
        var box = Box3.Empty;
        var plus = double.PositiveInfinity;
        for (var i = from; i < to; i++)
        {
            box = box.With(_capsules[i].Capsule.From).With(_capsules[i].Capsule.To);
            plus = Math.Min(plus, _capsules[i].Plus);
        }
        _nodes.Add(new Node(box, plus, from, to - from, -1, -1));
        if (to - from <= MostInLeaf) return at;
        var size = box.Size;
        var axis = size.X >= size.Y && size.X >= size.Z ? 0 : size.Y >= size.Z ? 1 : 2;
        _capsules.AsSpan(from, to - from).Sort((a, b) => (a.Capsule.From[axis] + a.Capsule.To[axis]).CompareTo(b.Capsule.From[axis] + b.Capsule.To[axis]));
        var middle = (from + to) / 2;
        int left = Divide(from, middle), right = Divide(middle, to);
        _nodes[at] = _nodes[at] with { Count = 0, Left = left, Right = right };
        return at;
    }

    /// <summary>The least of distance plus constant where it lies below a value, else that value.</summary>
    internal double Least(Vec3 p, double within)
    {
        var best = within;
        Span<int> stack = stackalloc int[64];
        var top = 0;
        stack[top++] = 0;
        while (top > 0)
        {
            var node = _nodes[stack[--top]];
            if (node.Bound(p) >= best) continue;
            for (var i = node.From; i < node.From + node.Count; i++) best = Math.Min(best, At(i, p));
            if (node.Left < 0) continue;
            // The nearer one is taken first.
            var leftFirst = _nodes[node.Left].Bound(p) <= _nodes[node.Right].Bound(p);
            stack[top++] = leftFirst ? node.Right : node.Left;
            stack[top++] = leftFirst ? node.Left : node.Right;
        }
        return best;
    }

    /// <summary>The capsules whose distance plus constant is at most a reach.</summary>
    internal (Capsule, double)[] Within(Vec3 p, double reach)
    {
        List<(Capsule, double)>? found = null;
        Span<int> stack = stackalloc int[64];
        var top = 0;
        stack[top++] = 0;
        while (top > 0)
        {
            var node = _nodes[stack[--top]];
            if (node.Bound(p) > reach) continue;
            for (var i = node.From; i < node.From + node.Count; i++)
                if (At(i, p) <= reach) (found ??= []).Add(_capsules[i]);
            if (node.Left < 0) continue;
            stack[top++] = node.Right;
            stack[top++] = node.Left;
        }
        return found is null ? [] : [.. found];
    }

    private double At(int i, Vec3 p)
    {
        var (c, plus) = _capsules[i];
        return TriangleDistance.ClosestOnSegment(p, c.From, c.To).DistanceTo(p) + plus;
    }
}
