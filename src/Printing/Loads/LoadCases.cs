using Stiltwright.Geometry;

namespace Stiltwright.Printing.Loads;

/// <summary>Parts of a layer's load on a body.</summary>
internal enum LoadPart
{
    /// <summary>Separation load at the regions' centroids.</summary>
    Separation,

    /// <summary>The moment that moving it along x adds.</summary>
    OffX,

    /// <summary>The moment that moving it along y adds.</summary>
    OffY,

    /// <summary>Weight hanging.</summary>
    Weight,

    /// <summary>Suction of cups.</summary>
    Cups,

    /// <summary>That of cups without vents alone.</summary>
    UnventedCups,
}

/// <summary>The loads of a layer on one body, part by part: three forces and three moments about the origin each.</summary>
internal sealed class LoadCases
{
    /// <summary>Number of parts.</summary>
    public const int Parts = 6;

    private readonly double[] _load = new double[6 * Parts];

    /// <summary>Takes the loads of a body.</summary>
    public LoadCases(BodyLoads load, Vec3 origin)
    {
        Put(LoadPart.Separation, load.Separation, origin);
        Put(LoadPart.Weight, load.Weight, origin);
        Put(LoadPart.Cups, load.Cups, origin);
        Put(LoadPart.UnventedCups, load.UnventedCups, origin);
        Of(LoadPart.OffX)[4] = -load.OffX;
        Of(LoadPart.OffY)[3] = load.OffY;
    }

    /// <summary>Six numbers of a part.</summary>
    public Span<double> Of(LoadPart part) => _load.AsSpan(6 * (int)part, 6);

    /// <summary>Adds a force at a place: what a strut that stands on the body hands down.</summary>
    public void Add(LoadPart part, Vec3 force, Vec3 arm)
    {
        var to = Of(part);
        var m = arm.Cross(force);
        to[0] += force.X; to[1] += force.Y; to[2] += force.Z;
        to[3] += m.X; to[4] += m.Y; to[5] += m.Z;
    }

    /// <summary>All that pulls on lifting, without the off-centre part.</summary>
    public void Lift(Span<double> six)
    {
        for (var i = 0; i < 6; i++) six[i] = Of(LoadPart.Separation)[i] + Of(LoadPart.Weight)[i] + Of(LoadPart.Cups)[i];
    }

    private void Put(LoadPart part, UprightLoad load, Vec3 o)
    {
        var to = Of(part);
        to[2] = load.Force;
        to[3] = load.Fy - load.Force * o.Y;
        to[4] = -(load.Fx - load.Force * o.X);
    }
}
