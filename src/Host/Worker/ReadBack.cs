using Stiltwright.Geometry;
using Stiltwright.Geometry.Files;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Worker;

/// <summary>
/// Reads every STL of a set again, as any other program would, and compares it with what was computed: an STL carries no
/// connectivity, so only this shows that the file is the mesh.
/// </summary>
internal static class ReadBack
{
    /// <exception cref="InvalidDataException">A file differs from what was computed: a fault of the program, never published.</exception>
    public static void Check(string folder, string stem, Workpiece w, AuditResult audit, CancellationToken cancel)
    {
        for (var i = 0; i < w.Pieces.Count; i++)
        {
            var name = SetNames.OfPiece(stem, w.Pieces[i].Letter) + ".stl";
            var read = MeshReader.Read(Path.Combine(folder, name), new ReadLimits(), cancel);
            if (read.TrianglesInFile != audit.Pieces[i].Triangles)
                throw new InvalidDataException($"{name} was written with {read.TrianglesInFile} triangles instead of {audit.Pieces[i].Triangles}.");
            var mesh = read.ToMesh(Affine.Identity, w.Placement!.Lattice);
            if (audit.Pieces[i].Closed && Closedness.FirstUnpairedEdge(mesh) is { } at)
                throw new InvalidDataException($"{name} is open at {at} mm when read back.");
        }
    }
}
