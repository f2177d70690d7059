namespace Stiltwright.Printing.Loads;

/// <summary>
/// Saint-Venant torsion constants of outlines, in the fourth power of the length unit given. The pressure of a squeezed
/// film under a plate solves the torsion problem, so these tell the viscous pull of a layer. Source: Roark; Timoshenko and
/// Goodier, Theory of Elasticity (from memory).
/// </summary>
public static class Torsion
{
    /// <summary>Disc: pi R^4/2.</summary>
    public static double Disc(double radius) => Math.PI / 2 * Math.Pow(radius, 4);

    /// <summary>Ellipse by its semi-axes: pi a^3 b^3/(a^2 + b^2).</summary>
    public static double Ellipse(double a, double b) => Math.PI * Math.Pow(a * b, 3) / (a * a + b * b);

    /// <summary>Rectangle: beta L B^3 with L the longer side.</summary>
    public static double Rectangle(double length, double width)
    {
        if (length < width) (length, width) = (width, length);
        return RectangleBeta(length / width) * length * Math.Pow(width, 3);
    }

    /// <summary>
    /// Beta of a rectangle by its side ratio (at least 1):
    /// 1/3 - 64/(pi^5 ratio) * sum over odd n of tanh(n pi ratio/2)/n^5.
    /// </summary>
    public static double RectangleBeta(double ratio)
    {
        if (!(ratio >= 1)) throw new ArgumentOutOfRangeException(nameof(ratio), ratio, "The side ratio is the longer side over the shorter one.");
        double sum = 0;
        for (var n = 59; n >= 1; n -= 2) sum += Math.Tanh(n * Math.PI * ratio / 2) / Math.Pow(n, 5);
        return 1.0 / 3 - 64 / (Math.Pow(Math.PI, 5) * ratio) * sum;
    }

    /// <summary>Largest torsion constant that any outline without holes of an area can have: A^2/(2 pi) (Polya 1948, Q. Appl. Math. 6:267).</summary>
    public static double Bound(double area) => area * area / (2 * Math.PI);

    /// <summary>Estimate 2 A (A/P)^2: exact for a disc, 11 % low for a square, up to 50 % high for a strip.</summary>
    public static double FromHydraulicRadius(double area, double perimeter) => 2 * area * Math.Pow(area / perimeter, 2);
}
