using Stiltwright.Geometry;

namespace Stiltwright.Printing.Loads;

/// <summary>One connected region of figure in a layer. mm, mm2.</summary>
/// <param name="Body">Body it belongs to at this layer (any member; the root is looked up).</param>
/// <param name="AreaMm2">Area.</param>
/// <param name="PerimeterMm">Rim length, holes counted.</param>
/// <param name="X">Centroid.</param>
/// <param name="Y">Centroid.</param>
/// <param name="MinX">Bounds.</param>
/// <param name="MaxX">Bounds.</param>
/// <param name="MinY">Bounds.</param>
/// <param name="MaxY">Bounds.</param>
public readonly record struct FigureRegion(int Body, double AreaMm2, double PerimeterMm, double X, double Y, double MinX, double MaxX, double MinY, double MaxY);

/// <summary>A connected part of the figure as it grows: it begins at a layer and may join an older one later.</summary>
/// <param name="FirstLayer">Layer at which it begins, 0-based.</param>
/// <param name="MergeLayer">Layer from which on it is one with <paramref name="MergesInto"/>; int.MaxValue if never.</param>
/// <param name="MergesInto">The body it joins; -1 if never.</param>
public readonly record struct FigureBody(int FirstLayer, int MergeLayer, int MergesInto);

/// <summary>A liquid area of a layer that cured material encloses and whose hollow below has no way out but holes.</summary>
/// <param name="Void">Number of the hollow.</param>
/// <param name="AreaMm2">Area, mm2.</param>
/// <param name="X">Centroid, mm.</param>
/// <param name="Y">Centroid, mm.</param>
/// <param name="Vented">True if the hollow below has a way out in the layers built so far.</param>
/// <param name="HeldMm3">Resin that an unvented hollow lifts along up to this layer, mm3.</param>
public readonly record struct FigureCup(int Void, double AreaMm2, double X, double Y, bool Vented, double HeldMm3);

/// <summary>
/// What the load solver needs to know of the figure (without its struts), layer by layer: regions, how they grow together
/// into bodies, and cups. Layers count from 0 here; the plane of layer k is z = (k + 0.5) * thickness.
/// </summary>
public sealed class FigureLayers
{
    private readonly int[] _regionStart;
    private readonly FigureRegion[] _regions;
    private readonly int[] _cupStart;
    private readonly FigureCup[] _cups;
    private readonly Func<Vec3, int> _bodyAt;

    /// <summary>Takes the layers over.</summary>
    /// <param name="layerMm">Thickness of a layer, mm.</param>
    /// <param name="regions">Regions of each layer, from the lowest.</param>
    /// <param name="bodies">Bodies; the index is the number that regions name.</param>
    /// <param name="cups">Cups of each layer; as many entries as <paramref name="regions"/>, or none.</param>
    /// <param name="bodyAt">Body at a point of the figure, -1 where there is none.</param>
    /// <exception cref="ArgumentException">A region names a body that does not exist, or the cups have another number of layers.</exception>
    public FigureLayers(double layerMm, IReadOnlyList<IReadOnlyList<FigureRegion>> regions, IReadOnlyList<FigureBody> bodies,
        IReadOnlyList<IReadOnlyList<FigureCup>>? cups, Func<Vec3, int> bodyAt)
    {
        if (!(layerMm > 0)) throw new ArgumentException("A layer is thicker than zero.", nameof(layerMm));
        if (cups is not null && cups.Count != regions.Count && cups.Count != 0) throw new ArgumentException("Cups and regions need the same layers.", nameof(cups));
        LayerMm = layerMm;
        Bodies = [.. bodies];
        (_regionStart, _regions) = Flat(regions, regions.Count);
        (_cupStart, _cups) = Flat(cups is null || cups.Count == 0 ? null : cups, regions.Count);
        foreach (var r in _regions)
            if ((uint)r.Body >= (uint)Bodies.Length) throw new ArgumentException($"A region names body {r.Body}, but there are {Bodies.Length}.", nameof(regions));
        _bodyAt = bodyAt;
    }

    /// <summary>Thickness of a layer, mm.</summary>
    public double LayerMm { get; }

    /// <summary>Number of layers.</summary>
    public int Count => _regionStart.Length - 1;

    /// <summary>All bodies.</summary>
    public FigureBody[] Bodies { get; }

    /// <summary>Regions of a layer.</summary>
    public ReadOnlySpan<FigureRegion> Regions(int layer) => _regions.AsSpan(_regionStart[layer], _regionStart[layer + 1] - _regionStart[layer]);

    /// <summary>Cups of a layer.</summary>
    public ReadOnlySpan<FigureCup> Cups(int layer) => _cups.AsSpan(_cupStart[layer], _cupStart[layer + 1] - _cupStart[layer]);

    /// <summary>First layer whose plane is not below a height, mm.</summary>
    public int LayerFrom(double z) => Math.Max(0, (int)Math.Ceiling(z / LayerMm - 0.5 - 1e-9));

    /// <summary>Body that a body is part of once a layer is printed.</summary>
    public int RootAt(int body, int layer)
    {
        while (Bodies[body].MergeLayer <= layer && Bodies[body].MergesInto >= 0) body = Bodies[body].MergesInto;
        return body;
    }

    /// <summary>
    /// Body that a contact holds: looked up just inside the figure along the given directions, then, where the surface is
    /// too thin for that, by the smallest region around the place in the next layers. -1 where there is no figure.
    /// </summary>
    /// <param name="at">Contact, mm.</param>
    /// <param name="inwards">Direction into the figure (need not be a unit vector).</param>
    /// <param name="reachMm">How far the contact may be from the figure, mm (about the tip's radius).</param>
    public int BodyOfContact(Vec3 at, Vec3 inwards, double reachMm)
    {
        var u = inwards.Unit();
        for (var step = 0; step <= 4; step++)
        {
            var b = _bodyAt(at + u * (step * 0.5 * (LayerMm + reachMm)));
            if (b >= 0) return b;
        }
        var from = LayerFrom(at.Z);
        var to = Math.Min(Count - 1, from + 1 + (int)Math.Ceiling(reachMm / LayerMm));
        for (var k = from; k <= to; k++)
        {
            int best = -1;
            double bestSpan = double.PositiveInfinity;
            foreach (var r in Regions(k))
            {
                if (at.X < r.MinX - reachMm || at.X > r.MaxX + reachMm || at.Y < r.MinY - reachMm || at.Y > r.MaxY + reachMm) continue;
                var span = (r.MaxX - r.MinX) * (r.MaxY - r.MinY);
                if (span < bestSpan) { bestSpan = span; best = r.Body; }
            }
            if (best >= 0) return best;
        }
        return -1;
    }

    private static (int[] Start, T[] Items) Flat<T>(IReadOnlyList<IReadOnlyList<T>>? layers, int count)
    {
        var start = new int[count + 1];
        for (var k = 0; k < count; k++) start[k + 1] = start[k] + (layers?[k].Count ?? 0);
        var items = new T[start[count]];
        for (var k = 0; k < count; k++)
            for (var i = 0; i < start[k + 1] - start[k]; i++) items[start[k] + i] = layers![k][i];
        return (start, items);
    }
}
