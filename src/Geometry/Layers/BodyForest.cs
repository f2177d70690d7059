namespace Stiltwright.Geometry.Layers;

/// <summary>
/// Follows solid regions from layer to layer: which body each belongs to, where bodies begin and where they join (a join
/// tree with the elder rule; Carr, Snoeyink, Axen 2003), and what has been printed of each.
/// </summary>
internal sealed class BodyForest
{
    /// <summary>Running sums over the pixels of a body: count, x, y and layer numbers.</summary>
    internal record struct Sums(long Pixels, long X, long Y, long Layers);

    private readonly List<int> _parent = [];
    public readonly List<int> FirstLayer = [], MergeLayer = [], MergesInto = [], FirstRegion = [];
    /// <summary>What has been printed of a body after each of its layers, what joined it included.</summary>
    public readonly List<List<Sums>> History = [];
    private readonly List<Sums> _now = [];
    private int[] _below = [];

    public int Count => FirstLayer.Count;

    private int Root(int body)
    {
        while (_parent[body] != body)
        {
            _parent[body] = _parent[_parent[body]];
            body = _parent[body];
        }
        return body;
    }

    /// <summary>
    /// Adds a layer: links run from region numbers of the layer below to this one's, sorted by the latter. Returns the body
    /// of each region; firstRegion is the number of the layer's first region among all.
    /// </summary>
    public int[] Add(int layer, ReadOnlySpan<RegionSums> regions, ReadOnlySpan<(int Below, int Here)> links, int firstRegion)
    {
        var bodies = new int[regions.Length];
        var n = 0;
        for (var r = 0; r < regions.Length; r++)
        {
            bodies[r] = -1;
            for (; n < links.Length && links[n].Here == r; n++)
            {
                var body = Root(_below[links[n].Below]);
                bodies[r] = bodies[r] < 0 ? body : Merge(bodies[r], body, layer);
            }
            if (bodies[r] >= 0) continue;
            bodies[r] = Count;
            _parent.Add(bodies[r]);
            FirstLayer.Add(layer);
            MergeLayer.Add(int.MaxValue);
            MergesInto.Add(-1);
            FirstRegion.Add(firstRegion + r);
            History.Add([]);
            _now.Add(default);
        }
        for (var r = 0; r < regions.Length; r++)
        {
            var body = bodies[r] = Root(bodies[r]);
            var s = regions[r];
            var now = _now[body];
            _now[body] = new Sums(now.Pixels + s.Pixels, now.X + s.SumX, now.Y + s.SumY, now.Layers + (long)s.Pixels * layer);
        }
        foreach (var body in bodies)
        {
            var history = History[body];
            if (history.Count == layer - FirstLayer[body]) history.Add(_now[body]);
        }
        _below = bodies;
        return bodies;
    }

    /// <summary>Joins two roots: the lower number, which is the older one, goes on.</summary>
    private int Merge(int a, int b, int layer)
    {
        if (a == b) return a;
        var (elder, younger) = a < b ? (a, b) : (b, a);
        _parent[younger] = elder;
        MergeLayer[younger] = layer;
        MergesInto[younger] = elder;
        Sums e = _now[elder], y = _now[younger];
        _now[elder] = new Sums(e.Pixels + y.Pixels, e.X + y.X, e.Y + y.Y, e.Layers + y.Layers);
        return elder;
    }
}
