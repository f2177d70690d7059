using System.Globalization;
using System.IO.Compression;
using System.Text;
using System.Xml.Linq;
using Stiltwright.Geometry.Files;
using static Stiltwright.Geometry.Tests.FilesBench;

namespace Stiltwright.Geometry.Tests;

/// <summary>3MF, read and written. Rules: 3MF core specification 1.3 (3mf.io), section named beside each check.</summary>
public sealed class FilesThreeMfTests : IDisposable
{
    private const string Core = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02";
    private static readonly XNamespace Ns = Core;
    private readonly FilesBench _bench = new();

    public void Dispose() => _bench.Dispose();

    private const string CornerMesh =
        "<mesh><vertices><vertex x=\"0\" y=\"0\" z=\"0\"/><vertex x=\"1\" y=\"0\" z=\"0\"/><vertex x=\"0\" y=\"1\" z=\"0\"/><vertex x=\"0\" y=\"0\" z=\"1\"/></vertices>" +
        "<triangles><triangle v1=\"0\" v2=\"2\" v3=\"1\"/><triangle v1=\"0\" v2=\"1\" v3=\"3\"/><triangle v1=\"0\" v2=\"3\" v3=\"2\"/><triangle v1=\"1\" v2=\"2\" v3=\"3\"/></triangles></mesh>";

    private string Package(string model, string name = "p.3mf", Action<ZipArchive>? more = null)
    {
        var s = new MemoryStream();
        using (var zip = new ZipArchive(s, ZipArchiveMode.Create, true))
        {
            Entry(zip, "_rels/.rels", "<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\"><Relationship Id=\"r\" Type=\"http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel\" Target=\"/3D/m.model\"/></Relationships>");
            Entry(zip, "3D/m.model", model);
            more?.Invoke(zip);
        }
        return _bench.Put(name, s.ToArray());
    }

    private static void Entry(ZipArchive zip, string name, string text)
    {
        using var e = zip.CreateEntry(name).Open();
        e.Write(Encoding.UTF8.GetBytes(text));
    }

    private static string Model(string resources, string build, string attributes = "unit=\"millimeter\"") =>
        $"<model {attributes} xmlns=\"{Core}\"><resources>{resources}</resources><build>{build}</build></model>";

    [Fact]
    public void The_official_must_pass_sample_with_components_places_both()
    {
        // MUSTPASS_Chapter4.2_Components: one mesh of 3,360 mm3, placed twice through transforms of determinant 25/12.
        var m = Read(Sample("mustpass-components.3mf"));
        Assert.Equal(60, m.TriangleCount);
        Assert.Equal(2 * 3360 * (1.666667 * 1.25), Volume(m), 0.01);
        Assert.Equal(2, m.ObjectNames.Count);
    }

    [Fact]
    public void The_official_must_fail_sample_and_broken_xml_are_refused_with_line()
    {
        var s = Refusal(Sample("mustfail-no-resources.3mf"));
        Assert.Contains("<resources>", s);
        s = Refusal(Sample("bad-namespace.3mf"));
        Assert.Contains("line 62", s);
        Assert.Contains("'ms'", s);
    }

    [Fact]
    public void Supports_of_their_own_are_taken_and_told()
    {
        var m = Read(Sample("explicit-support-object.3mf"));
        Assert.Equal(484, m.TriangleCount);
        Assert.Equal(["model", "support"], m.ObjectTypes);
        Assert.Contains(m.Remarks, r => r.Kind == "support-objects");
    }

    [Theory]
    [InlineData("micron", 0.001)]
    [InlineData("millimeter", 1)]
    [InlineData("centimeter", 10)]
    [InlineData("inch", 25.4)]
    [InlineData("foot", 304.8)]
    [InlineData("meter", 1000)]
    public void Units_become_millimetres(string unit, double mm)
    {
        // 3.4, table of units.
        var m = Read(Package(Model($"<object id=\"1\">{CornerMesh}</object>", "<item objectid=\"1\" transform=\"1 0 0 0 1 0 0 0 1 2 0 0\"/>", $"unit=\"{unit}\"")));
        Assert.Equal(2 * mm, m.Bounds.Min.X, 9);
        Assert.Equal(mm, m.Bounds.Size.Z, 9);
    }

