using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>A convex body that a generator drew and a union swallowed in part: what is visible of its surface tells all of it.</summary>
internal abstract class DrawnBody
{
    /// <summary>A corner this far outside still counts as on the body, mm.</summary>
    public double OnMm { get; set; } = 2e-3;

    /// <summary>Triangles by which it was found.</summary>
    public List<int> Seeds { get; } = [];

    /// <summary>Greatest radius, mm.</summary>
    public abstract double Size { get; }

    /// <summary>True if a point lies inside or on it.</summary>
    public abstract bool Holds(Vec3 p);

    /// <summary>
    /// True if a triangle lies along one of its sides, if not quite in it: where a tube bends, generators leave sides a little twisted.
    /// </summary>
    public virtual bool OnSide(Vec3 a, Vec3 b, Vec3 c) => false;

    /// <summary>How far a side may be twisted, as a share of the radius.</summary>
    protected const double TwistShare = 0.05;

    /// <summary>
    /// How far beyond its ends a flap may reach, as a share of the radius and mm, whichever is more: a rod of the figure that goes on in
    /// line with it is not its own.
    /// </summary>
    protected const double EndShare = 0.05, EndMm = 0.1;

    /// <summary>A flap faces the way its side does within about 20 degrees (cosine).</summary>
    protected const double LeastFacing = 0.94;

    /// <summary>The whole body as a closed mesh.</summary>
    public abstract Mesh ToMesh(Lattice lattice);
}

/// <summary>A ball. Corners lie on the sphere; its facets run inside it.</summary>
internal sealed class DrawnBall(Vec3 centre, double radius) : DrawnBody
{
    public Vec3 Centre { get; } = centre;

    public override double Size { get; } = radius;

    public override bool Holds(Vec3 p) => p.DistanceTo(Centre) <= 1.002 * Size + OnMm;

    public override Mesh ToMesh(Lattice lattice) => Primitives.Sphere(lattice, Centre, Size, 4);
}

/// <summary>A body with an axis along which it may be drawn on: places on it are counted in mm.</summary>
internal abstract class DrawnShaft : DrawnBody
{
    /// <summary>Unit vector.</summary>
    public abstract Vec3 Axis { get; }

    /// <summary>A point of the axis: place 0.</summary>
    public abstract Vec3 Origin { get; }

    /// <summary>Lower end along the axis, mm.</summary>
    public double Low { get; set; }

    /// <summary>Upper end along the axis, mm.</summary>
    public double High { get; set; }

    public override double Size => Math.Max(CornerRadius(Low), CornerRadius(High));

    public double Along(Vec3 p) => (p - Origin).Dot(Axis);

    public Vec3 At(double s) => Origin + Axis * s;

    /// <summary>Distance of the polygon's corners from the axis at a place, mm.</summary>
    public abstract double CornerRadius(double s);

    /// <summary>Height of the lowest point of the section at a place along the axis, mm.</summary>
    public double LowestAt(double s) => At(s).Z - CornerRadius(s) * Math.Sqrt(Math.Max(0, 1 - Axis.Z * Axis.Z));

    public override Mesh ToMesh(Lattice lattice) => ToMesh(lattice, Low, High);

    /// <summary>The body between two places along its axis.</summary>
    public abstract Mesh ToMesh(Lattice lattice, double low, double high);

    /// <summary>A closed tube between two rings of equally many corners, counter-clockwise seen from the second.</summary>
    protected static Mesh Tube(Lattice lattice, Func<int, int, Vec3> corner, int sides)
    {
        var xyz = new int[6 * sides];
        for (var end = 0; end < 2; end++)
            for (var k = 0; k < sides; k++)
            {
                var p = corner(end, k);
                var at = 3 * (end * sides + k);
                xyz[at] = lattice.Round(p.X);
                xyz[at + 1] = lattice.Round(p.Y);
                xyz[at + 2] = lattice.Round(p.Z);
            }
        var corners = new List<int>();
        for (var k = 0; k < sides; k++)
        {
            var next = (k + 1) % sides;
            corners.AddRange([k, next, sides + next, k, sides + next, sides + k]);
        }
        for (var k = 1; k + 1 < sides; k++) corners.AddRange([0, k + 1, k, sides, sides + k, sides + k + 1]);
        return new Mesh(lattice, xyz, [.. corners]);
    }
}

