using System.Globalization;

namespace Stiltwright.Geometry;

/// <summary>A point or direction in millimetres (or unitless, for directions), in double precision.</summary>
public readonly record struct Vec3(double X, double Y, double Z)
{
    /// <summary>The origin.</summary>
    public static readonly Vec3 Zero = new(0, 0, 0);

    /// <summary>Upwards, away from the build platform.</summary>
    public static readonly Vec3 Up = new(0, 0, 1);

    /// <summary>Sum.</summary>
    public static Vec3 operator +(Vec3 a, Vec3 b) => new(a.X + b.X, a.Y + b.Y, a.Z + b.Z);

    /// <summary>Difference.</summary>
    public static Vec3 operator -(Vec3 a, Vec3 b) => new(a.X - b.X, a.Y - b.Y, a.Z - b.Z);

    /// <summary>The opposite direction.</summary>
    public static Vec3 operator -(Vec3 a) => new(-a.X, -a.Y, -a.Z);

    /// <summary>Scaled by a factor.</summary>
    public static Vec3 operator *(Vec3 a, double k) => new(a.X * k, a.Y * k, a.Z * k);

    /// <summary>Scaled by a factor.</summary>
    public static Vec3 operator *(double k, Vec3 a) => a * k;

    /// <summary>Divided by a factor.</summary>
    public static Vec3 operator /(Vec3 a, double k) => new(a.X / k, a.Y / k, a.Z / k);

    /// <summary>Dot product.</summary>
    public double Dot(Vec3 b) => X * b.X + Y * b.Y + Z * b.Z;

    /// <summary>Cross product (right-handed).</summary>
    public Vec3 Cross(Vec3 b) => new(Y * b.Z - Z * b.Y, Z * b.X - X * b.Z, X * b.Y - Y * b.X);

    /// <summary>Squared length.</summary>
    public double LengthSquared => Dot(this);

    /// <summary>Length.</summary>
    public double Length => Math.Sqrt(LengthSquared);

    /// <summary>The unit vector of this direction; zero stays zero.</summary>
    public Vec3 Unit()
    {
        var l = Length;
        return l > 0 ? this / l : Zero;
    }

    /// <summary>Distance to another point.</summary>
    public double DistanceTo(Vec3 b) => (this - b).Length;

    /// <summary>Component by axis: 0 = x, 1 = y, 2 = z.</summary>
    public double this[int axis] => axis == 0 ? X : axis == 1 ? Y : Z;

    /// <summary>Componentwise least.</summary>
    public static Vec3 Min(Vec3 a, Vec3 b) => new(Math.Min(a.X, b.X), Math.Min(a.Y, b.Y), Math.Min(a.Z, b.Z));

    /// <summary>Componentwise largest.</summary>
    public static Vec3 Max(Vec3 a, Vec3 b) => new(Math.Max(a.X, b.X), Math.Max(a.Y, b.Y), Math.Max(a.Z, b.Z));

    /// <summary>A direction at right angles to this one (which need not be a unit vector).</summary>
    public Vec3 AnyPerpendicular()
    {
        var a = Math.Abs(X) <= Math.Abs(Y) && Math.Abs(X) <= Math.Abs(Z) ? new Vec3(1, 0, 0)
            : Math.Abs(Y) <= Math.Abs(Z) ? new Vec3(0, 1, 0) : new Vec3(0, 0, 1);
        return Cross(a).Unit();
    }

    /// <inheritdoc/>
    public override string ToString() => string.Create(CultureInfo.InvariantCulture, $"({X:0.###}, {Y:0.###}, {Z:0.###})");
}
