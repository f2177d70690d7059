using System.Buffers.Binary;
using System.Text;

namespace Stiltwright.Geometry.Files;

/// <summary>Binary STL: 80 bytes of header, a count, then 50 bytes a triangle: normal (not used), three corners, two attribute bytes.</summary>
internal static class StlBinary
{
    private const int Header = 84;
    private const int Record = 50;

    internal static MeshFile Read(FileStream file, string path, ReadLimits limits, CancellationToken cancel, int workers = 0)
    {
        var head = new byte[Header];
        file.ReadExactly(head);
        var count = BinaryPrimitives.ReadUInt32LittleEndian(head.AsSpan(80));
        if (count > (uint)limits.MaxTriangles)
            throw new MeshReadException($"{Path.GetFileName(path)} holds {count:N0} triangles, more than the limit of {limits.MaxTriangles:N0}. Reduce the model or raise the limit.");
        var n = (int)count;
        var corners = GC.AllocateUninitializedArray<int>(3 * n);
        var parts = Parts(n, workers);
        try
        {
            Parallel.For(0, parts.Length, new ParallelOptions { MaxDegreeOfParallelism = parts.Length }, p => parts[p].Read(file.SafeFileHandle, corners, cancel));
            var sink = new TriangleSink(path, limits, 0);
            sink.BeginObject("");
            foreach (var p in parts)
                if (p.NotFinite >= 0)
                    throw sink.Refuse($"triangle {p.NotFinite / 9 + 1:N0} (byte {Header + Record * (p.NotFinite / 9) + 12 + 4 * (p.NotFinite % 9):N0}) has a coordinate that is {(float.IsNaN(p.NotFiniteValue) ? "no number (NaN)" : "infinite")}. Repair or export the model again.");
            file.Position = Header + (long)n * Record;
            Remarks(file, head, sink, n, parts.Sum(p => p.Coloured));
            return sink.Finish("STL, binary", Join(parts, corners), corners, parts.Sum(p => p.Twice), parts.Select(p => p.FirstTwice).FirstOrDefault(t => t >= 0, -1));
        }
        catch (AggregateException e) when (e.InnerExceptions[0] is OperationCanceledException or IOException)
        {
            System.Runtime.ExceptionServices.ExceptionDispatchInfo.Throw(e.InnerExceptions[0]);
            throw;
        }
        finally
        {
            foreach (var p in parts) p.Dispose();
        }
    }

    // One part a core for all but small files; what comes out does not depend on how many there are.
    private static StlPart[] Parts(int n, int workers)
    {
        var count = workers > 0 ? Math.Clamp(n, 1, workers) : Math.Clamp(Math.Min(Environment.ProcessorCount, n / 16384), 1, 8);
        var parts = new StlPart[count];
        for (var p = 0; p < count; p++)
        {
            int from = (int)((long)n * p / count), to = (int)((long)n * (p + 1) / count);
            parts[p] = new StlPart(from, to - from);
        }
        return parts;
    }

    /// <summary>
    /// Joins the parts' numbers: a point that an earlier part has takes its number, the others go on counting, so the numbers are
    /// those of one walk through the file. Gives the points.
    /// </summary>
    private static double[] Join(StlPart[] parts, int[] corners)
    {
        const int chunk = 1 << 15;
        var maps = new int[parts.Length][];
        var total = parts[0].PointCount;
        for (var p = 1; p < parts.Length; p++)
        {
            var part = parts[p];
            var map = maps[p] = System.Buffers.ArrayPool<int>.Shared.Rent(part.PointCount);
            var earlier = p;
            Parallel.For(0, (part.PointCount + chunk - 1) / chunk, c =>
            {
                var x = part.Points;
                int from = c * chunk, to = Math.Min(part.PointCount, from + chunk);
                Array.Fill(map, -1, from, to - from);
                for (var q = 0; q < earlier; q++)
                    for (var v = from; v < to; v++)
                    {
                        if (v + 16 < to) parts[q].Prefetch(x[3 * v + 48], x[3 * v + 49], x[3 * v + 50]);
                        if (map[v] >= 0) continue;
                        var id = parts[q].Find(x[3 * v], x[3 * v + 1], x[3 * v + 2]);
                        if (id >= 0) map[v] = q == 0 ? id : maps[q][id] < 0 ? ~maps[q][id] : maps[q][id];
                    }
            });
            // New points are marked by the complement of their number.
            for (var v = 0; v < part.PointCount; v++)
                if (map[v] < 0) map[v] = ~total++;
        }
        var points = GC.AllocateUninitializedArray<double>(3 * total);
        for (var p = 0; p < parts.Length; p++)
        {
            var part = parts[p];
            var map = maps[p];
            Parallel.For(0, (part.PointCount + chunk - 1) / chunk, c =>
            {
                var x = part.Points;
                int from = c * chunk, to = Math.Min(part.PointCount, from + chunk);
                if (map is null)
                {
                    for (var i = 3 * from; i < 3 * to; i++) points[i] = x[i];
                    return;
                }
                for (var v = from; v < to; v++)
                {
                    if (map[v] >= 0) continue;
                    var at = 3 * (map[v] = ~map[v]);
                    (points[at], points[at + 1], points[at + 2]) = (x[3 * v], x[3 * v + 1], x[3 * v + 2]);
                }
            });
            if (map is null) continue;
            Parallel.For(0, (part.Count + chunk - 1) / chunk, c =>
            {
                var end = 3 * (part.First + Math.Min(part.Count, (c + 1) * chunk));
                for (var i = 3 * (part.First + c * chunk); i < end; i++) corners[i] = map[corners[i]];
            });
            System.Buffers.ArrayPool<int>.Shared.Return(map);
        }
        return points;
    }

    private static void Remarks(FileStream file, byte[] head, TriangleSink sink, int n, int coloured)
    {
        var extra = file.Length - Header - (long)n * Record;
        if (extra > 0) CheckTail(file, sink, n, extra);
        if (coloured > 0)
            sink.Remark("attribute-bytes", coloured, $"{coloured} triangles carry attribute bytes (often a colour); they are not used.");
        if (Encoding.Latin1.GetString(head, 0, 80).Contains("COLOR=", StringComparison.Ordinal))
            sink.Remark("header-colour", 1, "The header names a colour (COLOR=); it is not used.");
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
