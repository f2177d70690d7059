using System.Globalization;
using System.Text;
using CsCheck;
using Stiltwright.Geometry.Files;
using static Stiltwright.Geometry.Tests.FilesBench;

namespace Stiltwright.Geometry.Tests;

/// <summary>STL of both kinds, whole and broken. Sample counts and volumes: tests/Samples/LICENCES.md (another program).</summary>
public sealed class FilesStlTests : IDisposable
{
    private readonly FilesBench _bench = new();

    public void Dispose() => _bench.Dispose();

    [Fact]
    public void A_binary_file_whose_header_begins_with_solid_is_read_as_binary()
    {
        var m = Read(_bench.Put("a.stl", BinaryStl("solid anemone", 4, Tetrahedron)));
        Assert.Equal("STL, binary", m.Format);
        Assert.Equal((4, 4, 4), (m.TrianglesInFile, m.TriangleCount, m.Points.Length / 3));
        Assert.Equal(1.0 / 6, Volume(m), 9);
        Assert.Equal(1572, Read(Sample("riser-solid-header-open.stl")).TriangleCount);
    }

    [Fact]
    public void The_end_of_the_name_does_not_decide_what_a_file_is()
    {
        Assert.Equal("STL, binary", Read(_bench.Put("b.obj", BinaryStl("", 4, Tetrahedron))).Format);
        Assert.Equal("OBJ", Read(_bench.Put("c.stl", "# cube corner\nv 0 0 0\nv 1 0 0\nv 0 1 0\nv 0 0 1\nf 1 3 2\nf 1 2 4\nf 1 4 3\nf 2 3 4\n")).Format);
        Assert.Equal("3MF", Read(_bench.Put("d.stl", File.ReadAllBytes(Sample("mustpass-components.3mf")))).Format);
    }

    [Theory]
    [InlineData("gearwheel-binary.stl", 2444, 1222, 8922.64)]
    [InlineData("cube-colour-header.stl", 260, 132, 7938.68)]
    [InlineData("spearman-faulty.stl", 5924, 2957, 3919.16)]
    [InlineData("broken-missingendsolid-ascii.stl", 4, 4, 0.166667)]
    [InlineData("broken-notanumbernormal-ascii.stl", 4, 4, 0.166667)]
    public void Sample_files_have_the_triangles_points_and_volume_that_another_program_measured(string name, int triangles, int points, double volume)
    {
        var m = Read(Sample(name));
        Assert.Equal((triangles, points), (m.TrianglesInFile, m.Points.Length / 3));
        Assert.Equal(volume, Volume(m), volume * 1e-5);
    }

    [Fact]
    public void Colours_facets_of_four_corners_and_missing_ends_are_told()
    {
        Assert.Contains(Read(Sample("cube-colour-header.stl")).Remarks, r => r is { Kind: "attribute-bytes", Count: 260 });
        Assert.Contains(Read(Sample("broken-missingendsolid-ascii.stl")).Remarks, r => r.Kind == "missing-endsolid");
        var quad = Read(Sample("broken-quad-ascii.stl"));
        Assert.Contains(quad.Remarks, r => r is { Kind: "polygons-split", Count: 1 });
        Assert.Equal(5, quad.TrianglesInFile);
        Assert.Equal(1.0 / 6, Volume(quad), 6);
        Assert.Equal(["bodyB", "bodyA"], Read(Sample("two-solids-text.stl")).ObjectNames);
    }

    [Fact]
    public void A_count_that_does_not_fit_the_bytes_is_refused_with_both_numbers()
    {
        var s = Refusal(Sample("broken-incorrectfacecounter-bin.stl"));
        Assert.Contains("66", s);
        Assert.Contains("hold 4", s);
        s = Refusal(_bench.Put("few.stl", BinaryStl("few", 2, Tetrahedron)));
        Assert.Contains("counts 2", s);
        Assert.Contains("hold 4", s);
        s = Refusal(_bench.Put("zero.stl", BinaryStl("none", 0)));
        Assert.Contains("no triangles", s);
    }

    [Fact]
    public void A_file_cut_off_is_refused_with_the_byte()
    {
        var whole = BinaryStl("cut", 4, Tetrahedron);
        var s = Refusal(_bench.Put("cut.stl", whole[..200]));
        Assert.Contains("ends at byte 200", s);
        Assert.Contains("inside triangle 3", s);
        Assert.Contains("only 60 bytes", Refusal(_bench.Put("stub.stl", whole[..60])));
        Assert.Contains("0 bytes", Refusal(_bench.Put("empty.stl", [])));
        var text = "solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0";
        Assert.Contains("cut off at byte 61", Refusal(_bench.Put("text.stl", text)));
    }

