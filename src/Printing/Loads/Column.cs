using Stiltwright.Printing.Strength;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Loads;

/// <summary>Section values of a strut segment at a corner radius. mm.</summary>
internal static class Section
{
    public static double Area(StrutSegment g, double r) => g.AreaShare * Math.PI * r * r;

    public static double Inertia(StrutSegment g, double r) => g.InertiaShare * Math.PI * r * r * r * r / 4;

    /// <summary>Least section modulus: inertia over the distance to a corner.</summary>
    public static double Modulus(StrutSegment g, double r) => Inertia(g, r) / r;

    public static double Gyration(StrutSegment g, double r) => Math.Sqrt(Inertia(g, r) / Area(g, r));
}

/// <summary>A run of elements as one column; a tapered one is taken with the mean radius of its middle third (physics table 3.3).</summary>
internal readonly struct Column
{
    public Column(StrutFrame frame, List<int> path, int from, int to, double factor, double modulus, double strength)
    {
        double length = 0;
        for (var i = from; i <= to; i++) length += Length(frame, path[i]);
        double at = 0, weight = 0, radius = 0, best = 0;
        var middle = path[from];
        var parts = new List<Lean>();
        for (var i = from; i <= to; i++)
        {
            var l = Length(frame, path[i]);
            double a = Math.Max(at, length / 3), b = Math.Min(at + l, 2 * length / 3);
            if (b > a)
            {
                var el = frame.Elements[path[i]];
                var half = ((a + b) / 2 - at) / l; // the mean of a straight taper is its value half-way
                var here = (b - a) * (el.RadiusLower + (el.RadiusUpper - el.RadiusLower) * half);
                parts.Add(new Lean(path[i], half, here));
                radius += here;
                weight += b - a;
                if (b - a > best) (best, middle) = (b - a, path[i]);
            }
            at += l;
        }
        var g = frame.Graph.Segments[frame.Elements[middle].Segment];
        var r = weight > 0 ? radius / weight : frame.Elements[middle].RadiusLower;
        Slenderness = factor * length / Section.Gyration(g, r);
        CapacityN = StrutCapacity.ColumnStress(Slenderness, modulus, strength) * Section.Area(g, r);
        var growth = StrutCapacity.ColumnGrowth(Slenderness, modulus, strength);
        for (var i = 0; i < parts.Count; i++) parts[i] = parts[i] with { Share = growth * parts[i].Share / radius };
        Leans = parts;
    }

    /// <summary>What the capacity depends on.</summary>
    public IReadOnlyList<Lean> Leans { get; }

    public double Slenderness { get; }

    public double CapacityN { get; }

    private static double Length(StrutFrame frame, int element) =>
        frame.Places[frame.Elements[element].Lower].DistanceTo(frame.Places[frame.Elements[element].Upper]);
}
