using System.Text.Json;
using System.Text.Json.Nodes;
using Stiltwright.Geometry;
using Stiltwright.Geometry.Files;
using Stiltwright.Geometry.Layers;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Resin;
using Stiltwright.Printing.Struts;
using Xunit.Abstractions;

namespace Stiltwright.Job.Tests;

/// <summary>What was written is what was computed: the set's STL, read afresh and taken apart again, bears what struts.json says.</summary>
public sealed class ReadBackTests(ITestOutputHelper output) : IDisposable
{
    private const int MostColumns = 1_500_000; // as the job's own models

    private readonly string _room = Directory.CreateTempSubdirectory("stiltwright-read-back-").FullName;

    public void Dispose() => Directory.Delete(_room, true);

    [Fact]
    public void The_written_set_read_back_and_solved_afresh_gives_the_uses_in_struts_json()
    {
        // The demo's crab: every one of its struts is still told for one once it is thinned.
        var source = Path.Combine(_room, "crab.stl");
        File.Copy(Path.Combine(AppContext.BaseDirectory, "Samples", "crab.stl"), source);
        var (_, said0) = Prepared.Run("prepare", source, "--recipe", "enlarge-200");
        var set = Path.Combine(_room, "crab.set");
        Assert.True(Directory.Exists(set), said0);
        using var json = JsonDocument.Parse(File.ReadAllText(Path.Combine(set, "summary.json")));
        var summary = json.RootElement;
        var file = MeshReader.Read(Directory.GetFiles(set, "*.stl").Single(), new ReadLimits());
        var reach = new[] { file.Bounds.Min, file.Bounds.Max }.Max(p => Math.Max(Math.Abs(p.X), Math.Max(Math.Abs(p.Y), Math.Abs(p.Z))));
        var mesh = file.ToMesh(Affine.Identity, Lattice.For(reach + 1));
        var shells = ShellFinder.Find(mesh);
        var found = Recognition.Recognise(mesh, shells, new RecognitionSettings(), default);
        Mesh Of(Func<Role, bool> which) => Mesh.Concat(mesh.Lattice, Enumerable.Range(0, shells.Shells.Count).Where(i => which(found.RoleOfShell[i])).Select(shells.MeshOf));
        var figure = Of(r => r is Role.Figure or Role.InnerShell or Role.Unsure);
        var grid = ColumnGrid.Covering(mesh.Bounds, ColumnGrid.PitchFor(mesh.Bounds, MostColumns));
        var resin = Read<ResinData>("resins", summary.GetProperty("resin").GetString()!);
        var printer = Read<PrinterData>("printers", summary.GetProperty("printer").GetString()!);
        var scene = new LoadScene
        {
            Figure = LayerStack.Build(Columns.Build([new ColumnPart(figure, 0)], grid, default), resin.LayerMm, default).ForLoads(),
            Struts = found.Graph,
            Resin = resin,
            Printer = printer,
            RaftTopMm = Of(r => r == Role.Raft).Bounds.Max.Z,
            // The mesh does not tell a drain hole from another opening: the summary does.
            Vents = [.. summary.GetProperty("cavities").EnumerateArray().SelectMany(c => c.GetProperty("holes").EnumerateArray().Select(h =>
                new CupVent(figure.Bounds, Point(h.GetProperty("centreMm")), h.GetProperty("diameterMm").GetDouble(), c.GetProperty("wallMm").GetProperty("asked").GetDouble())))],
            WallMm = summary.GetProperty("cavities").EnumerateArray().Min(c => c.GetProperty("wallMm").GetProperty("asked").GetDouble()),
        };
        var solved = LoadSolver.Solve(scene, default);

        using var written = JsonDocument.Parse(File.ReadAllText(Path.Combine(set, "struts.json")));
        var all = 0;
        var worst = "";
        double most = 0;
        foreach (var s in written.RootElement.GetProperty("struts").EnumerateArray())
        {
            Vec3 from = Point(s.GetProperty("fromMm")), to = Point(s.GetProperty("toMm"));
            var same = found.Graph.Segments.MinBy(g => Math.Min(Ends(g.From, g.To), Ends(g.To, g.From)))!;
            double Ends(Vec3 a, Vec3 b) => Math.Max(a.DistanceTo(from), b.DistanceTo(to));
            all++;
            var radii = s.GetProperty("radiusAfterMm").EnumerateArray().Select(r => r.GetDouble()).Order().ToArray();
            var id = s.GetProperty("id").GetInt32();
            Assert.True(Math.Min(Ends(same.From, same.To), Ends(same.To, same.From)) <= 0.05, $"segment {id} is not in the written set");
            Assert.Equal(radii[0], Math.Min(same.RadiusFrom, same.RadiusTo), 0.02 * radii[0] + 0.002);
            Assert.Equal(radii[1], Math.Max(same.RadiusFrom, same.RadiusTo), 0.02 * radii[1] + 0.002);
            double said = s.GetProperty("use").GetDouble(), now = solved.Segments[same.Id].Use;
            var off = Math.Abs(now - said) / Math.Max(said, 0.02);
            if (off > most) (most, worst) = (off, $"segment {id} ({same.Role}): {said:0.000} said, {now:0.000} now");
        }
        output.WriteLine($"{all} segments; farthest off {most:P1}: {worst}");
        Assert.True(all > 100);
        Assert.True(most <= 0.02, worst);
    }

    private static T Read<T>(string folder, string name)
    {
        var node = JsonNode.Parse(File.ReadAllText(Path.Combine(AppContext.BaseDirectory, folder, name + ".json")), null, new JsonDocumentOptions { CommentHandling = JsonCommentHandling.Skip })!;
        node["name"] = name;
        return node.Deserialize<T>(new JsonSerializerOptions { PropertyNameCaseInsensitive = true })!;
    }

    private static Vec3 Point(JsonElement e) => new(e[0].GetDouble(), e[1].GetDouble(), e[2].GetDouble());
}
