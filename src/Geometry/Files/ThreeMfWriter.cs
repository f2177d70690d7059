using System.Globalization;
using System.IO.Compression;
using System.Text;
using Stiltwright.Geometry.Files.ThreeMf;

namespace Stiltwright.Geometry.Files;

/// <summary>A mesh with the name and the place that a 3MF file gives it.</summary>
/// <param name="Name">The object's name.</param>
/// <param name="Mesh">Its triangles, mm.</param>
/// <param name="Placement">Where the build puts it; mm. Must not be singular.</param>
public sealed record NamedMesh(string Name, Mesh Mesh, Affine Placement);

/// <summary>
/// Writes 3MF packages after the core specification 1.3: content types, relationships, one model part in millimetres, one
/// object of type <c>model</c> a mesh, each placed once by the build. The same meshes give the same bytes.
/// </summary>
public static class ThreeMfWriter
{
    private const string ModelPart = "3D/3dmodel.model";

    // Zip entries carry a time; a fixed one keeps files of equal content equal.
    private static readonly DateTimeOffset EntryTime = new(1980, 1, 1, 0, 0, 0, TimeSpan.Zero);

    /// <summary>
    /// Writes the meshes, each as an object of its own. The core specification (4.1) wants objects closed, with two triangles
    /// an edge: points at which an edge has more than two triangles are doubled for it, so that each of its shells stands
    /// alone; that a mesh is closed is the caller's to see to. Coordinates are the shortest decimals that read back as the
    /// same 32-bit float, which holds every lattice value exactly.
    /// </summary>
    /// <exception cref="ArgumentException">There is no mesh, one is empty, or a placement is singular.</exception>
    public static void Write(Stream stream, IReadOnlyList<NamedMesh> meshes) => Write(stream, meshes, "");

