namespace Stiltwright.Geometry;

/// <summary>An axis-aligned box in millimetres. <see cref="Empty"/> holds nothing and grows to what is added.</summary>
public readonly record struct Box3(Vec3 Min, Vec3 Max)
{
    /// <summary>The box that holds nothing.</summary>
    public static readonly Box3 Empty = new(
        new(double.PositiveInfinity, double.PositiveInfinity, double.PositiveInfinity),
        new(double.NegativeInfinity, double.NegativeInfinity, double.NegativeInfinity));

    /// <summary>True if no point was ever added.</summary>
    public bool IsEmpty => Min.X > Max.X;

    /// <summary>Edge lengths, mm (zero for the empty box).</summary>
    public Vec3 Size => IsEmpty ? Vec3.Zero : Max - Min;

    /// <summary>Centre point.</summary>
    public Vec3 Center => (Min + Max) * 0.5;

    /// <summary>This box grown to hold a point.</summary>
    public Box3 With(Vec3 p) => new(Vec3.Min(Min, p), Vec3.Max(Max, p));

    /// <summary>This box grown to hold another.</summary>
    public Box3 With(Box3 b) => new(Vec3.Min(Min, b.Min), Vec3.Max(Max, b.Max));

    /// <summary>This box grown by a margin on every side, mm.</summary>
    public Box3 Grown(double mm) => new(Min - new Vec3(mm, mm, mm), Max + new Vec3(mm, mm, mm));

    /// <summary>True if the boxes share at least a point.</summary>
    public bool Meets(Box3 b) => Min.X <= b.Max.X && b.Min.X <= Max.X && Min.Y <= b.Max.Y && b.Min.Y <= Max.Y && Min.Z <= b.Max.Z && b.Min.Z <= Max.Z;

    /// <summary>True if the point lies inside or on the border.</summary>
    public bool Holds(Vec3 p) => p.X >= Min.X && p.X <= Max.X && p.Y >= Min.Y && p.Y <= Max.Y && p.Z >= Min.Z && p.Z <= Max.Z;
}
