using Stiltwright.Geometry;
using Stiltwright.Printing.Splitting;

namespace Stiltwright.Plugins.Split;

/// <summary>The solids of a peg and of the tool that sinks its socket.</summary>
internal static class PegShape
{
    private const int Sides = 24;

    /// <summary>A socket is this much deeper than its peg is long, mm: glue and dust find room.</summary>
    private const double DeeperMm = 0.3;

    public static Mesh Peg(Peg peg, Lattice lattice) => Primitives.Frustum(
        lattice, peg.At - peg.Axis * Printing.Splitting.Peg.RootMm, peg.At + peg.Axis * peg.LengthMm, peg.RadiusMm, peg.RadiusMm * Printing.Splitting.Peg.TipShare, Sides);

    /// <summary>Wider by the play measured between the flats of the polygons, so that the clearance holds all round.</summary>
    public static Mesh Socket(Peg peg, double clearanceMm, Lattice lattice)
    {
        var flat = Math.Cos(Math.PI / Sides);
        return Primitives.Frustum(
            lattice, peg.At - peg.Axis * 1.0, peg.At + peg.Axis * (peg.LengthMm + DeeperMm),
            peg.RadiusMm + clearanceMm / flat, peg.RadiusMm * Printing.Splitting.Peg.TipShare + clearanceMm / flat, Sides);
    }
}
