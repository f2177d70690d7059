using System.Buffers.Binary;
using System.Globalization;
using System.Text;
using Stiltwright.Geometry.Files;

namespace Stiltwright.Geometry.Tests;

/// <summary>A folder of its own for the files that a test makes, and the sample files of the repository.</summary>
public sealed class FilesBench : IDisposable
{
    private readonly string _folder = Directory.CreateTempSubdirectory("stiltwright-files-").FullName;

    public void Dispose() => Directory.Delete(_folder, true);

    public static string Sample(string name) => Path.Combine(AppContext.BaseDirectory, "Samples", "formats", name);

    public string Put(string name, byte[] bytes)
    {
        var path = Path.Combine(_folder, name);
        File.WriteAllBytes(path, bytes);
        return path;
    }

    public string Put(string name, string text) => Put(name, Encoding.UTF8.GetBytes(text));

    public static MeshFile Read(string path, ReadLimits? limits = null) => MeshReader.Read(path, limits ?? ReadLimits.Default);

    public static string Refusal(string path, ReadLimits? limits = null) =>
        Assert.Throws<MeshReadException>(() => MeshReader.Read(path, limits ?? ReadLimits.Default)).Message;

    /// <summary>A binary STL byte by byte, as its description of 1989 has it; independent of the writer under test.</summary>
    public static byte[] BinaryStl(string header, uint count, params float[] corners)
    {
        var triangles = corners.Length / 9;
        var b = new byte[84 + 50 * triangles];
        Encoding.ASCII.GetBytes(header).CopyTo(b, 0);
        BinaryPrimitives.WriteUInt32LittleEndian(b.AsSpan(80), count);
        for (var t = 0; t < triangles; t++)
            for (var i = 0; i < 9; i++) BinaryPrimitives.WriteSingleLittleEndian(b.AsSpan(84 + 50 * t + 12 + 4 * i), corners[9 * t + i]);
        return b;
    }

    /// <summary>A culture that writes 1,5 and -1 as most of the Continent does, made here because tests run without culture data.</summary>
    public static CultureInfo CommaCulture()
    {
        var c = (CultureInfo)CultureInfo.InvariantCulture.Clone();
        c.NumberFormat.NumberDecimalSeparator = ",";
        c.NumberFormat.NumberGroupSeparator = ".";
        c.NumberFormat.NegativeSign = "\u2212";
        return c;
    }

    /// <summary>The corner of a cube: right tetrahedron with legs of 1, volume 1/6.</summary>
    public static readonly float[] Tetrahedron =
    [
        0, 0, 0, 0, 1, 0, 1, 0, 0,
        0, 0, 0, 1, 0, 0, 0, 0, 1,
        0, 0, 0, 0, 0, 1, 0, 1, 0,
        1, 0, 0, 0, 1, 0, 0, 0, 1,
    ];

    public static double Volume(MeshFile m) => m.ToMesh(Affine.Identity, Lattice.For(Math.Max(m.Bounds.Max.Length, m.Bounds.Min.Length) + 1)).SignedVolumeMm3();
}
