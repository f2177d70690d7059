namespace Stiltwright.Geometry.Cutting;

/// <summary>A cut that could not be made with certainty. The message is a sentence that says why and where; nothing was changed.</summary>
public sealed class CuttingException : Exception
{
    /// <summary>A reason and a place, mm.</summary>
    public CuttingException(string reason, Vec3 at) : base($"{reason} (at {at} mm)") => At = at;

    /// <summary>A reason and a place, mm, with what caused it.</summary>
    public CuttingException(string reason, Vec3 at, Exception cause) : base($"{reason} (at {at} mm)", cause) => At = at;

    /// <summary>Where, mm.</summary>
    public Vec3 At { get; }
}
