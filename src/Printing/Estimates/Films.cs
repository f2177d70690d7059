using Stiltwright.Geometry;
using Stiltwright.Printing.Fluids;
using Stiltwright.Printing.Resin;

namespace Stiltwright.Printing.Estimates;

/// <summary>Resin that stays on inner walls after draining.</summary>
public static class Films
{
    /// <summary>Time given to draining, s (ten minutes, common practice).</summary>
    public const double DrainS = 600;

    /// <summary>
    /// Volume of the film on the inner wall of a cavity after <see cref="DrainS"/>, mm3: mean thickness on a wall as tall as
    /// the cavity (Jeffreys 1930) times the cavity's surface.
    /// </summary>
    public static double InnerFilmMm3(Mesh cavity, ResinData resin)
    {
        double area = 0;
        for (var t = 0; t < cavity.TriangleCount; t++) area += cavity.AreaVector(t).Length;
        return area * WallFilm.Mean(resin.ViscosityPaS, cavity.Bounds.Size.Z, resin.LiquidDensity, DrainS);
    }
}
