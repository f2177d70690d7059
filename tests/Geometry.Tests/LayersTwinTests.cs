using CsCheck;
using Stiltwright.Geometry.Layers;
using static Stiltwright.Geometry.Tests.LayersScenes;

namespace Stiltwright.Geometry.Tests;

public class LayersTwinTests
{
    private const int N = 9, Layers = 8;

    /// <summary>A block of unit voxels, some solid, each a box mesh of its own; the shares make caves as well as crumbs.</summary>
    private static (LayerStack Stack, LayersNaiveTwin Twin, bool[,,] Solid) Scene(int seed)
    {
        var random = new Random(seed);
        var share = 0.35 + 0.5 * random.NextDouble();
        var solid = new bool[N + 2, N + 2, Layers];
        var parts = new List<ColumnPart>();
        for (var z = 0; z < Layers; z++)
            for (var y = 1; y <= N; y++)
                for (var x = 1; x <= N; x++)
                {
                    // One voxel stands in every layer and at every border, so that grid and layer count are known.
                    solid[x, y, z] = random.NextDouble() < share || (x is 1 or N && y is 1 or N);
                    if (solid[x, y, z]) parts.Add(new ColumnPart(Box(x, y, z, x + 1, y + 1, z + 1), (byte)(x % 3)));
                }
        var grid = ColumnGrid.Covering(new Box3(new Vec3(1, 1, 0), new Vec3(N + 1, N + 1, Layers)), 1);
        Assert.Equal((0.0, N + 2), (grid.X0, grid.Nx));
        var stack = LayerStack.Build(Columns.Build(parts, grid, default), 1, default);
        return (stack, new LayersNaiveTwin(N + 2, N + 2, Layers, (x, y, z) => solid[x, y, z]), solid);
    }

    private static void ForEachPixel(Action<int, int> look)
    {
        for (var y = 0; y < N + 2; y++)
            for (var x = 0; x < N + 2; x++) look(x, y);
    }

    [Fact]
    public void Regions_bodies_and_islands_are_those_of_a_voxel_flood()
    {
        Gen.Int[1, 1_000_000].Sample(seed =>
        {
            var (stack, twin, solid) = Scene(seed);
            Assert.Equal(Layers, stack.Count);
            for (var k = 0; k < Layers; k++)
            {
                var regions = twin.RegionsOf(k, out var regionCount);
                Assert.Equal(regionCount, stack.RegionsOf(k).Length);
                var sizes = Enumerable.Range(0, regionCount).Select(r => (double)LayersNaiveTwin.Size(regions, r)).Order();
                Assert.Equal(sizes, stack.RegionsOf(k).ToArray().Select(r => r.AreaMm2).Order());

                var upTo = twin.SolidUpTo(k, out var bodyCount);
                var bodyOfPart = new Dictionary<int, int>();
                ForEachPixel((x, y) =>
                {
                    var body = stack.BodyAt(new Vec3(x + 0.5, y + 0.5, k + 0.5));
                    if (!solid[x, y, k]) { Assert.Equal(-1, body); return; }
                    if (bodyOfPart.TryGetValue(upTo[x, y, k], out var known)) Assert.Equal(known, body);
                    else
                    {
                        bodyOfPart.Add(upTo[x, y, k], body);
                        Assert.Equal(LayersNaiveTwin.Size(upTo, upTo[x, y, k]), stack.BodySolid(body, k).VolumeMm3, 9);
                    }
                });
                Assert.Equal(bodyOfPart.Count, bodyOfPart.Values.Distinct().Count());

                var islands = 0;
                if (k > 0)
                {
                    var resting = new bool[regionCount];
                    ForEachPixel((x, y) => { if (solid[x, y, k] && solid[x, y, k - 1]) resting[regions[x, y, k]] = true; });
                    islands = resting.Count(r => !r);
                }
                Assert.Equal(islands, stack.Islands.Count(i => i.Layer == k));
            }
            foreach (var i in stack.Islands)
                Assert.Equal(i.Body, stack.BodyRootAt(i.Body, i.Layer) == i.Body ? i.Body : stack.BodyAt(i.At));
            return true;
        }, iter: 60);
    }

