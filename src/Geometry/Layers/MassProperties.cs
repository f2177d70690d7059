namespace Stiltwright.Geometry.Layers;

/// <summary>
/// Volume, centre and second moments of a solid of density 1 (multiply by g/mm3 for grams). Moments of inertia are about
/// axes through the centroid.
/// </summary>
/// <param name="VolumeMm3">Volume, mm3.</param>
/// <param name="Centroid">Centre of volume, mm; zero for an empty solid.</param>
/// <param name="Ixx">Integral of y2 + z2, mm5.</param>
/// <param name="Iyy">Integral of x2 + z2, mm5.</param>
/// <param name="Izz">Integral of x2 + y2, mm5.</param>
/// <param name="Ixy">Integral of -x y, mm5.</param>
/// <param name="Ixz">Integral of -x z, mm5.</param>
/// <param name="Iyz">Integral of -y z, mm5.</param>
public readonly record struct MassProperties(
    double VolumeMm3, Vec3 Centroid, double Ixx, double Iyy, double Izz, double Ixy, double Ixz, double Iyz);

/// <summary>A volume with the spread by which it may be off.</summary>
/// <param name="VolumeMm3">Volume, mm3.</param>
/// <param name="SpreadMm3">Half the range of the four volumes that every second column in x and y gives, mm3.</param>
public readonly record struct VolumeEstimate(double VolumeMm3, double SpreadMm3);
