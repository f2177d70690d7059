using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>Tells whether the coordinates of a source were rounded, as text with three decimals is: flat sides are then flat no more.</summary>
internal static class RoundedCoordinates
{
    /// <summary>Steps that are looked for, mm, the coarsest first.</summary>
    private static readonly double[] Steps = [1e-2, 5e-3, 2e-3, 1e-3, 5e-4];

    /// <summary>Coarser steps than this leave too little of a thin strut's sides to fit anything to them, mm.</summary>
    public const double CoarsestMm = 2e-3;

    /// <summary>Share of the coordinates that must lie on the step.</summary>
    private const double LeastOn = 0.995;

    /// <summary>Departure by float and lattice, mm, besides half a lattice unit.</summary>
    private const double FloatMm = 8e-6;

    private const int Sample = 30_000;

    /// <summary>The step in mm; 0 where there is none.</summary>
    public static double StepMm(Mesh mesh)
    {
        var xyz = mesh.XyzArray;
        if (xyz.Length == 0) return 0;
        var stride = Math.Max(1, xyz.Length / Sample);
        if (stride % 3 == 0) stride++;
        foreach (var step in Steps)
        {
            int on = 0, all = 0;
            for (var i = 0; i < xyz.Length; i += stride, all++)
            {
                var mm = xyz[i] * mesh.Lattice.UnitMm;
                if (Math.Abs(mm - Math.Round(mm / step) * step) <= 0.5 * mesh.Lattice.UnitMm + FloatMm) on++;
            }
            if (on >= LeastOn * all) return step;
        }
        return 0;
    }
}