    /// <summary>The same, with a title for the document.</summary>
    public static void Write(Stream stream, IReadOnlyList<NamedMesh> meshes, string title)
    {
        ArgumentNullException.ThrowIfNull(stream);
        ArgumentNullException.ThrowIfNull(meshes);
        if (meshes.Count == 0) throw new ArgumentException("A 3MF file needs at least one object.", nameof(meshes));
        foreach (var m in meshes)
        {
            if (m.Mesh.TriangleCount == 0) throw new ArgumentException($"The object \"{m.Name}\" has no triangles; a 3MF object needs some.", nameof(meshes));
            var d = m.Placement.Determinant;
            if (d == 0 || !double.IsFinite(d)) throw new ArgumentException($"The placement of \"{m.Name}\" is singular.", nameof(meshes));
        }
        using var zip = new ZipArchive(stream, ZipArchiveMode.Create, leaveOpen: true);
        WriteText(zip, "[Content_Types].xml",
            $"<Types xmlns=\"{ThreeMfNames.ContentTypes}\">" +
            $"<Default Extension=\"rels\" ContentType=\"{ThreeMfNames.RelationshipsContentType}\"/>" +
            $"<Default Extension=\"model\" ContentType=\"{ThreeMfNames.ModelContentType}\"/></Types>");
        WriteText(zip, "_rels/.rels",
            $"<Relationships xmlns=\"{ThreeMfNames.Relationships}\">" +
            $"<Relationship Id=\"rel0\" Type=\"{ThreeMfNames.ModelRelationship}\" Target=\"/{ModelPart}\"/></Relationships>");
        var entry = zip.CreateEntry(ModelPart, CompressionLevel.Fastest);
        entry.LastWriteTime = EntryTime;
        using var part = entry.Open();
        var text = new Utf8Lines(part);
        text.Add("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
        text.Add($"<model unit=\"millimeter\" xml:lang=\"en-GB\" xmlns=\"{ThreeMfNames.Core}\">\n");
        if (title.Length > 0) text.Add($"<metadata name=\"Title\">{Escape(title)}</metadata>\n");
        text.Add("<metadata name=\"Application\">Stiltwright</metadata>\n<resources>\n");
        for (var i = 0; i < meshes.Count; i++) WriteObject(text, i + 1, meshes[i]);
        text.Add("</resources>\n<build>\n");
        for (var i = 0; i < meshes.Count; i++)
            text.Add($"<item objectid=\"{(i + 1).ToString(CultureInfo.InvariantCulture)}\"{Transform(meshes[i].Placement)}/>\n");
        text.Add("</build>\n</model>\n");
        text.Flush();
    }

    private static void WriteObject(Utf8Lines text, int id, NamedMesh named)
    {
        var mesh = EdgePairing.Build(named.Mesh).WithSheetsApart();
        text.Add($"<object id=\"{id.ToString(CultureInfo.InvariantCulture)}\" type=\"model\" name=\"{Escape(named.Name)}\">\n<mesh>\n<vertices>\n");
        var xyz = mesh.XyzArray;
        var unit = (float)mesh.Lattice.UnitMm;
        for (var v = 0; v < xyz.Length; v += 3)
        {
            text.Add("<vertex x=\""u8);
            text.Add(xyz[v] * unit);
            text.Add("\" y=\""u8);
            text.Add(xyz[v + 1] * unit);
            text.Add("\" z=\""u8);
            text.Add(xyz[v + 2] * unit);
            text.Add("\"/>\n"u8);
        }
        text.Add("</vertices>\n<triangles>\n"u8);
        var corners = mesh.CornersArray;
        for (var t = 0; t < corners.Length; t += 3)
        {
            text.Add("<triangle v1=\""u8);
            text.Add(corners[t]);
            text.Add("\" v2=\""u8);
            text.Add(corners[t + 1]);
            text.Add("\" v3=\""u8);
            text.Add(corners[t + 2]);
            text.Add("\"/>\n"u8);
        }
        text.Add("</triangles>\n</mesh>\n</object>\n"u8);
    }

    private static string Transform(Affine m)
    {
        if (m == Affine.Identity) return "";
        // The file's points are rows: m00 m01 m02 is where x goes.
        double[] n = [m.M11, m.M21, m.M31, m.M12, m.M22, m.M32, m.M13, m.M23, m.M33, m.Shift.X, m.Shift.Y, m.Shift.Z];
        return " transform=\"" + string.Join(' ', n.Select(d => (d + 0.0).ToString("R", CultureInfo.InvariantCulture))) + "\"";
    }

    /// <summary>Text for an XML attribute or element; what XML 1.0 cannot hold becomes U+FFFD.</summary>
    private static string Escape(string s)
    {
        var b = new StringBuilder(s.Length);
        for (var i = 0; i < s.Length; i++)
        {
            var c = s[i];
            if (char.IsHighSurrogate(c) && i + 1 < s.Length && char.IsLowSurrogate(s[i + 1]))
            {
                b.Append(c).Append(s[++i]);
                continue;
            }
            b.Append(c switch
            {
                '&' => "&amp;",
                '<' => "&lt;",
                '>' => "&gt;",
                '"' => "&quot;",
                '\t' or '\n' or '\r' => " ",
                _ => c < ' ' || char.IsSurrogate(c) || c >= '\uFFFE' ? "\uFFFD" : c.ToString(),
            });
        }
        return b.ToString();
    }

    private static void WriteText(ZipArchive zip, string name, string xml)
    {
        var entry = zip.CreateEntry(name, CompressionLevel.Fastest);
        entry.LastWriteTime = EntryTime;
        using var s = entry.Open();
        s.Write(Encoding.UTF8.GetBytes("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n" + xml));
    }

    /// <summary>A buffer of UTF-8 before a stream; numbers are written as any culture's reader of the standard expects them.</summary>
    private sealed class Utf8Lines(Stream stream)
    {
        private readonly byte[] _buffer = new byte[1 << 16];
        private int _at;

        internal void Add(string s)
        {
            var bytes = Encoding.UTF8.GetBytes(s);
            if (bytes.Length > _buffer.Length)
            {
                Flush();
                stream.Write(bytes);
                return;
            }
            Add(bytes);
        }

        internal void Add(ReadOnlySpan<byte> s)
        {
            Room(s.Length);
            s.CopyTo(_buffer.AsSpan(_at));
            _at += s.Length;
        }

        internal void Add(float f)
        {
            Room(32);
            if (!(f + 0f).TryFormat(_buffer.AsSpan(_at), out var n, "R", CultureInfo.InvariantCulture)) throw new InvalidOperationException("A number did not fit its place.");
            _at += n;
        }

        internal void Add(int i)
        {
            Room(32);
            if (!i.TryFormat(_buffer.AsSpan(_at), out var n, default, CultureInfo.InvariantCulture)) throw new InvalidOperationException("A number did not fit its place.");
            _at += n;
        }

        internal void Flush()
        {
            stream.Write(_buffer, 0, _at);
            _at = 0;
        }

        private void Room(int bytes)
        {
            if (_at + bytes > _buffer.Length) Flush();
        }
    }
}
