using System.Text.Json;
using Stiltwright.Geometry;
using Stiltwright.Geometry.Files;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Job.Tests;

/// <summary>What a recipe may ask of <c>rescale</c> beyond plain enlarging, through the whole program.</summary>
public sealed class RescaleSettingsTests : IDisposable
{
    private const string Recipe = """
        {
          "target": { "percent": 300 },
          "printers": ["hall-large"],
          "resin": "workshop-grey",
          "stages": [
            { "stage": "inspect" },
            { "stage": "rescale", "freeHeightMm": 4, "smoothFacets": true, "oldCavities": "keep" },
            { "stage": "split" },
            { "stage": "estimate" }
          ]
        }
        """;

    private readonly string _room = Directory.CreateTempSubdirectory("stiltwright-rescale-").FullName;

    public void Dispose() => Directory.Delete(_room, true);

    [Fact]
    public void A_figure_is_set_to_the_gap_asked_for_and_its_coarse_facets_are_smoothed()
    {
        var source = Path.Combine(_room, "deer.stl");
        File.Copy(Path.Combine(AppContext.BaseDirectory, "Samples", "deer-figurine-70.stl"), source);
        foreach (var folder in (string[])["printers", "resins", "folders"]) Directory.CreateDirectory(Path.Combine(_room, "config", folder));
        foreach (var folder in (string[])["printers", "resins"])
            foreach (var file in Directory.GetFiles(Path.Combine(AppContext.BaseDirectory, folder))) File.Copy(file, Path.Combine(_room, "config", folder, Path.GetFileName(file)));
        File.WriteAllText(Path.Combine(_room, "config", "folders", "near.json"), Recipe);
        File.WriteAllText(Path.Combine(_room, "config", "stiltwright.json"), "{}");
        var (_, said) = Prepared.Run("prepare", source, "--recipe", "near", "--config", Path.Combine(_room, "config"));
        var set = Path.Combine(_room, "deer.set");
        Assert.True(Directory.Exists(set), said);
        using var json = JsonDocument.Parse(File.ReadAllText(Path.Combine(set, "summary.json")));
        var findings = json.RootElement.GetProperty("findings").EnumerateArray().Select(f => f.GetProperty("id").GetString()).ToList();
        Assert.Contains("figure-lowered", findings);
        Assert.Contains("facets-smoothed", findings);

        Mesh Read(string path)
        {
            var file = MeshReader.Read(path, new ReadLimits());
            return file.ToMesh(Affine.Identity, Lattice.For(400));
        }

        var before = Parts(Read(source));
        var mesh = Read(Directory.GetFiles(set, "*.stl").Single());
        var after = Parts(mesh);
        Assert.True(Closedness.IsClosed(mesh));
        Assert.Equal(4, after.Figure.Bounds.Min.Z - after.Raft.Bounds.Max.Z, 2);
        Assert.Equal(0, mesh.Bounds.Min.Z, 4);
        Assert.True(3 * (before.Figure.Bounds.Min.Z - before.Raft.Bounds.Max.Z) > 5); // what plain enlarging makes of it
        Assert.True(after.Figure.TriangleCount > before.Figure.TriangleCount);
        Assert.Equal(3 * before.Figure.Bounds.Size.Z, after.Figure.Bounds.Size.Z, 0.4); // smoothed by no more than the recipe's 0.3 mm
    }

    private static (Mesh Figure, Mesh Raft) Parts(Mesh mesh)
    {
        var shells = ShellFinder.Find(mesh);
        var found = Recognition.Recognise(mesh, shells, new RecognitionSettings(), default);
        Mesh Of(Role role) => Mesh.Concat(mesh.Lattice, Enumerable.Range(0, shells.Shells.Count).Where(i => found.RoleOfShell[i] == role).Select(shells.MeshOf));
        return (Of(Role.Figure), Of(Role.Raft));
    }
}