    [Fact]
    public void Cups_and_sealed_voids_are_those_of_a_voxel_flood()
    {
        Gen.Int[1, 1_000_000].Sample(seed =>
        {
            var (stack, twin, _) = Scene(seed);
            for (var k = 0; k < Layers; k++)
            {
                var flat = twin.VoidRegionsOf(k, out var flatCount);
                var upTo = twin.VoidUpTo(k, out var upToCount);
                bool[] flatOpen = twin.Outside(flat, flatCount), open = twin.Outside(upTo, upToCount);
                var expected = new SortedDictionary<int, (double Area, bool Vented, double Volume)>();
                ForEachPixel((x, y) =>
                {
                    var f = flat[x, y, k];
                    if (f < 0 || flatOpen[f]) return;
                    var vented = open[upTo[x, y, k]];
                    expected[f] = (LayersNaiveTwin.Size(flat, f), vented, vented ? 0 : LayersNaiveTwin.Size(upTo, upTo[x, y, k]));
                });
                Assert.Equal(expected.Values.Order(), stack.CupsOf(k).ToArray().Select(c => (c.AreaMm2, c.Vented, c.VolumeMm3)).Order());
                foreach (var c in stack.CupsOf(k)) Assert.Equal(c.Vented, stack.Voids[c.Void].OpenLayer <= k);
            }
            Assert.Equal(twin.SealedSizes(), stack.SealedVoids.Select(v => (int)Math.Round(v.VolumeMm3)).Order());
            foreach (var v in stack.SealedVoids) Assert.Equal(-1, stack.BodyAt(v.At));
            return true;
        }, iter: 120);
    }

    [Fact]
    public void Layers_walked_by_one_thread_or_many_are_the_same()
    {
        var meshes = new[] { Tilted(Sphere(new Vec3(4, 4, 6), 5), 0.3, 0.2), Tilted(Box(0, 0, 1, 9, 4, 9), 0.6, 0.5), Sphere(new Vec3(4, 4, 6), 3).Turned() };
        var grid = ColumnGrid.Covering(BoundsOf(meshes), 0.1);
        var columns = Columns.Build([.. meshes.Select(m => new ColumnPart(m, 0))], grid, default);
        LayerStack one = LayerStack.Build(columns, 0.05, default, workers: 1), many = LayerStack.Build(columns, 0.05, default, workers: 4);
        Assert.Equal(one.Regions.ToArray(), many.Regions.ToArray());
        Assert.Equal(one.Cups.ToArray(), many.Cups.ToArray());
        Assert.Equal(one.Bodies, many.Bodies);
        Assert.Equal(one.SealedVoids, many.SealedVoids);
    }

    [Fact]
    public void A_shift_by_whole_pixels_and_layers_moves_everything_along()
    {
        Mesh[] Scene(double dx, double dz) => [.. new[] { Tilted(Box(0, 0, 1, 6, 3, 5), 0.4, 0.3), Sphere(new Vec3(5, 2, 4), 2) }
            .Select(m => m.Placed(Affine.Translation(new Vec3(dx, 0, dz)), Fine))];
        LayerStack Stack(Mesh[] m) => LayerStack.Build(
            Columns.Build([.. m.Select(p => new ColumnPart(p, 0))], ColumnGrid.Covering(BoundsOf(m), 0.125), default), 0.0625, default);
        LayerStack here = Stack(Scene(0, 0)), there = Stack(Scene(2.5, 0.625));
        Assert.Equal(here.Count + 10, there.Count);
        Assert.Equal(here.AreaMm2, there.AreaMm2.Skip(10));
        Assert.Equal(here.Islands.Select(i => i.Layer + 10), there.Islands.Select(i => i.Layer));
        for (var k = 0; k < here.Regions.Length; k++)
        {
            Assert.Equal(here.Regions[k].X + 2.5, there.Regions[k].X, 9);
            Assert.Equal(here.Regions[k].PerimeterMm, there.Regions[k].PerimeterMm);
        }
    }
}
