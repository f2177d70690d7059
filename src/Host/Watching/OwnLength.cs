using System.Buffers.Binary;
using System.Text;

namespace Stiltwright.Host.Watching;

/// <summary>Asks a file how long it says it is: a binary STL has 84 + 50 x count bytes, a text STL ends with its closing word.</summary>
public static class OwnLength
{
    private const int Header = 84;
    private const int Facet = 50;

    /// <summary>False while an STL is shorter than it says, or another program has it open for writing.</summary>
    public static bool IsWhole(string path)
    {
        try
        {
            // Sharing reading only: on Windows this fails while a writer is open. On Linux it proves nothing, and the rest decides.
            using var s = new FileStream(path, FileMode.Open, FileAccess.Read, FileShare.Read);
            return !Path.GetExtension(path).Equals(".stl", StringComparison.OrdinalIgnoreCase) || StlIsWhole(s);
        }
        catch (IOException)
        {
            return false;
        }
    }

    private static bool StlIsWhole(Stream s)
    {
        Span<byte> head = stackalloc byte[512];
        head = head[..s.ReadAtLeast(head, head.Length, throwOnEndOfStream: false)];
        if (head.StartsWith("solid"u8) && (head.IndexOf("facet"u8) >= 0 || head.Length < Header))
        {
            Span<byte> tail = stackalloc byte[512];
            s.Position = Math.Max(0, s.Length - tail.Length);
            tail = tail[..s.ReadAtLeast(tail, tail.Length, throwOnEndOfStream: false)];
            return Encoding.ASCII.GetString(tail).Contains("endsolid", StringComparison.OrdinalIgnoreCase);
        }

        return head.Length >= Header && s.Length >= Header + (long)Facet * BinaryPrimitives.ReadUInt32LittleEndian(head[80..]);
    }
}
