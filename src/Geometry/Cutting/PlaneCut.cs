namespace Stiltwright.Geometry.Cutting;

/// <summary>The two halves of a cut by a plane.</summary>
/// <param name="Below">What lies on the side the normal points away from (n.p &lt; offset), closed by caps.</param>
/// <param name="Above">The other half, closed by caps whose corners lie at the same places.</param>
/// <param name="CapAreaMm2">Area of the section, mm2: where a group of shells winds once or more, counted once for each group.</param>
/// <param name="TrianglesCut">Triangles the plane crosses.</param>
/// <param name="BelowKept">How many triangles of <paramref name="Below"/>, from the first, are old ones with their old corners.</param>
/// <param name="AboveKept">The same of <paramref name="Above"/>.</param>
public sealed record PlaneCutResult(Mesh Below, Mesh Above, double CapAreaMm2, int TrianglesCut, int BelowKept, int AboveKept);

/// <summary>
/// Cuts closed shells with a plane into two closed halves. The plane is moved up by less than a millionth of a lattice unit, so that no vertex
/// lies on it (a vertex at the very offset counts as below); sides are exact in integers. Triangles that are not crossed stay as they are.
/// <para>Operands are as for <see cref="SolidTool"/>: surfaces that hang together, inner shells with the outer shell they hollow.
/// Each is capped where it winds once or more (w caps where it winds w times), so each half of each operand is closed; overlapping
/// shells get overlapping caps. Where loops of one operand cross, their crossings become corners of its caps; loops may run along each other
/// (mirrored arms cut on their mirror plane).</para>
/// <para>New corners are rounded to the lattice: caps of planes along the axes at a lattice offset are exactly flat, others to half a unit an axis.
/// The two halves' volumes add up to the whole's but for that rounding. Pieces thinner than one unit are dropped.</para>
/// </summary>
public static class PlaneCut
{
    /// <summary>Cuts closed shells at the plane n.p = offset.</summary>
    /// <param name="closedShells">Closed shells, outwards where solid.</param>
    /// <param name="normal">Direction of the plane's normal; need not be a unit vector. It is rounded to 2^-25 of its largest part (1.7 um on 100 mm at most).</param>
    /// <param name="offsetMm">Distance of the plane from the origin along the unit normal, mm.</param>
    /// <exception cref="ArgumentException">The normal has no direction.</exception>
    /// <exception cref="CuttingException">A shell is open where it is cut.</exception>
    public static PlaneCutResult Cut(Mesh closedShells, Vec3 normal, double offsetMm)
    {
        ArgumentNullException.ThrowIfNull(closedShells);
        if (!(normal.LengthSquared > 0) || !double.IsFinite(normal.LengthSquared)) throw new ArgumentException("The plane's normal has no direction.", nameof(normal));
        if (!double.IsFinite(offsetMm)) throw new ArgumentException("The plane's offset is not a number.", nameof(offsetMm));
        return new PlaneCutRun(closedShells, normal.Unit(), offsetMm).Run();
    }
}
