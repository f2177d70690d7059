using System.Buffers.Binary;
using System.Text;
using Stiltwright.Geometry.Files;
using static Stiltwright.Geometry.Tests.FilesBench;

namespace Stiltwright.Geometry.Tests;

/// <summary>OBJ and PLY. Sample counts and volumes: tests/Samples/LICENCES.md (another program).</summary>
public sealed class FilesOtherTests : IDisposable
{
    private readonly FilesBench _bench = new();

    public void Dispose() => _bench.Dispose();

    [Theory]
    [InlineData("fish-quads.obj", 220, 112, 1.33907)]
    [InlineData("siamese-cat-open.obj", 1896, 953, 9483)]
    [InlineData("fuze-colour.ply", 1000, 502, 0.000606689)]
    public void Sample_files_have_the_triangles_points_and_volume_that_another_program_measured(string name, int triangles, int points, double volume)
    {
        var m = Read(Sample(name));
        Assert.Equal((triangles, points), (m.TrianglesInFile, m.Points.Length / 3));
        // Small figures in metres: enlarged a thousandfold, so that the lattice does not round them away.
        var k = m.Bounds.Size.Length < 10 ? 16 : 1;
        Assert.Equal(volume, m.ToMesh(Affine.Scaling(k), Lattice.For(k * (m.Bounds.Max.Length + m.Bounds.Min.Length))).SignedVolumeMm3() / (k * k * k), volume * 1e-4);
    }

    [Fact]
    public void An_obj_cube_of_quads_counts_back_carries_on_and_names_its_groups()
    {
        var m = Read(_bench.Put("cube.obj",
            "\uFEFF# a cube\no shell\nv 0 0 0\nv 2 0 0\nv 2 2 0\nv 0 2 0\nv 0 0 2 1.0\nv 2 0 2\nv 2 2 2\nv 0 2 2\nvt 0 0\nvn 0 0 1\n" +
            "g bottom\nf 4/1 3/1 \\\n2/1/1 1//1\ng top\nf -4 -3 -2 -1\ng sides\nf 1 2 6 5 # front\nf 2 3 7 6\nf 3 4 8 7\nf 4 1 5 8\nl 1 2\n"));
        Assert.Equal(12, m.TriangleCount);
        Assert.Equal(8, Volume(m), 9);
        Assert.Equal(["shell", "bottom", "top", "sides"], m.ObjectNames);
        Assert.Equal(2, m.ObjectOfTriangle.Count(o => o == 1));
        Assert.Contains(m.Remarks, r => r is { Kind: "polygons-split", Count: 6 });
        Assert.Contains(m.Remarks, r => r is { Kind: "no-triangles", Count: 1 });
    }

    [Theory]
    [InlineData("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", "line 4", "vertex 9")]
    [InlineData("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 -4\n", "line 4", "vertex -4")]
    [InlineData("v 0 0 0\nv 1 0\nv 0 1 0\n", "line 2", "only 2 coordinates")]
    [InlineData("v 0 0 0\nv 1 0 zero\n", "line 2", "zero")]
    [InlineData("v 0 0 0\nv 1 inf 0\nv 1 Infinity 0", "line 2", "inf")]
    [InlineData("v 0 0 0\nwings 3\n", "line 2", "wings")]
    [InlineData("v 0 0 0\nv 1 0 0\nf 1 2\n", "line 3", "only 2 corners")]
    [InlineData("v 0 0 0\nv 1 0 0\nv 1 1 0\n", "no triangles", "Export")]
    public void A_damaged_obj_is_refused_with_its_line(string text, string place, string what)
    {
        var s = Refusal(_bench.Put("bad.obj", text));
        Assert.Contains(place, s);
        Assert.Contains(what, s);
    }

    private const string TextPly =
        "ply\nformat ascii 1.0\ncomment corner of a cube\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\nproperty uchar red\n" +
        "element face 4\nproperty list uchar int vertex_indices\nproperty list uchar float texcoord\nend_header\n" +
        "0 0 0 9\n1 0 0 9\n0 1 0 9\n0 0 1 9\n3 0 2 1 2 0 0\n3 0 1 3 0\n3 0 3 2 0\n3 1 2 3 1 5\n";