/// <summary>
/// A prism or frustum over a regular polygon. Places along the axis are counted in mm from <see cref="Origin"/>; the
/// distance of its sides from the axis (the inscribed radius) changes linearly.
/// </summary>
internal sealed class DrawnPrism : DrawnShaft
{
    private readonly Vec3 _u;
    private readonly Vec3 _v;
    private readonly double _corner;

    /// <param name="origin">A point of the axis.</param>
    /// <param name="axis">Unit vector.</param>
    /// <param name="towardsSide">Unit vector across the axis, towards the middle of one side.</param>
    /// <param name="sides">Sides of the polygon.</param>
    /// <param name="inscribed">Inscribed radius at the origin, mm.</param>
    /// <param name="growth">Its change per mm of axis.</param>
    public DrawnPrism(Vec3 origin, Vec3 axis, Vec3 towardsSide, int sides, double inscribed, double growth)
    {
        Origin = origin;
        Axis = axis;
        Sides = sides;
        Inscribed = inscribed;
        Growth = growth;
        _u = (towardsSide - axis * towardsSide.Dot(axis)).Unit();
        _v = axis.Cross(_u);
        _corner = 1 / Math.Cos(Math.PI / sides);
    }

    /// <summary>The same sides, with no ends and no triangles yet.</summary>
    public DrawnPrism Anew() => new(Origin, Axis, _u, Sides, Inscribed, Growth);

    public override Vec3 Origin { get; }

    public override Vec3 Axis { get; }

    public int Sides { get; }

    public double Inscribed { get; }

    public double Growth { get; }

    /// <summary>Area of its sides that is visible, mm2.</summary>
    public double SeenMm2 { get; set; }

    public double InscribedAt(double s) => Math.Max(0, Inscribed + Growth * s);

    public override double CornerRadius(double s) => InscribedAt(s) * _corner;

    /// <summary>How far a point lies outside the sides (negative: inside), across the axis, mm; and the side.</summary>
    public (double Out, int Side) Across(Vec3 p)
    {
        var d = p - Origin;
        var s = d.Dot(Axis);
        double x = d.Dot(_u), y = d.Dot(_v);
        var step = 2 * Math.PI / Sides;
        var side = (int)Math.Round(Math.Atan2(y, x) / step);
        var (sin, cos) = Math.SinCos(side * step);
        return (x * cos + y * sin - InscribedAt(s), (side % Sides + Sides) % Sides);
    }

    public override bool Holds(Vec3 p)
    {
        var s = Along(p);
        return s >= Low - OnMm && s <= High + OnMm && Across(p).Out <= OnMm;
    }

    public override bool OnSide(Vec3 a, Vec3 b, Vec3 c)
    {
        var step = 2 * Math.PI / Sides;
        var (sin, cos) = Math.SinCos(Across((a + b + c) / 3).Side * step);
        var outwards = _u * cos + _v * sin;
        var beyond = Math.Max(EndMm, EndShare * Size);
        return (b - a).Cross(c - a).Unit().Dot((outwards - Axis * Growth).Unit()) >= LeastFacing && Near(a) && Near(b) && Near(c);

        bool Near(Vec3 p)
        {
            var s = Along(p);
            return s >= Low - beyond && s <= High + beyond && Math.Abs((p - Origin).Dot(outwards) - InscribedAt(s)) <= OnMm + TwistShare * InscribedAt(s);
        }
    }

    /// <summary>The prism between two places along its axis; a radius that would vanish is kept at a hundredth of a millimetre.</summary>
    public override Mesh ToMesh(Lattice lattice, double low, double high) => Tube(lattice, (end, k) =>
    {
        var s = end == 0 ? low : high;
        var (sin, cos) = Math.SinCos((k + 0.5) * 2 * Math.PI / Sides);
        return At(s) + (_u * cos + _v * sin) * Math.Max(CornerRadius(s), 0.01);
    }, Sides);
}
