namespace Stiltwright.Geometry.Layers;

/// <summary>
/// Follows the void regions that slices enclose, and decides for each layer whether the void at or below it reaches the
/// outside. Numbers of voids follow what stands on what, as long as the slice encloses it;
/// ways out are a union-find over all regions, whatever their numbers. The platform is not outside.
/// </summary>
internal sealed class VoidForest
{
    private const int OutsideNode = 0;

    private readonly List<int> _parent = [OutsideNode];
    private readonly List<long> _pixels = [0];
    private readonly List<bool> _onPlatform = [false];
    private readonly List<int> _largest = [-1], _low = [0], _high = [0];
    private readonly List<RegionSums> _regions = [default];
    private readonly List<int> _layerOf = [-1];
    private int _belowStart, _belowCount;
    private int[] _below = [];

    public readonly List<int> FirstLayer = [], OpenLayer = [], MergeLayer = [], MergesInto = [];
    public readonly List<bool> OnPlatform = [];

    private int Root(int node)
    {
        while (_parent[node] != node)
        {
            _parent[node] = _parent[_parent[node]];
            node = _parent[node];
        }
        return node;
    }

    private int VoidRoot(int id)
    {
        while (MergesInto[id] >= 0) id = MergesInto[id];
        return id;
    }

    /// <summary>Adds a layer and says of each region: its void, whether it is vented, and the pixels of the closed void so far.</summary>
    public (int Void, bool Vented, long Pixels)[] Add(int layer, ReadOnlySpan<RegionSums> regions, ReadOnlySpan<(int Below, int Here)> links)
    {
        var start = _parent.Count;
        for (var r = 0; r < regions.Length; r++)
        {
            _parent.Add(start + r);
            _pixels.Add(regions[r].Pixels);
            _onPlatform.Add(layer == 0);
            _largest.Add(start + r);
            _low.Add(layer);
            _high.Add(layer);
            _regions.Add(regions[r]);
            _layerOf.Add(layer);
        }
        foreach (var (below, here) in links)
            Join(below == Slice.Outside ? OutsideNode : _belowStart + below, here == Slice.Outside ? OutsideNode : start + here);

        // Numbers: the oldest void that a region stands on, else a new one.
        var ids = new int[regions.Length];
        Array.Fill(ids, -1);
        foreach (var (below, here) in links)
        {
            if (below == Slice.Outside) continue;
            var id = VoidRoot(_below[below]);
            if (here == Slice.Outside)
            {
                OpenLayer[id] = Math.Min(OpenLayer[id], layer);
                continue;
            }
            if (ids[here] < 0) ids[here] = id;
            else if (VoidRoot(ids[here]) is var other && other != id)
            {
                var (elder, younger) = other < id ? (other, id) : (id, other);
                MergesInto[younger] = elder;
                MergeLayer[younger] = layer;
                ids[here] = elder;
            }
        }
        var found = new (int, bool, long)[regions.Length];
        for (var r = 0; r < regions.Length; r++)
        {
            if (ids[r] < 0)
            {
                ids[r] = FirstLayer.Count;
                FirstLayer.Add(layer);
                OpenLayer.Add(int.MaxValue);
                MergeLayer.Add(int.MaxValue);
                MergesInto.Add(-1);
                OnPlatform.Add(layer == 0);
            }
            ids[r] = VoidRoot(ids[r]);
            var root = Root(start + r);
            var vented = root == OutsideNode;
            if (vented && OpenLayer[ids[r]] == int.MaxValue) OpenLayer[ids[r]] = layer;
            found[r] = (ids[r], vented, vented ? 0 : _pixels[root]);
        }
        (_below, _belowStart, _belowCount) = (ids, start, regions.Length);
        return found;
    }

    /// <summary>Ends the part: above its last layer all is open, and off the platform so is what lay on it. What is left is sealed.</summary>
    public IEnumerable<(long Pixels, RegionSums Largest, int LargestLayer, int Low, int High)> Sealed()
    {
        for (var r = 0; r < _belowCount; r++) Join(OutsideNode, _belowStart + r);
        _belowCount = 0;
        for (var node = 1; node < _parent.Count; node++)
            if (_parent[node] == node && !_onPlatform[node])
                yield return (_pixels[node], _regions[_largest[node]], _layerOf[_largest[node]], _low[node], _high[node]);
    }

    /// <summary>Joins two voids: the lower node goes on, so the outside stays the root of what it reaches.</summary>
    private void Join(int a, int b)
    {
        a = Root(a);
        b = Root(b);
        if (a == b) return;
        if (b < a) (a, b) = (b, a);
        _parent[b] = a;
        _pixels[a] += _pixels[b];
        _onPlatform[a] |= _onPlatform[b];
        if (a == OutsideNode) return;
        _low[a] = Math.Min(_low[a], _low[b]);
        _high[a] = Math.Max(_high[a], _high[b]);
        if (_regions[_largest[b]].Pixels > _regions[_largest[a]].Pixels) _largest[a] = _largest[b];
    }
}
