using System.Numerics;

namespace Stiltwright.Geometry.Files;

/// <summary>Gives points of equal coordinates the same number, numbers in order of first use. Open addressing, grown by doubling.</summary>
internal sealed class PointWeld
{
    // An entry is the upper half of the hash beside number + 1: most strangers are told apart without touching the points.
    private ulong[] _table;
    private int _shift;
    private double[] _points;

    internal PointWeld(int expected)
    {
        var bits = Math.Clamp(BitOperations.Log2((uint)Math.Max(1, expected)) + 2, 8, 29);
        _table = new ulong[1 << bits];
        _shift = 64 - bits;
        _points = new double[3 * Math.Max(16, expected)];
    }

    private int _firstJoined;

    internal int Count { get; private set; }

    internal int Add(double x, double y, double z)
    {
        x += 0.0; // -0 becomes 0
        y += 0.0;
        z += 0.0;
        var h = Hash(x, y, z);
        var mask = _table.Length - 1;
        var at = (int)(h >> _shift);
        var mark = h << 32;
        while (true)
        {
            var e = _table[at];
            if (e == 0) break;
            if ((e & 0xffffffff00000000) == mark)
            {
                var v = (int)(uint)e - 1;
                if (v >= _firstJoined && _points[3 * v] == x && _points[3 * v + 1] == y && _points[3 * v + 2] == z) return v;
            }
            at = (at + 1) & mask;
        }
        if (3L * Count + 3 > _points.Length)
            Array.Resize(ref _points, (int)Math.Min(Array.MaxLength - 2, 3L * (Count + Count / 2 + 16)));
        _points[3 * Count] = x;
        _points[3 * Count + 1] = y;
        _points[3 * Count + 2] = z;
        _table[at] = mark | (uint)(++Count);
        if (2L * Count > _table.Length) Grow();
        return Count - 1;
    }

    /// <summary>Points from here on are not joined with those before (their numbers go on).</summary>
    internal void StartAnew()
    {
        _firstJoined = Count;
    }

    internal double[] ToArray()
    {
        if (_points.Length != 3 * Count) Array.Resize(ref _points, 3 * Count);
        return _points;
    }

    private ulong Hash(double x, double y, double z)
    {
        // The start of the present group is mixed in, so that equal points of other groups do not crowd one place.
        var h = (BitConverter.DoubleToUInt64Bits(x) + (ulong)_firstJoined) * 0x9E3779B97F4A7C15;
        h = (BitOperations.RotateLeft(h, 29) ^ BitConverter.DoubleToUInt64Bits(y)) * 0xBF58476D1CE4E5B9;
        h = (BitOperations.RotateLeft(h, 31) ^ BitConverter.DoubleToUInt64Bits(z)) * 0x94D049BB133111EB;
        h ^= h >> 32;
        return h * 0x9E3779B97F4A7C15;
    }

    private void Grow()
    {
        var bits = 64 - _shift + 2;
        _table = new ulong[1 << bits];
        _shift = 64 - bits;
        var mask = _table.Length - 1;
        for (var v = _firstJoined; v < Count; v++)
        {
            var h = Hash(_points[3 * v], _points[3 * v + 1], _points[3 * v + 2]);
            var at = (int)(h >> _shift);
            while (_table[at] != 0) at = (at + 1) & mask;
            _table[at] = (h << 32) | (uint)(v + 1);
        }
    }
}