    [Fact]
    public void Bytes_behind_the_last_triangle_are_told_and_do_no_harm()
    {
        var m = Read(_bench.Put("tail.stl", [.. BinaryStl("tail", 4, Tetrahedron), .. Encoding.ASCII.GetBytes("notes of another program")]));
        Assert.Contains(m.Remarks, r => r is { Kind: "trailing-bytes", Count: 24 });
        Assert.Equal(4, m.TriangleCount);
        Assert.Equal(4, Read(_bench.Put("padded.stl", [.. BinaryStl("tail", 4, Tetrahedron), .. new byte[100]])).TriangleCount);
    }

    [Theory]
    [InlineData(float.NaN, "no number")]
    [InlineData(float.PositiveInfinity, "infinite")]
    [InlineData(float.NegativeInfinity, "infinite")]
    public void A_coordinate_that_is_no_number_is_refused_with_its_triangle(float bad, string word)
    {
        var corners = (float[])Tetrahedron.Clone();
        corners[22] = bad;
        var s = Refusal(_bench.Put("nan.stl", BinaryStl("nan", 4, corners)));
        Assert.Contains("triangle 3", s);
        Assert.Contains(word, s);
        s = Refusal(_bench.Put("nan-text.stl", "solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 nan 0\nvertex 0 1 0\nendloop\nendfacet\nendsolid"));
        Assert.Contains("line 5", s);
        Assert.Contains("triangle 1", s);
    }

    [Fact]
    public void Large_numbers_whose_sum_overflows_are_no_infinity()
    {
        var corners = (float[])Tetrahedron.Clone();
        corners[0] = corners[3] = 3e38f;
        Assert.Equal(4, Read(_bench.Put("large.stl", BinaryStl("large", 4, corners))).TrianglesInFile);
    }

    [Fact]
    public void Triangles_without_area_are_dropped_and_told_and_nothing_else_is_refused()
    {
        var m = Read(_bench.Put("null.stl", BinaryStl("null", 5, [.. Tetrahedron, 0, 0, 0, 0, 0, 0, 1, 0, 0])));
        Assert.Equal((5, 4), (m.TrianglesInFile, m.TriangleCount));
        Assert.Contains(m.Remarks, r => r is { Kind: "null-triangles", Count: 1 });
        Assert.Contains("none of its 1 triangles has an area", Refusal(_bench.Put("all.stl", BinaryStl("", 1, 0, 0, 0, 0, 0, 0, 1, 0, 0))));
    }

    [Fact]
    public void Text_that_is_no_mesh_and_names_from_everywhere_get_a_sentence()
    {
        var s = Refusal(_bench.Put("shopping list.stl", "two litres of resin\nnitrile gloves\n"));
        Assert.Contains("is text, but not a text STL", s);
        Assert.Contains("two litres of resin", s);
        Assert.StartsWith("'Krabbe' <b> カニ.stl", Refusal(_bench.Put("'Krabbe' <b> カニ.stl", [])));
        Assert.Contains("is not there any more", Refusal(Path.Combine(Path.GetTempPath(), "no such file of ours.stl")));
        Assert.Contains("line 2", Refusal(_bench.Put("bad.stl", "solid a\nfazet normal 0 0 1\n")));
        Assert.Contains("decimals need a point", Refusal(_bench.Put("comma.stl", "solid a\nfacet normal 0 0 1\nouter loop\nvertex 0,5 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\nendsolid")));
    }

    [Fact]
    public void More_than_the_limits_is_refused()
    {
        var path = _bench.Put("big.stl", BinaryStl("big", 4, Tetrahedron));
        Assert.Contains("limit of 3", Refusal(path, new ReadLimits { MaxTriangles = 3 }));
        Assert.Contains("limit of 100", Refusal(path, new ReadLimits { MaxBytes = 100 }));
        Assert.Throws<OperationCanceledException>(() => MeshReader.Read(path, ReadLimits.Default, new CancellationToken(true)));
    }

    [Fact]
    public void Equal_points_are_one_point_in_order_of_first_use_and_minus_zero_is_zero()
    {
        var corners = (float[])Tetrahedron.Clone();
        for (var i = 0; i < corners.Length; i += 2) if (corners[i] == 0) corners[i] = -0f;
        var m = Read(_bench.Put("zero.stl", BinaryStl("", 4, corners)));
        Assert.Equal([0, 1, 2, 0, 2, 3, 0, 3, 1, 2, 1, 3], m.Corners);
        Assert.DoesNotContain(m.Points, p => double.IsNegative(p));
    }

