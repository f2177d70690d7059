namespace Stiltwright.Geometry;

/// <summary>An affine map of space: a 3x3 linear part (row-major) and a shift in millimetres. Points are columns: p' = L p + t.</summary>
public readonly record struct Affine(
    double M11, double M12, double M13, double M21, double M22, double M23, double M31, double M32, double M33, Vec3 Shift)
{
    /// <summary>The map that changes nothing.</summary>
    public static readonly Affine Identity = Scaling(1);

    /// <summary>Uniform scaling about the origin.</summary>
    public static Affine Scaling(double s) => new(s, 0, 0, 0, s, 0, 0, 0, s, Vec3.Zero);

    /// <summary>A shift, mm.</summary>
    public static Affine Translation(Vec3 t) => Identity with { Shift = t };

    /// <summary>A turn about an axis through the origin (right-hand rule), radians. The axis need not be a unit vector.</summary>
    public static Affine Turn(Vec3 axis, double radians)
    {
        var u = axis.Unit();
        var (s, c) = Math.SinCos(radians);
        var k = 1 - c;
        return new(
            c + u.X * u.X * k, u.X * u.Y * k - u.Z * s, u.X * u.Z * k + u.Y * s,
            u.Y * u.X * k + u.Z * s, c + u.Y * u.Y * k, u.Y * u.Z * k - u.X * s,
            u.Z * u.X * k - u.Y * s, u.Z * u.Y * k + u.X * s, c + u.Z * u.Z * k, Vec3.Zero);
    }

    /// <summary>Maps a point.</summary>
    public Vec3 Apply(Vec3 p) => Direction(p) + Shift;

    /// <summary>Maps a direction (the shift is left out, the length is not kept).</summary>
    public Vec3 Direction(Vec3 d) => new(
        M11 * d.X + M12 * d.Y + M13 * d.Z, M21 * d.X + M22 * d.Y + M23 * d.Z, M31 * d.X + M32 * d.Y + M33 * d.Z);

    /// <summary>This map first, then <paramref name="next"/>.</summary>
    public Affine Then(Affine next) => new(
        next.M11 * M11 + next.M12 * M21 + next.M13 * M31, next.M11 * M12 + next.M12 * M22 + next.M13 * M32, next.M11 * M13 + next.M12 * M23 + next.M13 * M33,
        next.M21 * M11 + next.M22 * M21 + next.M23 * M31, next.M21 * M12 + next.M22 * M22 + next.M23 * M32, next.M21 * M13 + next.M22 * M23 + next.M23 * M33,
        next.M31 * M11 + next.M32 * M21 + next.M33 * M31, next.M31 * M12 + next.M32 * M22 + next.M33 * M32, next.M31 * M13 + next.M32 * M23 + next.M33 * M33,
        next.Apply(Shift));

    /// <summary>Determinant of the linear part: the factor by which volumes grow.</summary>
    public double Determinant =>
        M11 * (M22 * M33 - M23 * M32) - M12 * (M21 * M33 - M23 * M31) + M13 * (M21 * M32 - M22 * M31);

    /// <summary>The map back. Throws <see cref="InvalidOperationException"/> where the determinant is zero.</summary>
    public Affine Inverse()
    {
        var d = Determinant;
        if (d == 0) throw new InvalidOperationException("A map with determinant 0 has no inverse.");
        var a = new Affine(
            (M22 * M33 - M23 * M32) / d, (M13 * M32 - M12 * M33) / d, (M12 * M23 - M13 * M22) / d,
            (M23 * M31 - M21 * M33) / d, (M11 * M33 - M13 * M31) / d, (M13 * M21 - M11 * M23) / d,
            (M21 * M32 - M22 * M31) / d, (M12 * M31 - M11 * M32) / d, (M11 * M22 - M12 * M21) / d, Vec3.Zero);
        return a with { Shift = -a.Direction(Shift) };
    }

    /// <summary>The 16 numbers of the 4x4 matrix, row-major.</summary>
    public double[] ToRowMajor() => [M11, M12, M13, Shift.X, M21, M22, M23, Shift.Y, M31, M32, M33, Shift.Z, 0, 0, 0, 1];
}
