namespace Stiltwright.Geometry.Spatial;

/// <summary>The nearest point of a mesh. Where nothing lies within the asked distance, <see cref="Triangle"/> is -1 and the distance infinite.</summary>
/// <param name="Distance">Distance, mm.</param>
/// <param name="Triangle">Number of the triangle in the mesh, or -1.</param>
/// <param name="Point">The nearest point itself, mm.</param>
public readonly record struct Nearest(double Distance, int Triangle, Vec3 Point)
{
    /// <summary>Nothing within reach.</summary>
    public static readonly Nearest None = new(double.PositiveInfinity, -1, Vec3.Zero);

    /// <summary>True if something was found.</summary>
    public bool Found => Triangle >= 0;
}

/// <summary>Where a ray meets a mesh.</summary>
/// <param name="Distance">Distance from the origin along the ray, mm.</param>
/// <param name="Triangle">Number of the triangle in the mesh.</param>
/// <param name="Entering">True where the ray passes from the triangle's outer side to its inner side.</param>
public readonly record struct RayHit(double Distance, int Triangle, bool Entering);
