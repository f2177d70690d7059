using System.Text.Json;
using NJsonSchema;
using Stiltwright.Geometry;
using Stiltwright.Geometry.Files;

namespace Stiltwright.Job.Tests;

/// <summary>
/// The whole job on a published figure (Reindeer Figurine by sizzler, CC0) with struts put on. What must hold is taken from
/// outside: the cube law, the wall that was asked for, common practice for drain holes, closed surfaces on reading back.
/// </summary>
[Collection("one run")]
public class MainJobTests(Prepared job)
{
    private JsonElement S => job.Summary;

    [Fact]
    public void The_source_is_never_touched() => Assert.Equal(job.HashBefore, Prepared.Hash(job.Source));

    [Fact]
    public void The_exit_code_says_the_outcome() =>
        Assert.Equal(S.GetProperty("outcome").GetString() switch { "ready" => 0, "check" => 3, _ => 4 }, job.ExitCode);

    [Fact]
    public async Task Summary_and_struts_keep_to_their_schemas()
    {
        foreach (var (file, schema) in new[] { ("summary.json", "summary.schema.json"), ("struts.json", "struts.schema.json") })
        {
            var s = await JsonSchema.FromFileAsync(Path.Combine(AppContext.BaseDirectory, schema));
            Assert.Empty(s.Validate(File.ReadAllText(Path.Combine(job.Set, file))));
        }
    }

    [Fact]
    public void Every_strut_is_known_and_the_figure_is_none_of_them()
    {
        // The maker of the file says: 342 shells of struts, one raft, two of the figure (deer and plinth).
        var roles = S.GetProperty("roles");
        Assert.Equal(342, roles.GetProperty("struts").GetInt32());
        Assert.Equal(1, roles.GetProperty("rafts").GetInt32());
        Assert.Equal(2, roles.GetProperty("figureShells").GetInt32());
    }

    [Fact]
    public void What_is_written_reads_back_closed_and_stands_on_the_platform()
    {
        var piece = S.GetProperty("pieces")[0];
        var file = MeshReader.Read(Path.Combine(job.Set, piece.GetProperty("file").GetString()!), new ReadLimits(), CancellationToken.None);
        var mesh = file.ToMesh(Affine.Identity, Lattice.For(300));
        Assert.True(Closedness.IsClosed(mesh));
        Assert.Equal(0, mesh.Bounds.Min.Z, 4);
        Assert.Equal(0, mesh.Bounds.Center.X, 1);
        Assert.Equal(0, mesh.Bounds.Center.Y, 1);
        Assert.Equal(piece.GetProperty("triangles").GetInt32(), file.TrianglesInFile);
    }

    [Fact]
    public void Flat_undersides_whose_contacts_came_to_stand_too_far_apart_get_more() =>
        Assert.Contains(S.GetProperty("findings").EnumerateArray(), f => f.GetProperty("id").GetString() == "strut-added" && f.GetProperty("text").GetString()!.Contains("flat undersides", StringComparison.Ordinal));

    [Fact]
    public void Plain_enlarging_costs_the_cube_and_each_further_step_saves()
    {
        var ways = S.GetProperty("ways").EnumerateArray().Select(w => w.GetProperty("volumeMm3").GetDouble()).ToArray();
        Assert.Equal(3, ways.Length);
        Assert.True(ways[0] > ways[1] && ways[1] > ways[2], string.Join(" ", ways));
        // Cube law: 8 times the source's own union; hollowing a small figure saves about a third (common practice).
        var mesh = MeshReader.Read(job.Source, new ReadLimits(), CancellationToken.None).ToMesh(Affine.Identity, Lattice.For(100));
        var grid = Geometry.Layers.ColumnGrid.Covering(mesh.Bounds, 0.06);
        var union = Geometry.Layers.Columns.Build([new Geometry.Layers.ColumnPart(mesh, 0)], grid, CancellationToken.None).VolumeMm3();
        Assert.Equal(8 * union, ways[0], 0.004 * ways[0]);
        Assert.InRange(1 - ways[1] / ways[0], 0.2, 0.45);
    }

    [Fact]
    public void The_wall_is_nowhere_thinner_than_asked()
    {
        Assert.NotEmpty(S.GetProperty("cavities").EnumerateArray());
        foreach (var c in S.GetProperty("cavities").EnumerateArray())
            Assert.True(c.GetProperty("wallMm").GetProperty("min").GetDouble() >= 1.999);
    }

    [Fact]
    public void Every_cavity_has_two_holes_of_three_millimetres_one_low_and_one_for_air()
    {
        foreach (var c in S.GetProperty("cavities").EnumerateArray())
        {
            var holes = c.GetProperty("holes").EnumerateArray().ToList();
            Assert.True(holes.Count >= 2);
            Assert.All(holes, h => Assert.True(h.GetProperty("diameterMm").GetDouble() >= 3));
            var drain = holes.Where(h => h.GetProperty("purpose").GetString() == "drain").Min(h => h.GetProperty("centreMm")[2].GetDouble());
            var air = holes.Where(h => h.GetProperty("purpose").GetString() == "air").Max(h => h.GetProperty("centreMm")[2].GetDouble());
            Assert.True(air > drain + 20);
        }
    }

    [Fact]
    public void A_strut_is_twice_its_size_unless_it_was_thinned_and_thicker_only_where_that_is_said()
    {
        using var struts = JsonDocument.Parse(File.ReadAllText(Path.Combine(job.Set, "struts.json")));
        int thinned = 0, added = 0;
        var thicker = false;
        foreach (var s in struts.RootElement.GetProperty("struts").EnumerateArray())
        {
            for (var end = 0; end < 2; end++)
            {
                double before = s.GetProperty("radiusBeforeMm")[end].GetDouble(), after = s.GetProperty("radiusAfterMm")[end].GetDouble();
                if (s.GetProperty("decision").GetString() == "added")
                {
                    // What was not there before has no size before; the recipe's least tip is 0.3 mm across.
                    Assert.Equal(0, before);
                    Assert.InRange(after, 0.15, 4);
                    added++;
                    continue;
                }
                if (s.GetProperty("decision").GetString() == "reinforced")
                {
                    // The recipe lets it grow to 1.35 times plain enlarging.
                    Assert.InRange(after, 0, before * 1.35 + 1e-3);
                    thicker = true;
                    continue;
                }
                Assert.True(after <= before * 1.001 + 1e-4, $"segment {s.GetProperty("id")} grew from {before} to {after}");
                if (s.GetProperty("decision").GetString() == "kept") Assert.Equal(before, after, 3);
            }
            if (s.GetProperty("decision").GetString() == "thinned") thinned++;
        }
        Assert.True(thinned > 50, $"only {thinned} segments were thinned");
        if (thicker) Assert.Contains(S.GetProperty("findings").EnumerateArray(), f => f.GetProperty("id").GetString() == "strut-thicker");
        Assert.Equal(added / 2, job.Summary.GetProperty("struts").GetProperty("added").GetInt32());
    }

    [Fact]
    public void The_raft_keeps_its_own_thickness()
    {
        using var struts = JsonDocument.Parse(File.ReadAllText(Path.Combine(job.Set, "struts.json")));
        Assert.Equal(1.5, struts.RootElement.GetProperty("raft").GetProperty("heightAfterMm").GetDouble(), 2);
    }
}