    [Fact]
    public void A_transform_turns_rows_and_a_mirror_keeps_the_volume_positive()
    {
        // 3.3: p' = p M; a negative determinant must not change the sign of the volume.
        var turned = Read(Package(Model($"<object id=\"1\" name=\"fin\">{CornerMesh}</object>", "<item objectid=\"1\" transform=\"0 2 0 -1 0 0 0 0 1 0 0 5\"/>")));
        Assert.Equal((-1.0, 2.0, 5.0), (turned.Bounds.Min.X, turned.Bounds.Max.Y, turned.Bounds.Min.Z));
        Assert.Equal(2.0 / 6, Volume(turned), 6);
        var mirrored = Read(Package(Model($"<object id=\"1\">{CornerMesh}</object>", "<item objectid=\"1\" transform=\"-1 0 0 0 1 0 0 0 1 0 0 0\"/>")));
        Assert.Equal(1.0 / 6, Volume(mirrored), 6);
        Assert.Equal("fin", turned.ObjectNames[0]);
    }

    [Fact]
    public void Objects_that_touch_do_not_share_points()
    {
        var m = Read(Package(Model($"<object id=\"1\">{CornerMesh}</object>", "<item objectid=\"1\"/><item objectid=\"1\" transform=\"-1 0 0 0 1 0 0 0 1 0 0 0\"/>")));
        Assert.Equal(8, m.Points.Length / 3);
        Assert.Equal(2, ShellFinder.Find(m.ToMesh(Affine.Identity, new Lattice(16))).Shells.Count);
    }

    [Theory]
    [InlineData("<object id=\"1\">M</object>", "<item objectid=\"2\"/>", "", "object 2, which is not defined")] // 3.4
    [InlineData("<object id=\"1\">M</object><object id=\"1\">M</object>", "<item objectid=\"1\"/>", "", "the id 1")] // 3.4.2
    [InlineData("<object id=\"1\"><components><component objectid=\"1\"/></components></object>", "<item objectid=\"1\"/>", "", "itself")]
    [InlineData("<object id=\"1\" type=\"other\">M</object>", "<item objectid=\"1\"/>", "", "\"other\"")] // 3.4.3.1
    [InlineData("<object id=\"1\">M</object>", "", "", "empty build")]
    [InlineData("<object id=\"1\">M</object>", "<item objectid=\"1\" transform=\"1 0 0\"/>", "", "3 numbers instead of 12")]
    [InlineData("<object id=\"1\">M</object>", "<item objectid=\"1\" transform=\"1 0 0 0 1 0 0 0 0 0 0 0\"/>", "", "flat")]
    [InlineData("<object id=\"1\">M</object>", "<item objectid=\"1\"/>", "unit=\"cubit\"", "\"cubit\"")]
    [InlineData("<object id=\"1\">M</object>", "<item objectid=\"1\"/>", "requiredextensions=\"z\" xmlns:z=\"urn:knots\"", "urn:knots")] // 2.3.1
    [InlineData("<object id=\"1\"><mesh><vertices><vertex x=\"a\" y=\"0\" z=\"0\"/></vertices></mesh></object>", "<item objectid=\"1\"/>", "", "\"a\" is no number")]
    [InlineData("<object id=\"1\"><mesh><vertices><vertex x=\"0\" y=\"0\" z=\"0\"/></vertices><triangles><triangle v1=\"0\" v2=\"1\" v3=\"2\"/></triangles></mesh></object>", "<item objectid=\"1\"/>", "", "vertices 0 to 0")]
    public void What_the_specification_forbids_is_refused(string resources, string build, string attributes, string what) =>
        Assert.Contains(what, Refusal(Package(Model(resources.Replace("M", CornerMesh), build, attributes))));

