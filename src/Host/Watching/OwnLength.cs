using System.Buffers.Binary;
using System.Text;

namespace Stiltwright.Host.Watching;

/// <summary>
/// Asks a file whether it is whole by its own account: a binary STL has 84 + 50 x count bytes, a text STL ends with its
/// closing word, a 3MF with the directory of its archive; and no file ends in a stretch of zeros, which is what a copier
/// leaves that sets the length first and fills it later. What does not answer so may still be arriving.
/// </summary>
public static class OwnLength
{
    private const int Header = 84;
    private const int Facet = 50;
    private const int Tail = 4096;

    // The end record of a ZIP archive (APPNOTE 4.3.16) has 22 bytes and a comment of up to 65,535.
    private const int ArchiveEnd = 22 + 65535;

    /// <summary>False while a file is not what it says it is, or another program has it open for writing.</summary>
    public static bool IsWhole(string path)
    {
        try
        {
            // Sharing reading only: on Windows this fails while a writer is open. On Linux it proves nothing, and the rest decides.
            using var s = new FileStream(path, FileMode.Open, FileAccess.Read, FileShare.Read);
            if (EndsInZeros(s)) return false;
            return Path.GetExtension(path).ToLowerInvariant() switch
            {
                ".stl" => StlIsWhole(s),
                ".3mf" => ArchiveIsWhole(s),
                _ => s.Length > 0,
            };
        }
        catch (IOException)
        {
            return false;
        }
    }

    private static bool EndsInZeros(FileStream s) => s.Length > 0 && !Last(s, Tail).AsSpan().ContainsAnyExcept((byte)0);

    private static bool ArchiveIsWhole(FileStream s) => Last(s, ArchiveEnd).AsSpan().IndexOf("PK\u0005\u0006"u8) >= 0;

    private static byte[] Last(FileStream s, int most)
    {
        var bytes = new byte[Math.Min(s.Length, most)];
        s.Position = s.Length - bytes.Length;
        s.ReadExactly(bytes);
        s.Position = 0;
        return bytes;
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

        return head.Length >= Header && s.Length == Header + (long)Facet * BinaryPrimitives.ReadUInt32LittleEndian(head[80..]);
    }
}
