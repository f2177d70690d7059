using System.Buffers.Binary;
using System.Runtime.InteropServices;
using System.Text;

namespace Stiltwright.Geometry.Files;

/// <summary>Binary STL: 80 bytes of header, a count, then 50 bytes a triangle: normal (not used), three corners, two attribute bytes.</summary>
internal static class StlBinary
{
    private const int Header = 84;
    private const int Record = 50;
    private const int TrianglesAtOnce = 1 << 15;

    internal static MeshFile Read(FileStream file, string path, ReadLimits limits, CancellationToken cancel)
    {
        var head = new byte[Header];
        file.ReadExactly(head);
        var count = BinaryPrimitives.ReadUInt32LittleEndian(head.AsSpan(80));
        if (count > (uint)limits.MaxTriangles)
            throw new MeshReadException($"{Path.GetFileName(path)} holds {count:N0} triangles, more than the limit of {limits.MaxTriangles:N0}. Reduce the model or raise the limit.");
        var n = (int)count;
        var sink = new TriangleSink(path, limits, n);
        sink.BeginObject("");

        // One block is read ahead while the one before is welded; welding takes the longer by far.
        var blocks = new[] { new byte[Math.Min(n, TrianglesAtOnce) * Record], new byte[Math.Min(n, TrianglesAtOnce) * Record] };
        var coloured = 0;
        var next = Task.Run(() => ReadBlock(file, blocks[0], n, 0), CancellationToken.None);
        try
        {
            for (var first = 0; first < n; first += TrianglesAtOnce)
            {
                var bytes = next.GetAwaiter().GetResult();
                var block = blocks[first / TrianglesAtOnce % 2];
                var after = first + TrianglesAtOnce;
                if (after < n) next = Task.Run(() => ReadBlock(file, blocks[after / TrianglesAtOnce % 2], n, after), CancellationToken.None);
                cancel.ThrowIfCancellationRequested();
                coloured += Take(sink, block.AsSpan(0, bytes), first);
            }
        }
        finally
        {
            // A block still being read belongs to the file that the caller is about to close.
            ((IAsyncResult)next).AsyncWaitHandle.WaitOne();
        }

        var extra = file.Length - Header - (long)n * Record;
        if (extra > 0) CheckTail(file, sink, n, extra);
        if (coloured > 0)
            sink.Remark("attribute-bytes", coloured, $"{coloured} triangles carry attribute bytes (often a colour); they are not used.");
        if (Encoding.Latin1.GetString(head, 0, 80).Contains("COLOR=", StringComparison.Ordinal))
            sink.Remark("header-colour", 1, "The header names a colour (COLOR=); it is not used.");
        return sink.Finish("STL, binary");
    }

    private static int ReadBlock(FileStream file, byte[] block, int n, int first)
    {
        var bytes = Math.Min(n - first, TrianglesAtOnce) * Record;
        file.ReadExactly(block, 0, bytes);
        return bytes;
    }

    private static int Take(TriangleSink sink, ReadOnlySpan<byte> block, int first)
    {
        var weld = sink.Weld;
        var coloured = 0;
        Span<float> p = stackalloc float[9];
        for (int at = 0, t = first; at < block.Length; at += Record, t++)
        {
            if (BitConverter.IsLittleEndian) MemoryMarshal.Cast<byte, float>(block.Slice(at + 12, 36)).CopyTo(p);
            else
                for (var i = 0; i < 9; i++) p[i] = BinaryPrimitives.ReadSingleLittleEndian(block[(at + 12 + 4 * i)..]);
            // The sum is finite only if all are (infinities of both signs give NaN); a sum that overflows alone is sorted out below.
            if (!float.IsFinite(p[0] + p[1] + p[2] + p[3] + p[4] + p[5] + p[6] + p[7] + p[8]))
                for (var i = 0; i < 9; i++)
                    if (!float.IsFinite(p[i]))
                        throw sink.Refuse($"triangle {t + 1:N0} (byte {84 + 50L * t + 12 + 4 * i:N0}) has a coordinate that is {(float.IsNaN(p[i]) ? "no number (NaN)" : "infinite")}. Repair or export the model again.");
            if ((block[at + 48] | block[at + 49]) != 0) coloured++;
            var a = weld.Add(p[0], p[1], p[2]);
            var b = weld.Add(p[3], p[4], p[5]);
            sink.Triangle(a, b, weld.Add(p[6], p[7], p[8]));
        }
        return coloured;
    }

    /// <summary>
    /// Bytes behind the counted triangles: padding and notes of other programs do no harm. Whole further records that are
    /// not zero mean that the count is too small, and then nobody knows which of the two is right.
    /// </summary>
    private static void CheckTail(FileStream file, TriangleSink sink, int n, long extra)
    {
        var probe = new byte[(int)Math.Min(extra, 1 << 16)];
        file.ReadExactly(probe);
        if (extra % Record == 0 && probe.AsSpan().ContainsAnyExcept((byte)0) && LooksLikeRecord(probe))
            throw sink.Refuse($"the header counts {n:N0} triangles (bytes 80 to 83), but its {file.Length:N0} bytes hold {n + extra / Record:N0}. Which of the two is right cannot be told: export it again.");
        sink.Remark("trailing-bytes", extra, $"{extra:N0} bytes follow the last triangle (from byte {Header + (long)n * Record:N0}); they are not used.");
    }

    private static bool LooksLikeRecord(ReadOnlySpan<byte> probe)
    {
        for (var i = 0; i < 12; i++)
        {
            var v = Math.Abs(BinaryPrimitives.ReadSingleLittleEndian(probe[(4 * i)..]));
            if (!float.IsFinite(v) || v > 1e9f || v != 0 && v < 1e-9f) return false;
        }
        return true;
    }
}
