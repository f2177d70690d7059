using System.Diagnostics;
using Stiltwright.Geometry;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Struts;
using Xunit.Abstractions;

namespace Stiltwright.Printing.Tests;

public class LoadsSpeedTests(ITestOutputHelper output)
{
    /// <summary>A grid of struts under a figure that begins as many islands and grows together row by row.</summary>
    internal static LoadScene Grid(int nx, int ny, bool braced, int layers)
    {
        var bench = new LoadsBench(0.05);
        var heads = new List<Vec3>();
        for (var i = 0; i < nx; i++)
            for (var j = 0; j < ny; j++)
            {
                var height = 20 + 0.7 * Math.Abs(i - nx / 2) + 0.9 * Math.Abs(j - ny / 2) + 0.013 * (i + 3 * j % 7);
                heads.Add(new Vec3(5 * i, 5 * j, height));
                bench.WithTip(5 * i, 5 * j, height, 1.5, 0.6, 3);
            }
        for (var level = 0; braced && level < 3; level++)
            for (var i = 0; i < nx; i++)
                for (var j = 0; j < ny; j++)
                {
                    int a = i * ny + j;
                    double z = 4 + 5 * level;
                    if (i + 1 < nx && (i + j + level) % 3 != 0) bench.Brace(2 * a, new Vec3(5 * i, 5 * j, z), 2 * (a + ny), new Vec3(5 * i + 5, 5 * j, z + 4), 0.8);
                    if (j + 1 < ny && (i + j + level) % 3 != 1) bench.Brace(2 * a, new Vec3(5 * i, 5 * j, z + 1), 2 * (a + 1), new Vec3(5 * i, 5 * j + 5, z + 4.5), 0.8);
                }
        int LayerOf(double z) => (int)Math.Ceiling(z / 0.05 - 0.5);
        // One body a strut; each joins its neighbour towards the middle 1.2 mm later.
        var bodies = new List<FigureBody>();
        for (var a = 0; a < heads.Count; a++)
        {
            int i = a / ny, j = a % ny, to = -1;
            if (i != nx / 2) to = (i + Math.Sign(nx / 2 - i)) * ny + j;
            else if (j != ny / 2) to = i * ny + j + Math.Sign(ny / 2 - j);
            bodies.Add(new FigureBody(LayerOf(heads[a].Z), to < 0 ? int.MaxValue : LayerOf(heads[a].Z) + 24, to));
        }
        var regions = new IReadOnlyList<FigureRegion>[layers];
        for (var k = 0; k < layers; k++)
        {
            var list = new Dictionary<int, (double Area, double X, double Y)>();
            for (var a = 0; a < heads.Count; a++)
            {
                if (bodies[a].FirstLayer > k) continue;
                var root = a;
                while (bodies[root].MergeLayer <= k) root = bodies[root].MergesInto;
                var (area, x, y) = list.GetValueOrDefault(root);
                list[root] = (area + 10, x + 10 * heads[a].X, y + 10 * heads[a].Y);
            }
            regions[k] = [.. list.Select(l =>
            {
                double area = l.Value.Area * (1 + 0.3 * Math.Sin(k * 0.01)), r = Math.Sqrt(area / Math.PI), x = l.Value.X / l.Value.Area, y = l.Value.Y / l.Value.Area;
                return new FigureRegion(l.Key, area, 2 * Math.PI * r, x, y, x - r, x + r, y - r, y + r);
            })];
        }
        int BodyAt(Vec3 p)
        {
            for (var a = 0; a < heads.Count; a++)
                if (Math.Abs(heads[a].X - p.X) < 1 && Math.Abs(heads[a].Y - p.Y) < 1) return a;
            return -1;
        }
        return bench.Scene(new FigureLayers(0.05, regions, bodies, null, BodyAt), LoadsBench.Resin, 0.1);
    }

    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public void Three_hundred_struts_over_2400_layers_take_seconds(bool braced)
    {
        var scene = Grid(17, 18, braced, 2400);
        var before = Process.GetCurrentProcess().TotalProcessorTime;
        var clock = Stopwatch.StartNew();
        var result = LoadSolver.Solve(scene, default);
        clock.Stop();
        // Processor time of the test process: other tests run beside this one, so it is an upper bound.
        var busy = (Process.GetCurrentProcess().TotalProcessorTime - before).TotalSeconds;
        output.WriteLine($"{scene.Struts.Segments.Count} segments, braced {braced}: {clock.Elapsed.TotalSeconds:0.00} s, processor {busy:0.00} s, worst use {result.WorstUse:0.000}");
        Assert.Equal(306, result.Contacts.Count(c => c.PullN > 0));
        Assert.Equal(result.Layers[^1].Separation + result.Layers[^1].Weight, result.Layers[^1].Reaction, 1e-4 * result.Layers[^1].Separation);
        Assert.True(busy < 30, $"{busy:0.0} s of processor time");
    }
}