    [Fact]
    public void What_is_written_is_read_back_bit_for_bit()
    {
        // The same bytes come out again after a second round: write(read(f)) = f, on random lattice points.
        Gen.Int[-Lattice.MaxUnits, Lattice.MaxUnits].Array[9, 90].Select(a => a[..(a.Length / 9 * 9)]).Sample(xyz =>
        {
            var corners = Enumerable.Range(0, xyz.Length / 3).ToArray();
            var mesh = new Mesh(new Lattice(16), xyz, corners);
            using var first = new MemoryStream();
            StlWriter.Write(first, mesh, "round trip");
            var path = _bench.Put("round.stl", first.ToArray());
            var back = Read(path).ToMesh(Affine.Identity, new Lattice(16));
            Assert.Equal(corners.SelectMany(v => xyz.AsSpan(3 * v, 3).ToArray()), back.CornersArray.SelectMany(v => back.Xyz.Slice(3 * v, 3).ToArray()));
            using var second = new MemoryStream();
            StlWriter.Write(second, back, "round trip");
            Assert.Equal(first.ToArray(), second.ToArray());
        }, iter: 50, threads: 1);
    }

    [Fact]
    public void A_written_header_never_begins_with_solid_and_normals_have_length_one()
    {
        var l = new Lattice(16);
        using var s = new MemoryStream();
        StlWriter.Write(s, SpatialShapes.Sphere(new(1, 2, 3), 5, 2), "Solid crab, 200 %");
        var b = s.ToArray();
        Assert.Equal(84 + 50 * 128, b.Length);
        Assert.DoesNotContain("solid", Encoding.ASCII.GetString(b, 0, 5), StringComparison.OrdinalIgnoreCase);
        Assert.Contains("crab, 200 %", Encoding.ASCII.GetString(b, 0, 80));
        for (var t = 0; t < 128; t++)
        {
            double x = BitConverter.ToSingle(b, 84 + 50 * t), y = BitConverter.ToSingle(b, 88 + 50 * t), z = BitConverter.ToSingle(b, 92 + 50 * t);
            Assert.Equal(1, x * x + y * y + z * z, 5);
            // Outwards: along the corner seen from the centre.
            double cx = BitConverter.ToSingle(b, 96 + 50 * t) - 1, cy = BitConverter.ToSingle(b, 100 + 50 * t) - 2, cz = BitConverter.ToSingle(b, 104 + 50 * t) - 3;
            Assert.True(x * cx + y * cy + z * cz > 0);
        }
        Assert.Throws<ArgumentException>(() => StlWriter.Write(Stream.Null, new Mesh(l, [Lattice.MaxUnits + 1, 0, 0, 0, 1, 0, 0, 0, 1], [0, 1, 2]), ""));
    }

    [Fact]
    public void Numbers_of_a_text_file_are_rounded_as_the_framework_rounds_them_in_any_culture()
    {
        // Against double.Parse, which is correctly rounded (IEEE 754-2019, 5.12).
        var before = CultureInfo.CurrentCulture;
        try
        {
            CultureInfo.CurrentCulture = FilesBench.CommaCulture();
            var digits = Gen.Select(Gen.Long[-999999999999, 999999999999], Gen.Int[0, 25], Gen.Int[-30, 30], (n, point, e) =>
            {
                var s = Math.Abs(n).ToString(CultureInfo.InvariantCulture).PadLeft(point + 1, '0');
                return $"{(n < 0 ? "-" : "")}{s[..^point]}{(point > 0 ? "." + s[^point..] : "")}{(e % 3 == 0 ? "" : "e" + e.ToString(CultureInfo.InvariantCulture))}";
            });
            digits.Sample(s =>
            {
                Assert.True(TextScannerProbe(s, out var d));
                return d == double.Parse(s, NumberStyles.Float, CultureInfo.InvariantCulture);
            }, iter: 20_000);
        }
        finally { CultureInfo.CurrentCulture = before; }

        static bool TextScannerProbe(string s, out double d) => TextScanner.TryNumber(Encoding.ASCII.GetBytes(s), out d);
    }

    [Theory]
    [InlineData("\n")]
    [InlineData("\r\n")]
    [InlineData("\r")]
    public void Lines_are_counted_whatever_ends_them(string end)
    {
        var text = string.Join(end, "solid reef wall", "facet normal 0 0 1", "outer loop", "vertex 0 0 0", "vertex 1 0 0", "vertex x 1 0", "endloop");
        Assert.Contains("line 6", Refusal(_bench.Put("lines.stl", text)));
    }
}
