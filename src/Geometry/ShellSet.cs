namespace Stiltwright.Geometry;

/// <summary>
/// One connected surface of a mesh. <see cref="Closed"/> shells bound a solid: every edge has two triangles that run along
/// it in opposite directions (after edges with more than two triangles were paired by angle).
/// </summary>
/// <param name="Index">Its number in the set.</param>
/// <param name="Triangles">Its triangles, by number in the mesh, ascending.</param>
/// <param name="OpenEdges">Edges with one triangle only.</param>
/// <param name="ClashingEdges">Edges along which both triangles run the same way.</param>
/// <param name="SignedVolumeMm3">Signed volume, mm3; negative for a shell turned inside out (or meant as a hollow).</param>
/// <param name="Bounds">Its box, mm.</param>
public sealed record Shell(int Index, int[] Triangles, int OpenEdges, int ClashingEdges, double SignedVolumeMm3, Box3 Bounds)
{
    /// <summary>True if the shell bounds a solid.</summary>
    public bool Closed => OpenEdges == 0 && ClashingEdges == 0;
}

/// <summary>The shells of a mesh and which shell each triangle belongs to.</summary>
/// <param name="Mesh">The mesh.</param>
/// <param name="OfTriangle">Shell number of each triangle.</param>
/// <param name="Shells">The shells, in order of their first triangle.</param>
public sealed record ShellSet(Mesh Mesh, int[] OfTriangle, IReadOnlyList<Shell> Shells)
{
    /// <summary>One shell as a mesh of its own.</summary>
    public Mesh MeshOf(int shell) => Mesh.Part(Shells[shell].Triangles);
}
