namespace Stiltwright.Geometry;

/// <summary>Disjoint sets of 0..n-1; the lowest member stands for a set, so the result does not depend on the order of joining.</summary>
internal sealed class UnionFind
{
    private readonly int[] _parent;

    internal UnionFind(int n)
    {
        _parent = new int[n];
        for (var i = 0; i < n; i++) _parent[i] = i;
    }

    internal int Find(int i)
    {
        while (_parent[i] != i) i = _parent[i] = _parent[_parent[i]];
        return i;
    }

    internal bool Join(int a, int b)
    {
        a = Find(a);
        b = Find(b);
        if (a == b) return false;
        if (a < b) _parent[b] = a;
        else _parent[a] = b;
        return true;
    }
}
