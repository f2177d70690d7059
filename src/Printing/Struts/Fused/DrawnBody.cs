using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>A convex body that a generator drew and a union swallowed in part: what is visible of its surface tells all of it.</summary>
internal abstract class DrawnBody
{
    /// <summary>A corner this far outside still counts as on the body, mm.</summary>
    protected const double OnMm = 2e-3;

    /// <summary>Triangles by which it was found.</summary>
    public List<int> Seeds { get; } = [];

    /// <summary>Greatest radius, mm.</summary>
    public abstract double Size { get; }

    /// <summary>True if a point lies inside or on it.</summary>
    public abstract bool Holds(Vec3 p);

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

/// <summary>
/// A prism or frustum over a regular polygon. Places along the axis are counted in mm from <see cref="Origin"/>; the
/// distance of its sides from the axis (the inscribed radius) changes linearly.
/// </summary>
internal sealed class DrawnPrism : DrawnBody
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

    public Vec3 Origin { get; }

    public Vec3 Axis { get; }

    public int Sides { get; }

    public double Inscribed { get; }

    public double Growth { get; }

    /// <summary>Lower end along the axis, mm.</summary>
    public double Low { get; set; }

    /// <summary>Upper end along the axis, mm.</summary>
    public double High { get; set; }

    /// <summary>Area of its sides that is visible, mm2.</summary>
    public double SeenMm2 { get; set; }

    public override double Size => Math.Max(CornerRadius(Low), CornerRadius(High));

    public double Along(Vec3 p) => (p - Origin).Dot(Axis);

    public Vec3 At(double s) => Origin + Axis * s;

    public double InscribedAt(double s) => Math.Max(0, Inscribed + Growth * s);

    public double CornerRadius(double s) => InscribedAt(s) * _corner;

    /// <summary>Height of the lowest point of the section at a place along the axis, mm.</summary>
    public double LowestAt(double s) => At(s).Z - CornerRadius(s) * Math.Sqrt(Math.Max(0, 1 - Axis.Z * Axis.Z));

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

    public override Mesh ToMesh(Lattice lattice) => ToMesh(lattice, Low, High);

    /// <summary>The prism between two places along its axis; a radius that would vanish is kept at a hundredth of a millimetre.</summary>
    public Mesh ToMesh(Lattice lattice, double low, double high)
    {
        var xyz = new int[6 * Sides];
        for (var end = 0; end < 2; end++)
            for (var k = 0; k < Sides; k++)
            {
                var s = end == 0 ? low : high;
                var (sin, cos) = Math.SinCos((k + 0.5) * 2 * Math.PI / Sides);
                var p = At(s) + (_u * cos + _v * sin) * Math.Max(CornerRadius(s), 0.01);
                var at = 3 * (end * Sides + k);
                xyz[at] = lattice.Round(p.X);
                xyz[at + 1] = lattice.Round(p.Y);
                xyz[at + 2] = lattice.Round(p.Z);
            }
        var corners = new List<int>();
        for (var k = 0; k < Sides; k++)
        {
            var next = (k + 1) % Sides;
            corners.AddRange([k, next, Sides + next, k, Sides + next, Sides + k]);
        }
        for (var k = 1; k + 1 < Sides; k++) corners.AddRange([0, k + 1, k, Sides, Sides + k, Sides + k + 1]);
        return new Mesh(lattice, xyz, [.. corners]);
    }
}
