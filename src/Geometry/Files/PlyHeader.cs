using System.Globalization;
using System.Text;

namespace Stiltwright.Geometry.Files;

/// <summary>The header of a PLY file: which elements follow, and the properties of each in order.</summary>
internal sealed class PlyHeader
{
    internal enum Coding { Text, LittleEndian, BigEndian }

    internal enum Number { Int8, UInt8, Int16, UInt16, Int32, UInt32, Float32, Float64 }

    /// <summary>One property; a list has the type of its length in <see cref="Length"/>.</summary>
    internal sealed record Property(string Name, Number Type, Number? Length);

    internal sealed record Element(string Name, long Count, List<Property> Properties);

    internal Coding Format { get; private set; }

    internal List<Element> Elements { get; } = [];

    /// <summary>Bytes up to and with the line end of <c>end_header</c>.</summary>
    internal int Bytes { get; private set; }

    internal int Lines { get; private set; }

    internal static int Size(Number n) => n switch
    {
        Number.Int8 or Number.UInt8 => 1,
        Number.Int16 or Number.UInt16 => 2,
        Number.Float64 => 8,
        _ => 4,
    };

    internal static PlyHeader Parse(ReadOnlySpan<byte> start, string name)
    {
        var h = new PlyHeader();
        var formatSeen = false;
        while (true)
        {
            var rest = start[h.Bytes..];
            var end = rest.IndexOfAny((byte)'\n', (byte)'\r');
            if (end < 0)
                throw new MeshReadException($"{name}: the PLY header has no \"end_header\" within its first {start.Length:N0} bytes. The file is cut off or damaged: copy or export it again.");
            var line = Encoding.UTF8.GetString(rest[..end]);
            h.Bytes += end + 1;
            if (rest[end] == '\r' && end + 1 < rest.Length && rest[end + 1] == '\n') h.Bytes++;
            h.Lines++;
            var words = line.Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries);
            if (words.Length == 0 || words[0] is "ply" or "comment" or "obj_info") continue;
            if (words[0] == "end_header") break;
            var ok = words switch
            {
                ["format", var f, ..] => formatSeen = h.TakeFormat(f),
                ["element", var e, var n] => h.TakeElement(e, n),
                ["property", "list", var l, var t, var p] => h.TakeProperty(p, t, l),
                ["property", var t, var p] => h.TakeProperty(p, t, null),
                _ => false,
            };
            if (!ok) throw new MeshReadException($"{name}, line {h.Lines}: \"{TextScanner.Show(Encoding.UTF8.GetBytes(line))}\" is no PLY header line. Export the file again.");
        }
        if (!formatSeen) throw new MeshReadException($"{name}: the PLY header names no format. Export the file again.");
        return h;
    }

    private bool TakeFormat(string f)
    {
        Format = f switch { "binary_little_endian" => Coding.LittleEndian, "binary_big_endian" => Coding.BigEndian, _ => Coding.Text };
        return f is "ascii" or "binary_little_endian" or "binary_big_endian";
    }

    private bool TakeElement(string name, string count)
    {
        if (!long.TryParse(count, NumberStyles.None, CultureInfo.InvariantCulture, out var n)) return false;
        Elements.Add(new Element(name, n, []));
        return true;
    }

    private bool TakeProperty(string name, string type, string? length)
    {
        if (Elements.Count == 0 || NumberOf(type) is not { } t) return false;
        if (length is not null && NumberOf(length) is null or Number.Float32 or Number.Float64) return false;
        Elements[^1].Properties.Add(new Property(name, t, length is null ? null : NumberOf(length)));
        return true;
    }

    private static Number? NumberOf(string s) => s switch
    {
        "char" or "int8" => Number.Int8,
        "uchar" or "uint8" => Number.UInt8,
        "short" or "int16" => Number.Int16,
        "ushort" or "uint16" => Number.UInt16,
        "int" or "int32" => Number.Int32,
        "uint" or "uint32" => Number.UInt32,
        "float" or "float32" => Number.Float32,
        "double" or "float64" => Number.Float64,
        _ => null,
    };
}