    [Fact]
    public void Hostile_packages_are_refused_before_they_cost_anything()
    {
        // 2.3.2: no DTD.
        var s = Refusal(Package("<!DOCTYPE m [<!ENTITY a \"aaaa\">]><model xmlns=\"" + Core + "\">&a;</model>"));
        Assert.Contains("DTD", s);
        Assert.Contains("unpacks to more than 100,000 bytes", Refusal(Package(Model($"<object id=\"1\">{CornerMesh}</object>{new string(' ', 200_000)}", "<item objectid=\"1\"/>")), new ReadLimits { MaxUnzippedBytes = 100_000 }));
        Assert.Contains("entries", Refusal(Package(Model("", ""), more: z => { for (var i = 0; i < 10; i++) Entry(z, $"n{i}", "x"); }), new ReadLimits { MaxPackageEntries = 5 }));
        // Components that double twenty times over: a million corners of cubes from a few hundred bytes.
        var b = new StringBuilder($"<object id=\"1\">{CornerMesh}</object>");
        for (var i = 2; i < 28; i++) b.Append($"<object id=\"{i}\"><components><component objectid=\"{i - 1}\"/><component objectid=\"{i - 1}\"/></components></object>");
        Assert.Contains("more than the limit", Refusal(Package(Model(b.ToString(), "<item objectid=\"27\"/>")), new ReadLimits { MaxTriangles = 1_000_000 }));
        Assert.Contains("nested deeper", Refusal(Package("<model xmlns=\"" + Core + "\">" + string.Concat(Enumerable.Repeat("<a>", 100)) + string.Concat(Enumerable.Repeat("</a>", 100)) + "</model>")));
        Assert.Contains("_rels/.rels", Refusal(_bench.Put("plain.3mf", Zip(z => Entry(z, "readme.txt", "hello")))));
        Assert.Contains("damaged zip", Refusal(_bench.Put("half.3mf", File.ReadAllBytes(Sample("mustpass-components.3mf"))[..900])));
    }

    private static byte[] Zip(Action<ZipArchive> fill)
    {
        var s = new MemoryStream();
        using (var zip = new ZipArchive(s, ZipArchiveMode.Create, true)) fill(zip);
        return s.ToArray();
    }

    [Fact]
    public void Beams_without_triangles_are_told_not_lost()
    {
        const string beams = "http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02";
        var lattice = CornerMesh.Replace("</mesh>", "<b:beamlattice radius=\"1\" minlength=\"0.1\"><b:beams><b:beam v1=\"0\" v2=\"1\"/><b:beam v1=\"1\" v2=\"2\"/></b:beams></b:beamlattice></mesh>");
        var m = Read(Package(Model($"<object id=\"1\">{lattice}</object>", "<item objectid=\"1\"/><item objectid=\"1\"/>", $"xmlns:b=\"{beams}\" requiredextensions=\"b\"")));
        Assert.Contains(m.Remarks, r => r is { Kind: "beam-lattice", Count: 4 });
    }

    [Fact]
    public void Parts_of_the_production_extension_are_followed()
    {
        const string production = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06";
        var m = Read(Package(Model("<object id=\"5\"><components><component objectid=\"1\" p:path=\"/3D/far.model\" transform=\"1 0 0 0 1 0 0 0 1 1 0 0\"/></components></object>", "<item objectid=\"5\"/>", $"unit=\"centimeter\" xmlns:p=\"{production}\" requiredextensions=\"p\""),
            more: z => Entry(z, "3D/far.model", Model($"<object id=\"1\">{CornerMesh}</object>", "", "unit=\"centimeter\""))));
        Assert.Equal(4, m.TriangleCount);
        Assert.Equal((10.0, 20.0), (m.Bounds.Min.X, m.Bounds.Max.X));
    }

