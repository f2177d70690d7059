using System.Numerics;

namespace Stiltwright.Geometry.Layers;

/// <summary>A block of voxels of one bit each: rows along x, in words of 64. Bits past the end of a row stay 0.</summary>
internal sealed class BitVolume
{
    public readonly int Nx, Ny, Nz, Words;
    private readonly ulong[] _bits;

    public BitVolume(int nx, int ny, int nz)
    {
        (Nx, Ny, Nz, Words) = (nx, ny, nz, (nx + 63) / 64);
        _bits = new ulong[checked(Words * ny * nz)];
    }

    public Span<ulong> Row(int y, int z) => _bits.AsSpan((z * Ny + y) * Words, Words);

    public bool this[int x, int y, int z]
    {
        get => (_bits[(z * Ny + y) * Words + (x >> 6)] >> (x & 63) & 1) != 0;
        set
        {
            ref var word = ref _bits[(z * Ny + y) * Words + (x >> 6)];
            if (value) word |= 1UL << (x & 63);
            else word &= ~(1UL << (x & 63));
        }
    }

    /// <summary>The bits of word w that stand for voxels.</summary>
    public ulong Valid(int w) => w < Words - 1 || (Nx & 63) == 0 ? ulong.MaxValue : (1UL << (Nx & 63)) - 1;

    public long CountPlane(int z)
    {
        long n = 0;
        foreach (var word in _bits.AsSpan(z * Ny * Words, Ny * Words)) n += BitOperations.PopCount(word);
        return n;
    }

    /// <summary>All voxels within a radius (in voxels, between centres, below 63) of a set one.</summary>
    public BitVolume Dilated(double radius, int workers)
    {
        var grown = new BitVolume(Nx, Ny, Nz);
        var reach = (int)Math.Floor(radius);
        var r2 = radius * radius;
        Parallel.For(0, Nz, new ParallelOptions { MaxDegreeOfParallelism = workers }, z =>
        {
            for (var dz = Math.Max(-reach, -z); dz <= Math.Min(reach, Nz - 1 - z); dz++)
                for (var y = 0; y < Ny; y++)
                {
                    var to = grown.Row(y, z);
                    for (var dy = Math.Max(-reach, -y); dy <= Math.Min(reach, Ny - 1 - y); dy++)
                    {
                        var left = r2 - dy * dy - dz * dz;
                        if (left >= 0) OrSpread(Row(y + dy, z + dz), (int)Math.Floor(Math.Sqrt(left)), to);
                    }
                }
            for (var y = 0; y < Ny; y++) grown.Row(y, z)[Words - 1] &= Valid(Words - 1);
        });
        return grown;
    }

    /// <summary>Ors a row, widened by some voxels to both sides, into another.</summary>
    public static void OrSpread(ReadOnlySpan<ulong> from, int width, Span<ulong> to)
    {
        ulong before = 0;
        for (var w = 0; w < from.Length; w++)
        {
            ulong here = from[w], after = w + 1 < from.Length ? from[w + 1] : 0;
            if ((before | here | after) != 0)
            {
                var wide = here;
                for (var s = 1; s <= width; s++) wide |= here << s | here >> s | before >> (64 - s) | after << (64 - s);
                to[w] |= wide;
            }
            before = here;
        }
    }

    /// <summary>Spreads the set bits of a row along it as far as the open bits go; true if any were added.</summary>
    public static bool FillRow(Span<ulong> reached, ReadOnlySpan<ulong> open)
    {
        var grew = false;
        ulong carry = 0;
        for (var w = 0; w < reached.Length; w++)
        {
            var o = open[w];
            var seed = reached[w] | (carry & o);
            if (seed == 0) { carry = 0; continue; }
            // Adding a bit to the run of ones that holds it clears the run from there upwards.
            var full = seed | (o & ~(o + seed));
            grew |= full != reached[w];
            reached[w] = full;
            carry = full >> 63;
        }
        carry = 0;
        for (var w = reached.Length - 1; w >= 0; w--)
        {
            var o = open[w];
            var g = reached[w] | (carry & o);
            if (g == 0) { carry = 0; continue; }
            for (var s = 1; s < 64; s <<= 1)
            {
                g |= o & (g >> s);
                o &= o >> s;
            }
            grew |= g != reached[w];
            reached[w] = g;
            carry = g << 63;
        }
        return grew;
    }
}
