using System.Buffers.Binary;
using System.Text;

namespace Stiltwright.Geometry.Files;

/// <summary>Reads STL (binary and text), OBJ, PLY (text and binary) and 3MF. The content decides what a file is, its name only helps.</summary>
public static class MeshReader
{
    /// <summary>Reads a file whole.</summary>
    /// <exception cref="MeshReadException">The file is missing, cannot be opened, is no mesh, is broken, or is larger than the limits.</exception>
    /// <exception cref="OperationCanceledException">The token asked to stop.</exception>
    public static MeshFile Read(string path, ReadLimits limits, CancellationToken cancel = default)
    {
        ArgumentNullException.ThrowIfNull(path);
        ArgumentNullException.ThrowIfNull(limits);
        var name = Path.GetFileName(path);
        try
        {
            using var file = new FileStream(path, FileMode.Open, FileAccess.Read, FileShare.Read | FileShare.Delete, 1, FileOptions.SequentialScan);
            var length = file.Length;
            if (length == 0) throw new MeshReadException($"{name} is empty (0 bytes). Copy or export it again.");
            if (length > limits.MaxBytes)
                throw new MeshReadException($"{name} has {length:N0} bytes, more than the limit of {limits.MaxBytes:N0}. Reduce the model or raise the limit.");
            var head = new byte[(int)Math.Min(length, 4096)];
            file.ReadExactly(head);
            file.Position = 0;
            return Decide(path, head, length) switch
            {
                Kind.BinaryStl => StlBinary.Read(file, path, limits, cancel),
                Kind.TextStl => StlText.Read(file, path, limits, cancel),
                Kind.Obj => ObjText.Read(file, path, limits, cancel),
                Kind.Ply => PlyFile.Read(file, path, limits, cancel),
                _ => ThreeMf.ThreeMfReader.Read(file, path, limits, cancel),
            };
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            throw new MeshReadException(e is FileNotFoundException or DirectoryNotFoundException
                ? $"{name} is not there any more: {path}."
                : $"{name} cannot be read: {e.Message}", e);
        }
    }

    private enum Kind { BinaryStl, TextStl, Obj, Ply, ThreeMf }

    private static Kind Decide(string path, ReadOnlySpan<byte> head, long length)
    {
        var name = Path.GetFileName(path);
        var ending = Path.GetExtension(path).ToLowerInvariant();
        if (head.Length >= 4 && head[0] == 'P' && head[1] == 'K' && head[2] is 3 or 5 && head[3] is 4 or 6) return Kind.ThreeMf;
        if (head.StartsWith("ply\n"u8) || head.StartsWith("ply\r"u8)) return Kind.Ply;

        // The length decides, not the word "solid": many programs begin binary headers with it. In a text file the four
        // bytes of the count are letters, which would mean hundreds of millions of triangles.
        if (length >= 84)
        {
            var count = BinaryPrimitives.ReadUInt32LittleEndian(head[80..]);
            if (count > 0 && 84 + 50L * count <= length && !(LooksLikeText(head) && ending != ".stl")) return Kind.BinaryStl;
        }
        if (LooksLikeText(head))
        {
            var words = FirstWords(head);
            if (words.Length > 0 && words[0].Equals("solid", StringComparison.OrdinalIgnoreCase)) return Kind.TextStl;
            if (words.Length > 0 && words[0].Equals("facet", StringComparison.OrdinalIgnoreCase)) return Kind.TextStl;
            if (ending == ".obj" || IsObj(head)) return Kind.Obj;
            var begins = words.Length > 0 ? $"It begins with \"{Clean(string.Join(' ', words.Take(6)))}\"." : "It holds nothing but blanks.";
            throw new MeshReadException($"{name} is text, but not a text STL (which begins with \"solid\"), OBJ or PLY. {begins} Export the model again.");
        }
        if (ending == ".stl" || StartsWithSolid(head))
        {
            if (length < 84)
                throw new MeshReadException($"{name} has only {length} bytes; a binary STL has a header of 84 bytes and 50 bytes a triangle. It was probably cut off while being copied: copy it again.");
            var count = BinaryPrimitives.ReadUInt32LittleEndian(head[80..]);
            var holds = (length - 84) / 50;
            if (count == 0 && length == 84) throw new MeshReadException($"{name} is a binary STL that holds no triangles. Export the model again.");
            var needs = 84 + 50L * count;
            throw (length - 84) % 50 == 0
                ? new MeshReadException($"{name}: the header counts {count:N0} triangles (bytes 80 to 83), but its {length:N0} bytes hold {holds:N0}; {count:N0} would need {needs:N0} bytes. Either the copy is not complete or the count is wrong: copy or export it again.")
                : new MeshReadException($"{name} is cut off: the header counts {count:N0} triangles, which need {needs:N0} bytes, but the file ends at byte {length:N0}, inside triangle {holds + 1:N0}. Copy it again.");
        }
        throw new MeshReadException(ending == ".3mf"
            ? $"{name} is named .3mf but is no zip package (which begins with \"PK\"). Copy or export it again."
            : $"{name} is none of STL, OBJ, PLY or 3MF. Export the model as one of these.");
    }

    /// <summary>True where the first bytes are printable, blanks, or UTF-8.</summary>
    private static bool LooksLikeText(ReadOnlySpan<byte> head)
    {
        foreach (var b in head)
            if (b < 32 && b is not ((byte)'\t' or (byte)'\n' or (byte)'\r' or (byte)'\f') || b == 127) return false;
        return true;
    }

    private static bool StartsWithSolid(ReadOnlySpan<byte> head) => head.Length >= 5 && TextScanner.Same(head[..5], "solid"u8);

    private static bool IsObj(ReadOnlySpan<byte> head)
    {
        foreach (var line in Encoding.UTF8.GetString(head).Split('\n', '\r'))
        {
            var t = line.Trim('\uFEFF', ' ', '\t');
            if (t.Length == 0 || t[0] == '#') continue;
            var word = t.Split((char[]?)null, 2)[0];
            return word is "v" or "vn" or "vt" or "vp" or "f" or "o" or "g" or "s" or "l" or "p" or "mtllib" or "usemtl";
        }
        return false;
    }

    private static string[] FirstWords(ReadOnlySpan<byte> head) =>
        Encoding.UTF8.GetString(head[..Math.Min(400, head.Length)]).Trim('\uFEFF').Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries);

    private static string Clean(string s) => new(s.Take(60).Select(c => char.IsControl(c) || char.IsSurrogate(c) ? '?' : c).ToArray());
}
