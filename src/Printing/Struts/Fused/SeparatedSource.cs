using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>A source whose struts were one surface with the figure, as shells of their own.</summary>
/// <param name="Mesh">Figure, raft and struts, each closed; the figure's triangles outside the contacts are those of the source.</param>
/// <param name="Shells">Its shells.</param>
/// <param name="Recognised">What each is.</param>
/// <param name="Contacts">Middles of the contacts at which the figure was closed, source mm.</param>
/// <param name="ContactMm2">Area of the skins that close them, mm2.</param>
/// <param name="DifferenceMm3">Volume that is in the source and not in the parts, or the other way round, mm3.</param>
/// <param name="TakenMm3">Volume of the union of the struts, mm3.</param>
/// <param name="OfTriangle">For each triangle of the source the shell it went to, or -1 (inside a joint).</param>
public sealed record SeparatedSource(
    Mesh Mesh, ShellSet Shells, Recognised Recognised, IReadOnlyList<Vec3> Contacts, double ContactMm2, double DifferenceMm3, double TakenMm3, int[] OfTriangle);

/// <summary>What came of an attempt to separate.</summary>
/// <param name="Source">The separated source, or null.</param>
/// <param name="Why">Why not, as the rest of a sentence; empty where it was separated.</param>
public sealed record Separation(SeparatedSource? Source, string Why);
