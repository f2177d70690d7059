using Stiltwright.Geometry;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Struts;
using Stiltwright.Printing.Struts.Fused;
using Xunit.Abstractions;

namespace Stiltwright.Printing.Tests;

public class StrutsFusedTests(ITestOutputHelper output)
{
    private static readonly Lattice Grid = new(16);

    private static Separation Separate(Mesh mesh) =>
        FusedSeparation.Try(mesh, ShellFinder.Find(mesh), new RecognitionSettings(), CancellationToken.None);

    [Fact]
    public void Struts_united_with_the_figure_come_off_again_and_no_triangle_of_the_figure_goes_with_them()
    {
        int segments = 0, found = 0, separated = 0, scenes = 0;
        var errors = new List<double>();
        for (var seed = 1; seed <= 8; seed++)
        {
            scenes++;
            var scene = new StrutsFusedScene(seed);
            segments += scene.Segments.Count;
            var got = Separate(scene.Mesh);
            if (got.Source is not { } source)
            {
                output.WriteLine($"seed {seed}, {scene.Sides} sides, raft {scene.Raft}, balls {scene.Balls}: {got.Why}");
                continue;
            }
            separated++;
            Assert.All(source.Shells.Shells, s => Assert.True(s.Closed));
            var graph = source.Recognised.Graph;
            foreach (var (role, from, to, rFrom, rTo) in scene.Segments)
            {
                var middle = (from + to) / 2;
                var near = graph.Segments.Where(g => Math.Abs((g.To - g.From).Unit().Dot((to - from).Unit())) > 0.999
                    && Aside(middle, g) < 0.1 * rFrom && (middle - g.From).Dot((g.To - g.From).Unit()) is var s && s > -0.1 && s < g.Length + 0.1).ToList();
                if (near.Count == 0) continue;
                found++;
                errors.Add(near.Min(g => Math.Abs((g.RadiusFrom + (g.RadiusTo - g.RadiusFrom) * Math.Clamp((middle - g.From).Dot((g.To - g.From).Unit()) / g.Length, 0, 1)) / ((rFrom + rTo) / 2) - 1)));
            }
            // A corner of the figure as it was drawn, farther from every contact than its own diameter, lies on a shell that is figure still.
            var onFigure = Mesh.Concat(Grid, Enumerable.Range(0, source.Shells.Shells.Count).Where(i => source.Recognised.RoleOfShell[i] == Role.Figure).Select(source.Shells.MeshOf));
            var tree = TriangleTree.Build(onFigure);
            for (var v = 0; v < scene.Figure.VertexCount; v++)
            {
                var p = scene.Figure.Vertex(v);
                if (source.Contacts.Any(c => c.DistanceTo(p) < 1)) continue;
                Assert.True(tree.Closest(p).Distance < 1e-3, $"seed {seed}: the figure's corner {p} was taken for a strut");
            }
            output.WriteLine($"seed {seed}, {scene.Sides} sides, raft {scene.Raft}, balls {scene.Balls}: {source.Contacts.Count} contacts, {source.DifferenceMm3:0.0000} of {source.TakenMm3:0.0} mm3 differ");
        }
        errors.Sort();
        output.WriteLine($"separated {separated} of {scenes}; segments {found} of {segments}; median radius error {(errors.Count > 0 ? errors[errors.Count / 2] : -1):0.00000}");
        Assert.True(found >= 0.9 * segments, $"{found} of {segments} segments found");
        Assert.True(errors[errors.Count / 2] <= 0.03, $"median radius error {errors[errors.Count / 2]}");

        static double Aside(Vec3 p, StrutSegment g) => (p - g.From).Cross((g.To - g.From).Unit()).Length;
    }

    [Fact]
    public void A_figure_with_rods_of_its_own_and_no_struts_is_left_whole()
    {
        var scene = new StrutsFusedScene(3, struts: false);
        Assert.Null(Separate(scene.Mesh).Source);
    }

    [Fact]
    public void A_table_in_one_surface_keeps_its_legs()
    {
        var table = Primitives.Box(Grid, new Vec3(-15, -10, 14), new Vec3(15, 10, 16));
        foreach (var (x, y) in new[] { (-13, -8), (13, -8), (-13, 8), (13, 8), (0, -8), (0, 8), (-6, 0), (6, 0) })
            table = StrutsFusedScene.United(table, Primitives.Frustum(Grid, new Vec3(x, y, 0), new Vec3(x, y, 15), 0.6, 0.9, 8), 5);
        var got = Separate(table);
        Assert.Null(got.Source);
        Assert.NotEqual("", got.Why);
    }
}
