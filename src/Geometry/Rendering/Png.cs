using System.Buffers.Binary;
using System.IO.Compression;
using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;

namespace Stiltwright.Geometry.Rendering;

/// <summary>
/// Writes pictures as PNG (ISO/IEC 15948, W3C Portable Network Graphics, third edition): 8-bit RGB, no interlace, each row
/// with the filter that leaves the least sum of magnitudes (section 12.7 of the standard).
/// </summary>
public static class Png
{
    private static readonly uint[] Table = MakeTable();

    /// <summary>Writes a picture.</summary>
    public static void Write(Stream stream, Image image, CompressionLevel level = CompressionLevel.Optimal)
    {
        stream.Write([0x89, 0x50, 0x4E, 0x47, 0x0D, 0x0A, 0x1A, 0x0A]);
        var head = new byte[13];
        BinaryPrimitives.WriteInt32BigEndian(head, image.Width);
        BinaryPrimitives.WriteInt32BigEndian(head.AsSpan(4), image.Height);
        head[8] = 8;
        head[9] = 2;
        Chunk(stream, "IHDR"u8, head);
        Chunk(stream, "sRGB"u8, [0]);
        using var packed = new MemoryStream();
        using (var zlib = new ZLibStream(packed, level, leaveOpen: true)) WriteRows(zlib, image);
        Chunk(stream, "IDAT"u8, packed.GetBuffer().AsSpan(0, (int)packed.Length));
        Chunk(stream, "IEND"u8, []);
    }

    /// <summary>The bytes of a picture as PNG.</summary>
    public static byte[] ToBytes(Image image, CompressionLevel level = CompressionLevel.Optimal)
    {
        using var m = new MemoryStream();
        Write(m, image, level);
        return m.ToArray();
    }

    /// <summary>CRC-32 as PNG uses it (annex D of the standard): polynomial 0xEDB88320, all ones before and after.</summary>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    public static uint Crc32(uint crc, ReadOnlySpan<byte> bytes)
    {
        crc = ~crc;
        foreach (var b in bytes) crc = Table[(crc ^ b) & 0xFF] ^ (crc >> 8);
        return ~crc;
    }

    private static void WriteRows(ZLibStream zlib, Image image)
    {
        var n = 3 * image.Width;
        var none = new byte[n];
        var rows = new byte[5][];
        for (var f = 0; f < 5; f++) rows[f] = new byte[n + 1];
        for (var y = 0; y < image.Height; y++)
        {
            var row = image.Rgb.AsSpan(y * n, n);
            var above = y == 0 ? none : image.Rgb.AsSpan((y - 1) * n, n);
            var best = 0;
            var bestSum = long.MaxValue;
            // Filter 3 (average) never won by a margin worth its time on shaded surfaces.
            foreach (var f in (ReadOnlySpan<int>)[1, 2, 4])
            {
                var sum = Filter(f, row, above, rows[f]);
                if (sum < bestSum) (best, bestSum) = (f, sum);
            }
            zlib.Write(rows[best]);
        }
    }

    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private static long Filter(int filter, ReadOnlySpan<byte> row, ReadOnlySpan<byte> above, byte[] to)
    {
        to[0] = (byte)filter;
        var filtered = to.AsSpan(1, row.Length);
        // The first pixel has nothing to its left: left and above-left count as zero.
        for (var i = 0; i < 3; i++) filtered[i] = (byte)(row[i] - (filter == 1 ? 0 : above[i]));
        if (filter == 1) Less(row[3..], row, filtered[3..]);
        else if (filter == 2) Less(row, above, filtered);
        else
            for (var i = 3; i < row.Length; i++) filtered[i] = (byte)(row[i] - Paeth(row[i - 3], above[i], above[i - 3]));
        return Magnitudes(filtered);
    }

    private static void Less(ReadOnlySpan<byte> row, ReadOnlySpan<byte> other, Span<byte> to)
    {
        var i = 0;
        for (; i + Vector256<byte>.Count <= row.Length; i += Vector256<byte>.Count)
            (Vector256.Create(row[i..]) - Vector256.Create(other[i..])).CopyTo(to[i..]);
        for (; i < row.Length; i++) to[i] = (byte)(row[i] - other[i]);
    }

    private static long Magnitudes(ReadOnlySpan<byte> filtered)
    {
        long sum = 0;
        var i = 0;
        for (; i + Vector256<byte>.Count <= filtered.Length; i += Vector256<byte>.Count)
        {
            // Of -128 the magnitude is 128 again, as a byte.
            var (low, high) = Vector256.Widen(Vector256.Abs(Vector256.Create(filtered[i..]).AsSByte()).AsByte());
            sum += Vector256.Sum(low + high);
        }
        for (; i < filtered.Length; i++) sum += Math.Abs((int)(sbyte)filtered[i]);
        return sum;
    }

    private static int Paeth(int a, int b, int c)
    {
        int p = a + b - c, pa = Math.Abs(p - a), pb = Math.Abs(p - b), pc = Math.Abs(p - c);
        return pa <= pb && pa <= pc ? a : pb <= pc ? b : c;
    }

    private static void Chunk(Stream stream, ReadOnlySpan<byte> kind, ReadOnlySpan<byte> data)
    {
        Span<byte> word = stackalloc byte[4];
        BinaryPrimitives.WriteInt32BigEndian(word, data.Length);
        stream.Write(word);
        stream.Write(kind);
        stream.Write(data);
        BinaryPrimitives.WriteUInt32BigEndian(word, Crc32(Crc32(0, kind), data));
        stream.Write(word);
    }

    private static uint[] MakeTable()
    {
        var t = new uint[256];
        for (uint n = 0; n < 256; n++)
        {
            var c = n;
            for (var k = 0; k < 8; k++) c = (c & 1) != 0 ? 0xEDB88320 ^ (c >> 1) : c >> 1;
            t[n] = c;
        }
        return t;
    }
}