    [Fact]
    public void Ply_of_all_three_codings_is_the_same_mesh()
    {
        var text = Read(_bench.Put("t.ply", TextPly));
        Assert.Equal("PLY, text", text.Format);
        Assert.Equal(1.0 / 6, Volume(text), 9);
        foreach (var big in new[] { false, true })
        {
            var m = Read(_bench.Put("b.ply", BinaryPly(big)));
            Assert.Equal("PLY, binary", m.Format);
            Assert.Equal(text.Points, m.Points);
            Assert.Equal(text.Corners, m.Corners);
        }
    }

    /// <summary>The same corner of a cube with an element and properties that are of no interest before, between and behind.</summary>
    private static byte[] BinaryPly(bool big)
    {
        var s = new MemoryStream();
        s.Write(Encoding.ASCII.GetBytes($"ply\r\nformat binary_{(big ? "big" : "little")}_endian 1.0\r\nelement material 2\r\nproperty list ushort double gloss\r\nproperty short n\r\n" +
            "element vertex 4\r\nproperty int8 flag\r\nproperty double x\r\nproperty float32 y\r\nproperty short z\r\nelement face 4\r\nproperty float quality\r\nproperty list int8 uint32 vertex_index\r\nproperty uint16 end\r\nend_header\r\n"));
        void Number<T>(T v, Action<Span<byte>, T> little, Action<Span<byte>, T> bigEndian, int size)
        {
            var b = new byte[size];
            (big ? bigEndian : little)(b, v);
            s.Write(b);
        }
        void Short(short v) => Number(v, (b, x) => BinaryPrimitives.WriteInt16LittleEndian(b, x), (b, x) => BinaryPrimitives.WriteInt16BigEndian(b, x), 2);
        void Int(int v) => Number(v, (b, x) => BinaryPrimitives.WriteInt32LittleEndian(b, x), (b, x) => BinaryPrimitives.WriteInt32BigEndian(b, x), 4);
        void Float(float v) => Number(v, (b, x) => BinaryPrimitives.WriteSingleLittleEndian(b, x), (b, x) => BinaryPrimitives.WriteSingleBigEndian(b, x), 4);
        void Double(double v) => Number(v, (b, x) => BinaryPrimitives.WriteDoubleLittleEndian(b, x), (b, x) => BinaryPrimitives.WriteDoubleBigEndian(b, x), 8);
        for (var i = 0; i < 2; i++) { Short(2); Double(1.5); Double(2.5); Short(-7); }
        foreach (var (x, y, z) in new[] { (0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1) }) { s.WriteByte(0xff); Double(x); Float(y); Short((short)z); }
        foreach (var f in new[] { new[] { 0, 2, 1 }, [0, 1, 3], [0, 3, 2], [1, 2, 3] })
        {
            Float(1);
            s.WriteByte(3);
            foreach (var v in f) Int(v);
            Short(9);
        }
        return s.ToArray();
    }

    [Fact]
    public void A_damaged_ply_is_refused_with_its_place()
    {
        Assert.Contains("vertex 7", Refusal(_bench.Put("a.ply", TextPly.Replace("3 0 1 3 0", "3 0 1 7 0"))));
        Assert.Contains("line 18", Refusal(_bench.Put("a.ply", TextPly.Replace("3 0 1 3 0", "3 0 1 7 0"))));
        Assert.Contains("face 3: the file ends here", Refusal(_bench.Put("b.ply", TextPly[..^8])));
        Assert.Contains("no \"end_header\"", Refusal(_bench.Put("c.ply", TextPly[..90])));
        Assert.Contains("no property \"z\"", Refusal(_bench.Put("d.ply", TextPly.Replace("property float z", "property float w"))));
        Assert.Contains("only points", Refusal(_bench.Put("e.ply", "ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nend_header\n0\n")));
        var binary = BinaryPly(false);
        Assert.Contains($"byte {binary.Length - 2:N0}", Refusal(_bench.Put("f.ply", binary[..^1])));
        // A header that promises a thousand million vertices must not make us set them aside.
        Assert.Contains("more than its", Refusal(_bench.Put("g.ply", TextPly.Replace("vertex 4", "vertex 1000000000"))));
    }
}
