using System.Buffers;
using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics.X86;
using Microsoft.Win32.SafeHandles;

namespace Stiltwright.Geometry.Files;

/// <summary>
/// A stretch of the triangles of a binary STL, welded by itself: corners with equal coordinates (-0 being 0) get one number, numbers in
/// order of first use. Stretches are read and welded side by side, then joined (<see cref="StlBinary"/>). The arrays are lent by a pool:
/// fresh memory costs more than the work. Open addressing at half load; the places of a few dozen triangles are fetched ahead.
/// </summary>
internal sealed class StlPart(int first, int count) : IDisposable
{
    private const int Header = 84, Record = 50;
    private const int TrianglesAtOnce = 4096, Ahead = 32;

    private float[] _points = ArrayPool<float>.Shared.Rent(3 * (count / 2 + 64));
    private uint[] _table = [];
    private uint _mask;

    /// <summary>Number of the first triangle.</summary>
    public int First => first;

    /// <summary>Number of triangles.</summary>
    public int Count => count;

    /// <summary>Points found.</summary>
    public int PointCount { get; private set; }

    /// <summary>x, y, z of each point (the array may be longer).</summary>
    public float[] Points => _points;

    /// <summary>Triangles with attribute bytes.</summary>
    public int Coloured { get; private set; }

    /// <summary>Triangles with two corners at one place, and the first of them (-1: none).</summary>
    public int Twice { get; private set; }

    /// <summary>Number of the first such triangle, or -1.</summary>
    public int FirstTwice { get; private set; } = -1;

    /// <summary>Place of the first coordinate that is no finite number (9 a triangle), or -1.</summary>
    public long NotFinite { get; private set; } = -1;

    /// <summary>The value there.</summary>
    public float NotFiniteValue { get; private set; }

    /// <summary>Reads and welds; corners get this part's own numbers.</summary>
    public void Read(SafeFileHandle file, int[] corners, CancellationToken cancel)
    {
        Room(count / 2 + 64);
        var block = ArrayPool<byte>.Shared.Rent(TrianglesAtOnce * Record);
        try
        {
            for (var done = 0; done < count && NotFinite < 0; done += TrianglesAtOnce)
            {
                cancel.ThrowIfCancellationRequested();
                var n = Math.Min(TrianglesAtOnce, count - done);
                var bytes = block.AsSpan(0, n * Record);
                for (var got = 0; got < bytes.Length;)
                {
                    var r = RandomAccess.Read(file, bytes[got..], Header + (long)(first + done) * Record + got);
                    if (r == 0) throw new EndOfStreamException("The file ends before its last triangle.");
                    got += r;
                }
                for (var at = 0; at < n; at += Ahead)
                    Take(bytes.Slice(at * Record, Math.Min(Ahead, n - at) * Record), first + done + at, corners);
            }
        }
        finally
        {
            ArrayPool<byte>.Shared.Return(block);
        }
    }

    /// <summary>This part's number of a point, or -1.</summary>
    public int Find(float x, float y, float z)
    {
        for (var at = Hash(x, y, z) & _mask; ; at = (at + 1) & _mask)
        {
            var id = _table[at];
            if (id == 0) return -1;
            var p = 3 * ((int)id - 1);
            if (_points[p] == x && _points[p + 1] == y && _points[p + 2] == z) return (int)id - 1;
        }
    }

    /// <summary>Fetches the place of a point into the cache.</summary>
    public unsafe void Prefetch(float x, float y, float z)
    {
        if (!Sse.IsSupported) return;
        fixed (uint* table = _table) Sse.Prefetch0(table + (Hash(x, y, z) & _mask));
    }

