namespace Stiltwright.Geometry.Cutting;

/// <summary>What came of taking a tool out of a soup of shells.</summary>
/// <param name="Result">
/// The new mesh: first all triangles that were kept, in their old order and with their old corners, then the new ones.
/// Vertices no triangle uses any more are left out.
/// </param>
/// <param name="TrianglesTouched">Old triangles that were divided or taken away.</param>
/// <param name="Jitters">How often the tool had to be moved (by less than a micrometre on the finest lattice) to reach general position; 0 = never.</param>
/// <param name="KeptTriangles">How many triangles of <paramref name="Result"/>, from the first, are old ones.</param>
public sealed record SubtractResult(Mesh Result, int TrianglesTouched, int Jitters, int KeptTriangles);

/// <summary>
/// Booleans of closed shells with a tool of ours (drill, peg, box, cavity surface). The soup may overlap and cross itself; solid is where
/// its winding number is 1 or more. Decisions are exact; the tool, never the soup, is moved by lattice units where it is not in general position.
/// <para>Operands: surfaces that hang together are taken one by one, so that each stays closed on its own; but an inner shell (negative
/// volume, a cavity) and the outer shell it hollows are one operand. A drill that pierces wall and cavity joins them into one surface.</para>
/// <para>Per operand: out = its surface outside the tool + the tool's surface where the operand winds w times around it, w copies, turned
/// inside out. A tool wholly inside an operand is appended as it is, without any intersecting. New vertices are rounded to the lattice (half a unit an axis),
/// so new triangles may overlap by that much; closure does not depend on it.</para>
/// </summary>
public static class SolidTool
{
    /// <summary>The soup without the tool's inside.</summary>
    /// <param name="closedShells">Closed shells, each edge as often one way as the other, outwards where solid.</param>
    /// <param name="tool">A closed surface that does not cross itself, turned outwards; it may have several pieces apart from each other, and inner ones.</param>
    /// <param name="seed">Seed of the small moves; the same seed gives the same result.</param>
    /// <exception cref="ArgumentException">The lattices differ.</exception>
    /// <exception cref="CuttingException">An input is not closed where it is cut, or no general position was found in eight tries.</exception>
    public static SubtractResult Subtract(Mesh closedShells, Mesh tool, ulong seed) => new ToolCut(closedShells, tool, seed, keepInside: false).Run();

    /// <summary>
    /// The soup without the inside of any of the tools. Tools whose boxes lie apart are taken out together, in one pass over the soup; the others one after the other.
    /// </summary>
    /// <inheritdoc cref="Subtract(Mesh, Mesh, ulong)"/>
    public static SubtractResult Subtract(Mesh closedShells, IReadOnlyList<Mesh> tools, ulong seed)
    {
        ArgumentNullException.ThrowIfNull(tools);
        var waiting = tools.Where(t => t.TriangleCount > 0).ToList();
        var result = new SubtractResult(closedShells, 0, 0, closedShells.TriangleCount);
        var kept = closedShells.TriangleCount;
        while (waiting.Count > 0)
        {
            var together = new List<Mesh>();
            var later = new List<Mesh>();
            foreach (var t in waiting)
            {
                var apart = together.TrueForAll(o => !o.Bounds.Grown(64 * o.Lattice.UnitMm).Meets(t.Bounds.Grown(64 * t.Lattice.UnitMm)));
                (apart ? together : later).Add(t);
            }
            var tool = together.Count == 1 ? together[0] : Mesh.Concat(closedShells.Lattice, together);
            var next = Subtract(result.Result, tool, seed);
            // What was appended by an earlier pass is not old, even where the later one keeps it.
            kept = Math.Min(next.KeptTriangles, kept);
            result = new SubtractResult(next.Result, result.TrianglesTouched + next.TrianglesTouched, result.Jitters + next.Jitters, kept);
            waiting = later;
        }
        return result;
    }

    /// <summary>What the soup and the tool have in common: the material a drill takes out (a plug that fits the surface).</summary>
    /// <inheritdoc cref="Subtract(Mesh, Mesh, ulong)"/>
    public static SubtractResult Common(Mesh closedShells, Mesh tool, ulong seed) => new ToolCut(closedShells, tool, seed, keepInside: true).Run();
}