    private static byte[] Written(out Mesh figure)
    {
        figure = SpatialShapes.Sphere(new(3.25, -1.5, 20), 9.7, 3);
        var raft = SpatialShapes.Box(new(-20, -20, 0), new(20, 20, 1.5));
        using var s = new MemoryStream();
        ThreeMfWriter.Write(s, [new("figure", figure, Affine.Identity), new("raft \"<1>\" & Co", raft, Affine.Turn(Vec3.Up, 0.3).Then(Affine.Translation(new(0.1, 50, 0))))]);
        return s.ToArray();
    }

    [Fact]
    public void A_written_package_keeps_the_rules_of_the_core_specification()
    {
        using var zip = new ZipArchive(new MemoryStream(Written(out _)));
        XElement Xml(string name)
        {
            using var s = zip.GetEntry(name)!.Open();
            return XDocument.Load(s).Root!;
        }
        // 2.1, 2.2 and OPC: content types first-class, one relationship of the 3D model type, its target present.
        XNamespace types = "http://schemas.openxmlformats.org/package/2006/content-types", rels = "http://schemas.openxmlformats.org/package/2006/relationships";
        var defaults = Xml("[Content_Types].xml").Elements(types + "Default").ToDictionary(e => (string)e.Attribute("Extension")!, e => (string)e.Attribute("ContentType")!);
        Assert.Equal("application/vnd.openxmlformats-package.relationships+xml", defaults["rels"]);
        Assert.Equal("application/vnd.ms-package.3dmanufacturing-3dmodel+xml", defaults["model"]);
        var rel = Assert.Single(Xml("_rels/.rels").Elements(rels + "Relationship"));
        Assert.Equal("http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel", (string)rel.Attribute("Type")!);
        var target = (string)rel.Attribute("Target")!;
        Assert.StartsWith("/3D/", target);
        var model = Xml(target.TrimStart('/'));

        // 3.4: root, unit, metadata of known names once each, then resources, then build.
        Assert.Equal(Ns + "model", model.Name);
        Assert.Equal("millimeter", (string)model.Attribute("unit")!);
        Assert.Equal(["metadata", "resources", "build"], model.Elements().Select(e => e.Name.LocalName));
        Assert.All(model.Descendants(), e => Assert.Equal(Core, e.Name.NamespaceName));
        string[] known = ["Title", "Designer", "Description", "Copyright", "LicenseTerms", "Rating", "CreationDate", "ModificationDate", "Application"];
        Assert.All(model.Elements(Ns + "metadata"), e => Assert.Contains((string)e.Attribute("name")!, known));

        // 3.4.2, 3.4.3: ids unique and positive, items name objects defined before.
        var objects = model.Element(Ns + "resources")!.Elements(Ns + "object").ToList();
        Assert.Equal(["figure", "raft \"<1>\" & Co"], objects.Select(o => (string)o.Attribute("name")!));
        Assert.All(objects, o => Assert.Equal("model", (string)o.Attribute("type")!));
        var ids = objects.ConvertAll(o => int.Parse((string)o.Attribute("id")!, CultureInfo.InvariantCulture));
        Assert.Equal(ids.Count, ids.Distinct().Count());
        Assert.All(ids, id => Assert.InRange(id, 1, int.MaxValue - 1));
        var items = model.Element(Ns + "build")!.Elements(Ns + "item").ToList();
        Assert.Equal(ids, items.ConvertAll(i => int.Parse((string)i.Attribute("objectid")!, CultureInfo.InvariantCulture)));
        Assert.Null(items[0].Attribute("transform"));
        Assert.Equal(12, ((string)items[1].Attribute("transform")!).Split(' ').Length);

        foreach (var o in objects)
        {
            var mesh = o.Element(Ns + "mesh")!;
            var vertices = mesh.Element(Ns + "vertices")!.Elements(Ns + "vertex").ToList();
            var triangles = mesh.Element(Ns + "triangles")!.Elements(Ns + "triangle").Select(t => new[] { (int)t.Attribute("v1")!, (int)t.Attribute("v2")!, (int)t.Attribute("v3")! }).ToList();
            Assert.True(triangles.Count >= 4); // 4.1.4
            // 4.1: every edge has exactly one other triangle, which runs along it the other way; 4.1.4.1: indices distinct.
            var edges = new HashSet<(int, int)>();
            foreach (var t in triangles)
            {
                Assert.Equal(3, t.Distinct().Count());
                Assert.All(t, v => Assert.InRange(v, 0, vertices.Count - 1));
                for (var k = 0; k < 3; k++) Assert.True(edges.Add((t[k], t[(k + 1) % 3])));
            }
            Assert.All(edges, e => Assert.Contains((e.Item2, e.Item1), edges));
            // ST_Number and outward-facing normals: positive volume.
            var p = vertices.ConvertAll(v => new Vec3(Number(v, "x"), Number(v, "y"), Number(v, "z")));
            Assert.True(triangles.Sum(t => p[t[0]].Dot(p[t[1]].Cross(p[t[2]]))) > 0);
        }

        static double Number(XElement v, string name)
        {
            var s = (string)v.Attribute(name)!;
            Assert.Matches(@"^(\-|\+)?(([0-9]+(\.[0-9]+)?)|(\.[0-9]+))((e|E)(\-|\+)?[0-9]+)?$", s); // appendix B.1
            return double.Parse(s, CultureInfo.InvariantCulture);
        }
    }

