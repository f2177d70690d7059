using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Tests;

public class StrutIslandsTests
{
    private static readonly Lattice Lattice = new(16);

    private static Mesh Block(Vec3 min, Vec3 max)
    {
        var xyz = new int[24];
        for (var v = 0; v < 8; v++)
        {
            xyz[3 * v] = Lattice.Round((v & 1) == 0 ? min.X : max.X);
            xyz[3 * v + 1] = Lattice.Round((v & 2) == 0 ? min.Y : max.Y);
            xyz[3 * v + 2] = Lattice.Round((v & 4) == 0 ? min.Z : max.Z);
        }
        return new Mesh(Lattice, xyz, [0, 2, 3, 0, 3, 1, 4, 5, 7, 4, 7, 6, 0, 1, 5, 0, 5, 4, 2, 6, 7, 2, 7, 3, 0, 4, 6, 0, 6, 2, 1, 3, 7, 1, 7, 5]);
    }

    private static LayerScan Layers(params Mesh[] meshes) => LayerScan.Of(Mesh.Concat(Lattice, meshes), 0.1, StrutIslands.PixelMm);

    [Fact]
    public void A_brace_that_no_longer_reaches_its_thinner_pillar_is_found_with_both()
    {
        Mesh pillar = Block(new(0, 0, 0), new(3, 3, 10)), thin = Block(new(1, 1, 0), new(2, 2, 10)), brace = Block(new(2.5, 1, 6), new(8, 2, 7)), other = Block(new(7.5, 0, 0), new(10, 3, 10));
        Assert.Empty(StrutIslands.Added(Layers(pillar, brace, other), Layers(pillar, brace, other)));
        Assert.Empty(StrutIslands.Added(Layers(pillar, other), Layers(thin, other)));
        // Cut off from both: the brace begins in mid-air.
        var torn = Assert.Single(StrutIslands.Added(Layers(pillar, brace, other), Layers(thin, brace, Block(new(8.5, 0, 0), new(10, 3, 10)))));
        Assert.Equal(6.05, torn.Z, 0.11);
        var bench = new LoadsBench();
        bench.Add(Role.Pillar, new Vec3(1.5, 1.5, 0), new Vec3(1.5, 1.5, 10), 1.5, 1.5, EndHeldBy.Raft, EndHeldBy.Figure);
        bench.Add(Role.Pillar, new Vec3(9, 1.5, 0), new Vec3(9, 1.5, 10), 1.25, 1.25, EndHeldBy.Raft, EndHeldBy.Figure);
        bench.Brace(0, new Vec3(2.5, 1.5, 6.5), 1, new Vec3(8, 1.5, 6.5), 1);
        bench.Add(Role.Pillar, new Vec3(60, 1.5, 0), new Vec3(60, 1.5, 10), 1.25, 1.25, EndHeldBy.Raft, EndHeldBy.Figure);
        var hit = StrutIslands.SegmentsAt(bench.Graph(), torn, 0.5);
        Assert.Contains(2, hit);
        Assert.DoesNotContain(3, hit);
        Assert.True(hit.Contains(0) || hit.Contains(1));
    }
}
