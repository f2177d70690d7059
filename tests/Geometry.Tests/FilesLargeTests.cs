using System.Buffers.Binary;
using CsCheck;
using Stiltwright.Geometry.Files;
using static Stiltwright.Geometry.Tests.FilesBench;

namespace Stiltwright.Geometry.Tests;

/// <summary>Files at the limits of size, parts as tall as a person, and reading with one thread and with several.</summary>
public sealed class FilesLargeTests : IDisposable
{
    private readonly FilesBench _bench = new();

    public void Dispose() => _bench.Dispose();

    // A file of so many bytes whose header counts so many triangles; file systems keep the empty rest for nothing.
    private string Sparse(string name, long bytes, uint count)
    {
        var path = _bench.Put(name, new byte[84]);
        using var file = new FileStream(path, FileMode.Open, FileAccess.ReadWrite);
        var head = new byte[84];
        BinaryPrimitives.WriteUInt32LittleEndian(head.AsSpan(80), count);
        file.Write(head);
        file.SetLength(bytes);
        return path;
    }

    [Fact]
    public void Files_over_four_gibibytes_get_a_sentence_with_the_numbers()
    {
        const uint many = 90_000_000;
        var told = Refusal(Sparse("many.stl", 84 + 50L * many, many));
        Assert.Contains("90,000,000 triangles", told);
        Assert.Contains("limit of 80,000,000", told);
        // A count whose bytes do not fit 32 bits must not be taken for a small file.
        Assert.Contains("4,294,967,295", Refusal(Sparse("wrapped.stl", 1 << 20, uint.MaxValue)));
        Assert.Contains("limit of 5,000,000,000", Refusal(Sparse("long.stl", 5_000_000_001, 4), new ReadLimits { MaxBytes = 5_000_000_000 }));
    }

    [Fact]
    public void A_small_mesh_in_a_file_over_four_gibibytes_is_read_and_the_rest_is_told()
    {
        var path = _bench.Put("padded.stl", BinaryStl("padded", 4, Tetrahedron));
        using (var file = new FileStream(path, FileMode.Open, FileAccess.ReadWrite)) file.SetLength(5_000_000_000);
        var m = Read(path);
        Assert.Equal(4, m.TriangleCount);
        Assert.Contains(m.Remarks, r => r is { Kind: "trailing-bytes", Count: 5_000_000_000 - 84 - 200 });
    }

    [Theory]
    [InlineData(400)]
    [InlineData(1600)]
    public void A_tall_part_on_the_platform_comes_back_bit_for_bit(double heightMm)
    {
        var lattice = Lattice.For(heightMm);
        Assert.Equal(heightMm > 1000 ? 13 : 15, lattice.Exponent);
        var part = Mesh.Concat(lattice, [Primitives.Capsule(lattice, new(3, 5, 40.123), new(-7, 11, heightMm - 20.017), 19.987), Primitives.Box(lattice, new(-60, -60, 0), new(60, 60, heightMm / 3))]);
        using var first = new MemoryStream();
        StlWriter.Write(first, part, "tall part");
        var read = Read(_bench.Put("tall.stl", first.ToArray()));
        Assert.Equal(0, read.Bounds.Min.Z);
        var back = read.ToMesh(Affine.Identity, lattice);
        Assert.Equal(part.CornersArray.SelectMany(v => part.Xyz.Slice(3 * v, 3).ToArray()), back.CornersArray.SelectMany(v => back.Xyz.Slice(3 * v, 3).ToArray()));
        using var second = new MemoryStream();
        StlWriter.Write(second, back, "tall part");
        Assert.Equal(first.ToArray(), second.ToArray());
    }

    [Fact]
    public void Any_number_of_threads_reads_the_same_numbers_in_the_same_order() =>
        Gen.Select(Gen.Int[-6, 6].Array[9, 400], Gen.Int[2, 9]).Sample((places, workers) =>
        {
            // Few places, so that most corners meet others in other stretches of the file, and some triangles have no area.
            var corners = places[..(places.Length / 9 * 9)].Select(p => p == 3 ? -0f : p * 0.37f).ToArray();
            var path = _bench.Put("threads.stl", BinaryStl("", (uint)corners.Length / 9, corners));
            MeshFile? Read(int with)
            {
                using var file = new FileStream(path, FileMode.Open, FileAccess.Read);
                try { return StlBinary.Read(file, path, ReadLimits.Default, CancellationToken.None, with); }
                catch (MeshReadException e) when (e.Message.Contains("two corners at the same place", StringComparison.Ordinal)) { return null; }
            }
            MeshFile? one = Read(1), several = Read(workers);
            Assert.Equal(one?.Points, several?.Points);
            Assert.Equal(one?.Corners, several?.Corners);
            Assert.Equal(one?.Remarks, several?.Remarks);
            if (one is null) return;
            // The numbers are those of a plain walk with a dictionary.
            var known = new Dictionary<(float, float, float), int>();
            var walk = new List<int>();
            for (var t = 0; t < corners.Length; t += 9)
            {
                var ids = Enumerable.Range(0, 3).Select(k => (corners[t + 3 * k] + 0f, corners[t + 3 * k + 1] + 0f, corners[t + 3 * k + 2] + 0f)).ToArray();
                if (ids.Distinct().Count() < 3) continue;
                foreach (var id in ids)
                {
                    known.TryAdd(id, known.Count);
                    walk.Add(known[id]);
                }
            }
            Assert.Equal(walk, one.Corners);
        }, iter: 300, threads: 1);
}
