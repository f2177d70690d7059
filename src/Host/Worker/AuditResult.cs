using Stiltwright.Geometry;
using Stiltwright.Host.Summaries;

namespace Stiltwright.Host.Worker;

/// <summary>What the final audit measured on what is about to be written.</summary>
/// <param name="Pieces">One entry a piece.</param>
/// <param name="Layers">The layers, over all pieces.</param>
/// <param name="Curves">Area and pull of every layer, for the charts.</param>
internal sealed record AuditResult(IReadOnlyList<PieceAudit> Pieces, LayerFacts Layers, IReadOnlyList<LayerCurve> Curves);

/// <summary>One piece as it will be written.</summary>
/// <param name="SizeMm">Size of its box.</param>
/// <param name="Triangles">Triangles of its file.</param>
/// <param name="Shells">Shells of its file.</param>
/// <param name="Closed">True if every shell is closed.</param>
/// <param name="VolumeMm3">Union volume, mm3.</param>
/// <param name="MassG">Cured mass, g.</param>
/// <param name="Finish">For the tray card.</param>
internal sealed record PieceAudit(Vec3 SizeMm, int Triangles, int Shells, bool Closed, double VolumeMm3, double MassG, FinishFacts Finish);
