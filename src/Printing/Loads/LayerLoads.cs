using Stiltwright.Geometry;
using Stiltwright.Printing.Fluids;
using Stiltwright.Printing.Strength;

namespace Stiltwright.Printing.Loads;

/// <summary>A vertical load: force and its first moments about the z axis lines, N and N mm.</summary>
/// <param name="Force">N, positive away from the platform.</param>
/// <param name="Fx">Force times x.</param>
/// <param name="Fy">Force times y.</param>
internal readonly record struct UprightLoad(double Force, double Fx, double Fy)
{
    public static UprightLoad operator +(UprightLoad a, UprightLoad b) => new(a.Force + b.Force, a.Fx + b.Fx, a.Fy + b.Fy);

    public static UprightLoad At(double force, double x, double y) => new(force, force * x, force * y);
}

/// <summary>Loads on one body at one layer. <c>OffX</c>, <c>OffY</c>: sum of force times how far it may lie off centre, N mm.</summary>
internal struct BodyLoads
{
    public UprightLoad Separation;
    public UprightLoad Cups;
    public UprightLoad UnventedCups;
    public UprightLoad Weight;
    public double OffX;
    public double OffY;
}

/// <summary>Adds up, layer by layer, what pulls on each body of the figure.</summary>
internal sealed class LayerLoads
{
    private readonly LoadScene _scene;
    private readonly FigureLayers _figure;
    private readonly double _speedShare;
    private readonly Dictionary<int, BodyLoads> _now = [];
    private readonly UprightLoad[] _grown; // volume and its first moments of each root, mm3
    private readonly List<(int Layer, int Body)> _merges;
    private int _nextMerge;

    public LayerLoads(LoadScene scene)
    {
        _scene = scene;
        _figure = scene.Figure;
        _speedShare = SeparationLoad.SpeedShare(scene.Printer.LiftSpeedMmS, scene.Printer.ReferenceLiftSpeedMmS, scene.Resin.SpeedExponent);
        _grown = new UprightLoad[_figure.Bodies.Length];
        _merges = [.. Enumerable.Range(0, _figure.Bodies.Length).Where(b => _figure.Bodies[b].MergesInto >= 0)
            .Select(b => (_figure.Bodies[b].MergeLayer, b)).OrderBy(m => m.MergeLayer).ThenByDescending(m => m.b)];
    }

    /// <summary>Bodies (roots) that this layer adds to, in order.</summary>
    public List<int> Active { get; } = [];

    /// <summary>Loads of a root at this layer; only its weight where the layer has nothing of it.</summary>
    public BodyLoads Of(int root) => _now.TryGetValue(root, out var load) ? load : new BodyLoads { Weight = Hanging(root) };

    /// <summary>True if this layer pulls on a root.</summary>
    public bool Pulls(int root) => _now.ContainsKey(root);

    /// <summary>A place in a root at a layer, for remarks.</summary>
    public Vec3 PlaceOf(int root, int layer)
    {
        var v = _grown[root];
        return v.Force > 0 ? new Vec3(v.Fx / v.Force, v.Fy / v.Force, (layer + 0.5) * _figure.LayerMm) : new Vec3(0, 0, (layer + 0.5) * _figure.LayerMm);
    }

    /// <summary>Goes on to a layer; layers come one after the other.</summary>
    public void StepTo(int layer)
    {
        for (; _nextMerge < _merges.Count && _merges[_nextMerge].Layer <= layer; _nextMerge++)
        {
            var body = _merges[_nextMerge].Body;
            var into = _figure.RootAt(body, layer);
            _grown[into] += _grown[body];
            _grown[body] = default;
        }
        _now.Clear();
        Active.Clear();
        foreach (var r in _figure.Regions(layer))
        {
            var root = _figure.RootAt(r.Body, layer);
            if (!_now.TryGetValue(root, out var load)) Active.Add(root);
            var f = SeparationLoad.Force(r.AreaMm2, r.PerimeterMm, _scene.Resin.SeparationStressKPa, _scene.Resin.SlenderShare, _speedShare);
            load.Separation += UprightLoad.At(f, r.X, r.Y);
            load.OffX += f * _scene.OffCentre * (r.MaxX - r.MinX);
            load.OffY += f * _scene.OffCentre * (r.MaxY - r.MinY);
            _grown[root] += UprightLoad.At(r.AreaMm2 * _figure.LayerMm, r.X, r.Y);
            _now[root] = load;
        }
        AddCups(layer);
        foreach (var root in Active)
        {
            var load = _now[root];
            var hanging = Hanging(root);
            load.Weight += hanging;
            _now[root] = load;
        }
    }

    private UprightLoad Hanging(int root)
    {
        var perMm3 = Physical.WeightN(1, _scene.Resin.CuredDensity);
        var v = _grown[root];
        return new UprightLoad(v.Force * perMm3, v.Fx * perMm3, v.Fy * perMm3);
    }

    private void AddCups(int layer)
    {
        foreach (var cup in _figure.Cups(layer))
        {
            var root = BodyAround(layer, cup.X, cup.Y);
            if (root < 0) continue; // nothing of the figure around it in this layer: the film cannot close it
            var load = _now[root];
            var k = VentFactor(layer, cup);
            double force;
            if (double.IsFinite(k)) force = SuctionCup.Vented(cup.AreaMm2, _scene.Printer.LiftSpeedMmS, _scene.Resin.ViscosityPaS, k);
            else if (cup.Vented) force = 0;
            else
            {
                force = SuctionCup.Unvented(cup.AreaMm2, _scene.Resin.CupPressureKPa);
                load.UnventedCups += UprightLoad.At(force, cup.X, cup.Y);
                load.Weight += UprightLoad.At(Physical.WeightN(cup.HeldMm3, _scene.Resin.LiquidDensity), cup.X, cup.Y);
            }
            load.Cups += UprightLoad.At(force, cup.X, cup.Y);
            _now[root] = load;
        }
    }

    private int BodyAround(int layer, double x, double y)
    {
        var best = -1;
        var span = double.PositiveInfinity;
        foreach (var r in _figure.Regions(layer))
        {
            if (x < r.MinX || x > r.MaxX || y < r.MinY || y > r.MaxY) continue;
            var s = (r.MaxX - r.MinX) * (r.MaxY - r.MinY);
            if (s < span) { span = s; best = r.Body; }
        }
        return best < 0 ? -1 : _figure.RootAt(best, layer);
    }

    // Holes of the hollow that lie below this layer, side by side.
    private double VentFactor(int layer, FigureCup cup)
    {
        var z = (layer + 0.5) * _figure.LayerMm;
        double sum = 0;
        foreach (var v in _scene.Vents)
            if (v.AtMm.Z <= z && v.Hollow.Grown(_figure.LayerMm).Holds(new Vec3(cup.X, cup.Y, z))) sum += 1 / HoleFlow.Factor(v.DiameterMm, v.WallMm);
        return sum > 0 ? 1 / sum : double.PositiveInfinity;
    }
}
