using Stiltwright.Geometry;

namespace Stiltwright.Printing.Loads;

/// <summary>The loads of a layer on a group of bodies as multiples of its unit columns (force up, moments about x and y).</summary>
internal sealed class LoadCases
{
    public LoadCases(BodyGroup group, LayerLoads loads, Vec3 origin)
    {
        var n = group.Columns;
        Separation = new double[n];
        OffX = new double[n];
        OffY = new double[n];
        Cups = new double[n];
        UnventedCups = new double[n];
        Weight = new double[n];
        Lift = new double[n];
        for (var b = 0; b < group.Roots.Length; b++)
        {
            var load = loads.Of(group.Roots[b]);
            Put(Separation, b, load.Separation, origin);
            Put(Cups, b, load.Cups, origin);
            Put(UnventedCups, b, load.UnventedCups, origin);
            Put(Weight, b, load.Weight, origin);
            OffX[3 * b + 2] = -load.OffX;
            OffY[3 * b + 1] = load.OffY;
            HasCups |= load.Cups.Force != 0;
        }
        for (var c = 0; c < n; c++) Lift[c] = Separation[c] + Cups[c] + Weight[c];
    }

    /// <summary>Separation load at the regions' centroids.</summary>
    public double[] Separation { get; }

    /// <summary>The moment that moving it along x adds.</summary>
    public double[] OffX { get; }

    /// <summary>The moment that moving it along y adds.</summary>
    public double[] OffY { get; }

    /// <summary>Suction of cups.</summary>
    public double[] Cups { get; }

    /// <summary>That of cups without vents alone.</summary>
    public double[] UnventedCups { get; }

    /// <summary>Weight hanging.</summary>
    public double[] Weight { get; }

    /// <summary>All that pulls on lifting.</summary>
    public double[] Lift { get; }

    /// <summary>True if a cup pulls.</summary>
    public bool HasCups { get; }

    private static void Put(double[] to, int body, UprightLoad load, Vec3 o)
    {
        to[3 * body] = load.Force;
        to[3 * body + 1] = load.Fy - load.Force * o.Y;
        to[3 * body + 2] = -(load.Fx - load.Force * o.X);
    }
}