    [Fact]
    public void A_written_package_reads_back_as_the_same_mesh_in_any_culture_and_twice_the_same_bytes()
    {
        var before = CultureInfo.CurrentCulture;
        try
        {
            CultureInfo.CurrentCulture = CommaCulture();
            var bytes = Written(out var figure);
            Assert.Equal(bytes, Written(out _));
            var m = Read(_bench.Put("set.3mf", bytes));
            Assert.Empty(m.Remarks);
            Assert.Equal(figure.TriangleCount + 12, m.TriangleCount);
            Assert.Equal(["figure", "raft \"<1>\" & Co"], m.ObjectNames);
            var back = m.ToMesh(Affine.Identity, figure.Lattice);
            for (var i = 0; i < figure.CornersArray.Length; i++)
                Assert.Equal(figure.Vertex(figure.Corners[i]), back.Vertex(back.Corners[i]));
            // The raft lies turned and shifted: its centre is where the placement puts it.
            var raft = Box3.Empty;
            for (var t = figure.TriangleCount; t < back.TriangleCount; t++) raft = raft.With(back.Triangle(t).A).With(back.Triangle(t).B).With(back.Triangle(t).C);
            Assert.Equal(0.1, raft.Center.X, 3);
            Assert.Equal(50, raft.Center.Y, 3);
        }
        finally { CultureInfo.CurrentCulture = before; }
    }

    [Fact]
    public void Bodies_that_share_an_edge_are_written_with_edges_of_their_own()
    {
        var two = ShellsTests.TwoBoxesOnOneEdge();
        using var s = new MemoryStream();
        ThreeMfWriter.Write(s, [new("pair", two, Affine.Identity)]);
        var m = Read(_bench.Put("pair.3mf", s.ToArray()));
        Assert.Equal(24, m.TriangleCount);
        using var zip = new ZipArchive(new MemoryStream(s.ToArray()));
        using var part = zip.GetEntry("3D/3dmodel.model")!.Open();
        Assert.Equal(16, XDocument.Load(part).Descendants(Ns + "vertex").Count());
        Assert.Throws<ArgumentException>(() => ThreeMfWriter.Write(Stream.Null, []));
        Assert.Throws<ArgumentException>(() => ThreeMfWriter.Write(Stream.Null, [new("none", Mesh.Empty(new Lattice(16)), Affine.Identity)]));
    }
}
