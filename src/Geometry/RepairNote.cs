namespace Stiltwright.Geometry;

/// <summary>What was changed on a surface, or was seen and left alone: how often, where, in a sentence.</summary>
/// <param name="Kind">A short name, for programs: <c>duplicates-dropped</c>, <c>shell-inverted</c>, ...</param>
/// <param name="Count">How many places.</param>
/// <param name="At">The first (or largest) place, mm in the mesh's coordinates.</param>
/// <param name="Text">A full sentence.</param>
/// <param name="Changed">True where the surface was changed; false where a person should look.</param>
public sealed record RepairNote(string Kind, int Count, Vec3? At, string Text, bool Changed = true);

/// <summary>A mesh with its shells after a repair or after turning, and what was done.</summary>
/// <param name="Mesh">The mesh.</param>
/// <param name="Shells">Its shells.</param>
/// <param name="Notes">What was done or left.</param>
public sealed record OrientedMesh(Mesh Mesh, ShellSet Shells, IReadOnlyList<RepairNote> Notes);
