using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>
/// A piece of a bent tube: between two rings of equally many corners that need not be square to its axis nor parallel (where a tube
/// bends, generators put the ring half-way between both directions). Its sides are ruled between the rings, and beyond them.
/// </summary>
internal sealed class DrawnSkew : DrawnShaft
{
    private readonly Vec3[] _a;
    private readonly Vec3[] _b;
    private readonly Vec3 _endA;
    private readonly Vec3 _endB;
    private readonly Vec3 _normalA;
    private readonly Vec3 _normalB;
    private readonly double _length;
    private readonly double _radius;
    private readonly bool _ends;

    /// <summary>A plane along each side: its quad's middle and outward normal.</summary>
    private readonly Vec3[] _middle;
    private readonly Vec3[] _outwards;

    /// <param name="a">Corners of one ring, counter-clockwise seen from the other.</param>
    /// <param name="b">Corners of the other, each at the end of the edge from the corner of the same number.</param>
    /// <param name="ends">True if the other ring is its end, false if it only tells where the sides go.</param>
    public DrawnSkew(Vec3[] a, Vec3[] b, bool ends)
    {
        (_a, _b, _ends) = (a, b, ends);
        _endA = Middle(a);
        _endB = Middle(b);
        _length = _endA.DistanceTo(_endB);
        Axis = (_endB - _endA).Unit();
        _normalA = new Ring(_endA, a).Normal(Axis);
        _normalB = new Ring(_endB, b).Normal(Axis);
        Low = 0;
        High = _length;
        _radius = CornerRadius(0);
        _middle = new Vec3[Sides];
        _outwards = new Vec3[Sides];
        for (var k = 0; k < Sides; k++)
        {
            var n = (k + 1) % Sides;
            _middle[k] = (a[k] + a[n] + b[k] + b[n]) / 4;
            _outwards[k] = (b[n] - a[k]).Cross(b[k] - a[n]).Unit();
        }
    }

    public override Vec3 Axis { get; }

    public override Vec3 Origin => _endA;

    public int Sides => _a.Length;

    public override double CornerRadius(double s)
    {
        double sum = 0;
        var t = s / _length;
        for (var k = 0; k < Sides; k++) sum += (Corner(k, t) - _endA).Cross(Axis).Length;
        return sum / Sides;
    }

    public override bool Holds(Vec3 p)
    {
        if ((p - _endA).Dot(_normalA) < -OnMm) return false;
        if (_ends ? (p - _endB).Dot(_normalB) > OnMm : Along(p) > High + OnMm) return false;
        var slack = OnMm + SlackShare * _radius;
        for (var k = 0; k < Sides; k++)
            if ((p - _middle[k]).Dot(_outwards[k]) > slack) return false;
        return true;
    }

    /// <summary>True if a triangle lies in one of its sides.</summary>
    public override bool OnSide(Vec3 a, Vec3 b, Vec3 c)
    {
        var slack = OnMm + TwistShare * _radius;
        var beyond = Math.Max(EndMm, EndShare * _radius);
        var normal = (b - a).Cross(c - a).Unit();
        for (var k = 0; k < Sides; k++)
            if (normal.Dot(_outwards[k]) >= LeastFacing && Near(a, k) && Near(b, k) && Near(c, k)) return true;
        return false;

        // Rings lean: an end's edge is that of the ring's plane.
        bool Near(Vec3 p, int k) => (p - _endA).Dot(_normalA) >= -beyond && (_ends ? (p - _endB).Dot(_normalB) <= beyond : Along(p) <= High + beyond) && Math.Abs((p - _middle[k]).Dot(_outwards[k])) <= slack;
    }

    /// <summary>How far along its axis it can be drawn on: to its point, or until it has widened so many times, mm.</summary>
    public double Farthest(double mostWidening)
    {
        double start = CornerRadius(0), growth = (CornerRadius(_length) - start) / _length;
        return growth < -1e-6 ? 0.98 * start / -growth : growth > 1e-6 ? (mostWidening - 1) * start / growth : LongestShare * start;
    }

    /// <summary>No piece is longer than this many of its radii.</summary>
    private const double LongestShare = 400;

    public override Mesh ToMesh(Lattice lattice, double low, double high) =>
        Tube(lattice, (end, k) => Corner(k, (end == 0 ? low : high) / _length), Sides);

    /// <summary>The sides of a twisted piece are two triangles each, and leave the ruled surface by this share of its radius.</summary>
    private const double SlackShare = 0.02;

    private Vec3 Corner(int k, double t) => _a[k] + (_b[k] - _a[k]) * t;

    private static Vec3 Middle(Vec3[] ring)
    {
        var sum = Vec3.Zero;
        foreach (var p in ring) sum += p;
        return sum / ring.Length;
    }
}
