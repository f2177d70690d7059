namespace Stiltwright.Printing.Estimates;

/// <summary>
/// Exact volumes of solids and of their shells, for estimates and checks (elementary geometry; grown bodies by Steiner's
/// formula, Schneider 2014, Convex Bodies, from memory). Lengths in one unit, volumes in its cube. A wall as thick as the
/// body leaves no hollow: then the shell is the solid.
/// </summary>
public static class HandbookVolumes
{
    /// <summary>Sphere.</summary>
    public static double Sphere(double radius) => 4.0 / 3 * Math.PI * Math.Pow(radius, 3);

    /// <summary>Sphere with a wall.</summary>
    public static double SphereShell(double radius, double wall) => Sphere(radius) - Sphere(Math.Max(0, radius - wall));

    /// <summary>Box with a wall.</summary>
    public static double BoxShell(double a, double b, double c, double wall) =>
        a * b * c - Math.Max(0, a - 2 * wall) * Math.Max(0, b - 2 * wall) * Math.Max(0, c - 2 * wall);

    /// <summary>Closed cylinder with a wall.</summary>
    public static double CylinderShell(double radius, double height, double wall) =>
        Math.PI * (radius * radius * height - Math.Pow(Math.Max(0, radius - wall), 2) * Math.Max(0, height - 2 * wall));

    /// <summary>Capsule with a wall; the length is that of the straight part.</summary>
    public static double CapsuleShell(double radius, double straight, double wall)
    {
        var inner = Math.Max(0, radius - wall);
        return Math.PI * straight * (radius * radius - inner * inner) + Sphere(radius) - Sphere(inner);
    }

    /// <summary>Torus with a wall: ring radius, tube radius.</summary>
    public static double TorusShell(double ring, double tube, double wall) =>
        2 * Math.PI * Math.PI * ring * (tube * tube - Math.Pow(Math.Max(0, tube - wall), 2));

    /// <summary>A body whose faces all touch one inner sphere, with a wall: V (1 - (1 - t/rho)^3).</summary>
    public static double InsphereBodyShell(double volume, double insphere, double wall) => volume * (1 - Math.Pow(Math.Max(0, 1 - wall / insphere), 3));

    /// <summary>Regular tetrahedron with a wall; its insphere is a/(2 sqrt 6).</summary>
    public static double TetrahedronShell(double edge, double wall) =>
        InsphereBodyShell(Math.Pow(edge, 3) / (6 * Math.Sqrt(2)), edge / (2 * Math.Sqrt(6)), wall);

    /// <summary>Prism on a regular polygon by its corner radius: n/2 R^2 sin(2 pi/n) h.</summary>
    public static double Prism(int sides, double cornerRadius, double height) => sides / 2.0 * cornerRadius * cornerRadius * Math.Sin(2 * Math.PI / sides) * height;

    /// <summary>That prism with a wall: the hollow's corner radius is R - t/cos(pi/n).</summary>
    public static double PrismShell(int sides, double cornerRadius, double height, double wall) =>
        Prism(sides, cornerRadius, height)
        - Prism(sides, Math.Max(0, cornerRadius - wall / Math.Cos(Math.PI / sides)), Math.Max(0, height - 2 * wall));

    /// <summary>Steiner: a convex body grown outwards: V + A r + M r^2 + 4/3 pi r^3, M its integral of mean curvature.</summary>
    public static double Grown(double volume, double area, double meanCurvature, double by) => volume + area * by + meanCurvature * by * by + Sphere(by);

    /// <summary>Box grown outwards (rounded edges).</summary>
    public static double BoxGrown(double a, double b, double c, double by) => Grown(a * b * c, 2 * (a * b + b * c + c * a), Math.PI * (a + b + c), by);

    /// <summary>Closed cylinder grown outwards.</summary>
    public static double CylinderGrown(double radius, double height, double by) =>
        Grown(Math.PI * radius * radius * height, 2 * Math.PI * radius * (radius + height), Math.PI * height + Math.PI * Math.PI * radius, by);
}