    private unsafe void Take(ReadOnlySpan<byte> records, int triangle, int[] corners)
    {
        var n = records.Length / Record;
        float* p = stackalloc float[9 * Ahead];
        uint* place = stackalloc uint[3 * Ahead];
        if (2 * (PointCount + 3 * n) > _table.Length || 3 * (PointCount + 3 * n) > _points.Length) Room(2 * (PointCount + 3 * n));
        fixed (byte* from = records)
        fixed (uint* table = _table)
        fixed (float* points = _points)
        fixed (int* to = &corners[3 * triangle])
        {
            for (var t = 0; t < n; t++)
            {
                var q = p + 9 * t;
                float sum = 0;
                for (var i = 0; i < 9; i++)
                {
                    var v = BitConverter.IsLittleEndian ? Unsafe.ReadUnaligned<float>(from + Record * t + 12 + 4 * i)
                        : System.Buffers.Binary.BinaryPrimitives.ReadSingleLittleEndian(new ReadOnlySpan<byte>(from + Record * t + 12 + 4 * i, 4));
                    v += 0f; // -0 becomes 0
                    q[i] = v;
                    sum += v;
                }
                // The sum is finite only if all are (infinities of both signs give NaN); a sum that overflows alone is sorted out.
                if (!float.IsFinite(sum) && FirstNotFinite(q, triangle + t)) return;
                if ((from[Record * t + 48] | from[Record * t + 49]) != 0) Coloured++;
                for (var k = 0; k < 3; k++)
                {
                    var at = Hash(q[3 * k], q[3 * k + 1], q[3 * k + 2]) & _mask;
                    place[3 * t + k] = at;
                    if (Sse.IsSupported) Sse.Prefetch0(table + at);
                }
            }
            var found = (uint)PointCount;
            for (var c = 0; c < 3 * n; c++)
            {
                float x = p[3 * c], y = p[3 * c + 1], z = p[3 * c + 2];
                var at = place[c];
                while (true)
                {
                    var id = table[at];
                    if (id == 0)
                    {
                        var q = points + 3 * found;
                        (q[0], q[1], q[2]) = (x, y, z);
                        table[at] = ++found;
                        to[c] = (int)found - 1;
                        break;
                    }
                    var r = points + 3 * (id - 1);
                    if (r[0] == x && r[1] == y && r[2] == z)
                    {
                        to[c] = (int)id - 1;
                        break;
                    }
                    at = (at + 1) & _mask;
                }
            }
            PointCount = (int)found;
            for (var t = 0; t < n; t++)
                if (to[3 * t] == to[3 * t + 1] || to[3 * t + 1] == to[3 * t + 2] || to[3 * t + 2] == to[3 * t])
                {
                    if (Twice++ == 0) FirstTwice = triangle + t;
                }
        }
    }

    private unsafe bool FirstNotFinite(float* q, int triangle)
    {
        for (var i = 0; i < 9; i++)
            if (!float.IsFinite(q[i]))
            {
                (NotFinite, NotFiniteValue) = (9L * triangle + i, q[i]);
                return true;
            }
        return false;
    }

    // Room for so many points at half load; what is there is placed anew.
    private void Room(int points)
    {
        if (3L * points > Array.MaxLength) throw new OutOfMemoryException("More points than an array can hold.");
        if (_points.Length < 3 * points)
        {
            var more = ArrayPool<float>.Shared.Rent(3 * points);
            _points.AsSpan(0, 3 * PointCount).CopyTo(more);
            ArrayPool<float>.Shared.Return(_points);
            _points = more;
        }
        var size = (int)System.Numerics.BitOperations.RoundUpToPowerOf2((uint)Math.Max(64, 2L * points));
        if (_table.Length < size)
        {
            if (_table.Length > 0) ArrayPool<uint>.Shared.Return(_table);
            _table = ArrayPool<uint>.Shared.Rent(size);
        }
        _table.AsSpan(0, size).Clear();
        _mask = (uint)size - 1;
        for (var v = 0; v < PointCount; v++)
        {
            var at = Hash(_points[3 * v], _points[3 * v + 1], _points[3 * v + 2]) & _mask;
            while (_table[at] != 0) at = (at + 1) & _mask;
            _table[at] = (uint)v + 1;
        }
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static uint Hash(float x, float y, float z)
    {
        var h = BitConverter.SingleToUInt32Bits(x) * 0x9E3779B97F4A7C15ul ^ BitConverter.SingleToUInt32Bits(y) * 0xC2B2AE3D27D4EB4Ful ^ BitConverter.SingleToUInt32Bits(z) * 0xD6E8FEB86659FD93ul;
        h ^= h >> 32;
        h *= 0xBF58476D1CE4E5B9ul;
        return (uint)(h >> 32);
    }

    public void Dispose()
    {
        ArrayPool<float>.Shared.Return(_points);
        if (_table.Length > 0) ArrayPool<uint>.Shared.Return(_table);
        (_points, _table) = ([], []);
    }
}
