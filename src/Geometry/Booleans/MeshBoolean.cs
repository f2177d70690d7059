using Stiltwright.Geometry.Cutting;

namespace Stiltwright.Geometry.Booleans;

/// <summary>
/// Union, difference and intersection of closed meshes, and the outer surface of one that crosses or overlaps itself. Solid is where the winding
/// number is 1 or more; neither mesh is moved. Every decision is exact: faces in one plane, shared edges and corners, nested and merely touching
/// bodies are cases like any other.
/// <para>How: every triangle is divided along what meets it (one plane arrangement for all triangles that overlap in a plane, so that they are divided
/// alike); around every edge the sheets are put in order by angle, which carries the winding numbers of both operands from piece to
/// piece; one exact ray a connected surface gives the start; kept is what parts inside from outside. Compare Zhou, Grinspun, Zorin, Jacobson
/// 2016, "Mesh arrangements for solid geometry" (TOG).</para>
/// <para>Guarantee: the result is closed, its edges have two triangles each that run opposite ways (vertices are doubled where surfaces
/// only touch, see <see cref="SingleEdges"/>), no two triangles cross, and its winding number is 0 or 1 everywhere; where that cannot be reached it refuses with the place.
/// Corners of the operands stay where they are. New corners lie within <see cref="CornerPlaces.Farthest"/> and a half units an axis of their exact places
/// (in a result that had to be resolved again, as much for each of at most <see cref="MostRounds"/> rounds); shells of at most <see cref="Crumbs.LargestUnits"/> units across that
/// arise are left out.</para>
/// </summary>
public static class MeshBoolean
{
    /// <summary>How often a result that still crosses itself is resolved again before it is refused.</summary>
    private const int MostRounds = 6;

    /// <summary>All that lies in either.</summary>
    /// <inheritdoc cref="Difference"/>
    public static Mesh Union(Mesh a, Mesh b, CancellationToken cancel = default) => Run(a, b, (x, y) => x >= 1 || y >= 1, cancel);

    /// <summary>What lies in both.</summary>
    /// <inheritdoc cref="Difference"/>
    public static Mesh Common(Mesh a, Mesh b, CancellationToken cancel = default) => Run(a, b, (x, y) => x >= 1 && y >= 1, cancel);

    /// <summary>What lies in the first and not in the second.</summary>
    /// <param name="a">Closed shells, outwards where solid; may overlap and cross themselves.</param>
    /// <param name="b">The same, on the same lattice.</param>
    /// <param name="cancel">Stops the work.</param>
    /// <exception cref="ArgumentException">The lattices differ.</exception>
    /// <exception cref="CuttingException">A mesh is not closed, or no places on the lattice were found at which nothing crosses; the place is named.</exception>
    public static Mesh Difference(Mesh a, Mesh b, CancellationToken cancel = default) => Run(a, b, (x, y) => x >= 1 && y < 1, cancel);

    /// <summary>The surface between where the shells wind once or more and where they do not: overlapping and crossing shells become one clean surface.</summary>
    /// <inheritdoc cref="Difference"/>
    public static Mesh Resolved(Mesh a, CancellationToken cancel = default)
    {
        ArgumentNullException.ThrowIfNull(a);
        return Run(a, Mesh.Empty(a.Lattice), (x, _) => x >= 1, cancel);
    }

    private static Mesh Run(Mesh a, Mesh b, Func<int, int, bool> solid, CancellationToken cancel)
    {
        ArgumentNullException.ThrowIfNull(a);
        ArgumentNullException.ThrowIfNull(b);
        if (a.Lattice != b.Lattice) throw new ArgumentException("Both meshes must lie on one lattice; place one on the other's first.", nameof(b));
        foreach (var mesh in (Mesh[])[a, b])
            if (EdgeSum.Of(mesh.Corners) != 0)
                throw new CuttingException("A mesh of the boolean is not closed", mesh.Vertex(EdgeSum.FirstOpen(mesh.Corners).A));
        var (surface, crossings, at) = Once(a, b, solid, cancel);
        // What still crosses is a surface like any other: it is resolved itself, with its corners where they now are.
        for (var round = 0; crossings > 0 && round < MostRounds; round++)
            (surface, crossings, at) = Once(surface, Mesh.Empty(a.Lattice), (x, _) => x >= 1, cancel);
        return crossings == 0 ? surface : throw new CuttingException(
            $"The result's new corners could not be placed on the lattice of {a.Lattice.UnitMm * 1000:0.###} um without {crossings} pairs of triangles crossing; move one body by a few um", at!.Value);
    }

    private static (Mesh Surface, int Crossings, Vec3? First) Once(Mesh a, Mesh b, Func<int, int, bool> solid, CancellationToken cancel)
    {
        var facets = new BooleanFacets(a, b);
        if (facets.Count == 0) return (Mesh.Empty(a.Lattice), 0, null);
        try
        {
            FacetPairs.Meet(facets, cancel);
            var pieces = PieceSurfaces.Divide(facets, cancel);
            PieceWindings.Settle(facets, pieces, cancel);
            return Kept(facets, pieces, solid, cancel);
        }
        catch (InvalidOperationException e)
        {
            throw new CuttingException("The meshes could not be divided along each other: " + e.Message, a.Bounds.Center, e);
        }
    }

    private static (Mesh Surface, int Crossings, Vec3? First) Kept(BooleanFacets facets, PieceSurfaces pieces, Func<int, int, bool> solid, CancellationToken cancel)
    {
        var corners = new List<int>();
        for (var t = 0; t < pieces.Count; t++)
        {
            var p = pieces[t];
            bool front = solid(p.FrontA, p.FrontB), back = solid(p.FrontA + p.StepA, p.FrontB + p.StepB);
            if (front == back) continue;
            // Solid behind: the piece's normal points out.
            corners.Add(p.A);
            corners.Add(back ? p.B : p.C);
            corners.Add(back ? p.C : p.B);
        }
        var firstNew = facets.VertexCount;
        var xyz = new int[3 * (firstNew + facets.Points.Count)];
        facets.Xyz.CopyTo(xyz, 0);
        for (var i = 0; i < facets.Points.Count; i++)
            for (var k = 0; k < 3; k++) xyz[3 * (firstNew + i) + k] = facets.Points.Rounded(i, k);
        // Rounding may have brought the ends of a very short edge to one place.
        var rounded = new Mesh(facets.Lattice, xyz, [.. corners]);
        var mesh = NullEdges.Collapse(rounded);
        var collapsed = !ReferenceEquals(mesh, rounded);
        if (collapsed) mesh = Flaps.Drop(mesh);
        (mesh, var crossings) = CornerPlaces.Settle(mesh, firstNew, facets.Points, collapsed, cancel);
        var single = SingleEdges.Of(mesh);
        var divided = single.TriangleCount > mesh.TriangleCount;
        single = Crumbs.Drop(single, mesh, facets);
        // A vertex in the middle of an edge may lie half a unit beside it.
        if (divided && crossings.Count == 0) crossings = SelfCrossings.Find(mesh = single.Welded());
        Vec3? first = crossings.Count == 0 ? null : mesh.Vertex(mesh.Corners[3 * crossings[0].A]);
        return (Compact.Used(single.Lattice, single.XyzArray, [], (int[])single.CornersArray.Clone()), crossings.Count, first);
    }
}
