using System.Security.Cryptography;
using Stiltwright.Geometry;
using Stiltwright.Geometry.Files;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Worker;

/// <summary>The source as the first stage gets it, or the sentence why it cannot be read.</summary>
/// <param name="Source">The figure, or null.</param>
/// <param name="Refusal">The finding, or null.</param>
/// <param name="Sha256">Hash of the file's bytes.</param>
public sealed record ReadSource(SourceFigure? Source, Finding? Refusal, string Sha256);

/// <summary>Reads a source: bytes, triangles, weld, shells, safe repairs, each told.</summary>
public static class SourceReading
{
    /// <summary>Reads the order's source. What is wrong with the file comes back as a finding, never as an exception.</summary>
    public static ReadSource Read(WorkOrder order, JobNotes notes, CancellationToken cancel)
    {
        string hash;
        using (var stream = File.OpenRead(order.SourcePath))
            hash = Convert.ToHexStringLower(SHA256.HashData(stream));
        MeshFile file;
        try
        {
            file = MeshReader.Read(order.SourcePath, new ReadLimits(), cancel);
        }
        catch (MeshReadException e)
        {
            return new ReadSource(null, new Finding(FindingIds.SourceUnreadable, Level.Stop,
                $"{order.SourceName}: {Sentence(e.Message, order)}", "Export the figure again (binary STL in millimetres is the safest) and drop it anew. The source was not touched."), hash);
        }
        foreach (var remark in file.Remarks)
            notes.Add(-1, new Finding("source-remark", Level.Note, $"{order.SourceName}: {remark.Text}", "Nothing to do unless the figure looks wrong."));

        var box = file.Bounds;
        var reach = Math.Max(Largest(box.Min), Largest(box.Max));
        if (reach > 1e6)
            return new ReadSource(null, new Finding(FindingIds.UnitDoubt, Level.Stop,
                $"{order.SourceName}: the model reaches {reach:0.###e+0} mm from its origin, which cannot be right.", "Check the unit of the export (millimetres) and move the model to the origin."), hash);
        var mesh = file.ToMesh(Affine.Identity, Lattice.For(reach + 1));
        var repaired = Repair.Safe(mesh);
        var oriented = Orientation.Settle(repaired.Mesh, repaired.Shells);
        foreach (var note in repaired.Notes.Concat(oriented.Notes)) Tell(note, notes);
        if (oriented.Mesh.TriangleCount == 0)
            return new ReadSource(null, new Finding(FindingIds.SourceUnreadable, Level.Stop,
                $"{order.SourceName}: all {file.TrianglesInFile} triangles have no area, so there is no figure in it.", "Export the figure again and drop it anew."), hash);
        return new ReadSource(new SourceFigure(order.SourceName, hash, oriented.Mesh, oriented.Shells, file.TrianglesInFile), null, hash);
    }

    /// <summary>What was mended is good to know; what was left open or unsure is told again by the stage that must leave it alone.</summary>
    private static void Tell(RepairNote note, JobNotes notes)
    {
        var id = note.Kind is FindingIds.ShellInverted or FindingIds.SurfaceOpen ? note.Kind : note.Changed ? "surface-mended" : "surface-left";
        notes.Add(-1, new Finding(id, Level.Note, $"In the source: {note.Text}", note.Changed
            ? "Look at the place if the figure looks wrong; the source itself was not touched."
            : "Mend it in the sculpting program if it matters, and drop the file again."));
    }

    private static double Largest(Vec3 p) => Math.Max(Math.Abs(p.X), Math.Max(Math.Abs(p.Y), Math.Abs(p.Z)));

    /// <summary>The reader names the scratch copy; people know the file by its own name.</summary>
    private static string Sentence(string message, WorkOrder order)
    {
        var text = message.Replace(order.SourcePath, order.SourceName, StringComparison.Ordinal).Replace(Path.GetFileName(order.SourcePath), order.SourceName, StringComparison.Ordinal);
        foreach (var lead in (string[])[order.SourceName + ": ", order.SourceName + ", "])
            if (text.StartsWith(lead, StringComparison.Ordinal)) return text[lead.Length..];
        return text;
    }
}
