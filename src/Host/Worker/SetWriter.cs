using System.Text;
using Stiltwright.Geometry;
using Stiltwright.Geometry.Files;
using Stiltwright.Host.Summaries;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Worker;

/// <summary>Writes a set into an empty folder in scratch: STL a piece, one 3MF, struts, extras, pictures, summary.</summary>
internal static class SetWriter
{
    /// <summary>All that prints of a piece, in the coordinates of its file.</summary>
    public static Mesh Everything(Piece p) => Mesh.Concat(p.Figure.Lattice, [p.Figure, p.Untouched, .. p.Struts.Shells.Select(s => s.Shape), p.Raft]);

    /// <summary>Writes STL files, the 3MF and the extras; returns the name of the 3MF.</summary>
    public static string WriteMeshes(string folder, string stem, Workpiece w, JobNotes notes)
    {
        foreach (var p in w.Pieces)
        {
            var path = Path.Combine(folder, SetNames.OfPiece(stem, p.Letter) + ".stl");
            WriteStl(path, Everything(p), p.Letter.Length == 0 ? stem : $"{stem} piece {p.Letter}");
        }
        if (notes.Extras.Count > 0) Directory.CreateDirectory(Path.Combine(folder, "extras"));
        foreach (var extra in notes.Extras) WriteStl(Path.Combine(folder, "extras", extra.FileName), extra.Mesh, extra.What);
        var name = stem + ".3mf";
        using var file = File.Create(Path.Combine(folder, name));
        ThreeMfWriter.Write(file, NamedObjects(w));
        return name;
    }

    /// <summary>Writes struts.json, summary.json and summary.html.</summary>
    public static void WriteSummary(string folder, Summary summary, PageMaterial material)
    {
        if (material.Struts is { } struts) SummaryFiles.Write(folder, struts);
        SummaryFiles.Write(folder, summary);
        File.WriteAllText(Path.Combine(folder, SummaryFiles.PageName), SummaryPage.Html(summary, material), new UTF8Encoding(false));
    }

    private static void WriteStl(string path, Mesh mesh, string header)
    {
        using var file = new FileStream(path, FileMode.CreateNew, FileAccess.Write, FileShare.None, 1 << 20);
        StlWriter.Write(file, mesh, header);
    }

    /// <summary>Figure, struts and raft of every piece as objects of their own, pieces side by side.</summary>
    private static List<NamedMesh> NamedObjects(Workpiece w)
    {
        var objects = new List<NamedMesh>();
        double x = 0;
        foreach (var p in w.Pieces)
        {
            var all = Everything(p).Bounds;
            var shift = w.Pieces.Count == 1 ? Affine.Identity : Affine.Translation(new Vec3(x - all.Min.X, 0, 0));
            x += all.Size.X + 10;
            var suffix = p.Letter.Length == 0 ? "" : "-" + p.Letter;
            var figure = p.Untouched.TriangleCount == 0 ? p.Figure : Mesh.Concat(p.Figure.Lattice, [p.Figure, p.Untouched]);
            Add("figure", figure);
            Add("struts", p.Struts.ToMesh(p.Figure.Lattice));
            Add("raft", p.Raft);

            void Add(string name, Mesh mesh)
            {
                if (mesh.TriangleCount > 0) objects.Add(new NamedMesh(name + suffix, mesh, shift));
            }
        }
        return objects;
    }
}
