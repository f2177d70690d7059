using CsCheck;
using Stiltwright.Geometry.Booleans;
using Stiltwright.Geometry.Cutting;
using Stiltwright.Geometry.Layers;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Tests;

/// <summary>Laws that hold for every operation of the kernel, whatever the body: the same on any number of threads, and the same wherever the body lies, however it is turned and however large it is.</summary>
public class KernelLawsTests
{
    private static readonly Lattice L = new(16);

    // Large enough that every pass over its arrays falls into several parts.
    private static Mesh Gnarl(Vec3 at, int levels) => SpatialShapes.Divided(levels, u => at + u * (10 + 1.3 * Math.Sin(7 * u.X + 2) * Math.Cos(5 * u.Y) + 0.8 * Math.Sin(9 * u.Z)));

    private static T On<T>(int threads, Func<T> work)
    {
        Ranges.MostThreads.Value = threads;
        try { return work(); }
        finally { Ranges.MostThreads.Value = 0; }
    }

    [Fact]
    public void Cuts_tool_cuts_booleans_and_repairs_give_the_same_bytes_on_one_thread_and_on_many()
    {
        Mesh a = Gnarl(Vec3.Zero, 6), b = Gnarl(new(9, 2, 1), 6), both = Mesh.Concat(L, [a, b]);
        var drill = Primitives.Cylinder(L, new(1, -20, 2), new(2, 20, 1), 1.5, 48);
        // Every hundredth triangle is lost, every ninetieth turned.
        var torn = both.Part([.. Enumerable.Range(0, both.TriangleCount).Where(t => t % 100 != 7)]);
        var flipped = torn.CornersArray.ToArray();
        for (var t = 0; t < torn.TriangleCount; t += 90) (flipped[3 * t], flipped[3 * t + 1]) = (flipped[3 * t + 1], flipped[3 * t]);
        torn = new Mesh(L, torn.XyzArray, flipped);
        (string Name, Func<Mesh[]> Run)[] all =
        [
            ("plane cut", () => PlaneCut.Cut(both, new Vec3(0.3, 0.2, 1).Unit(), 0.7) is var r ? [r.Below, r.Above] : []),
            ("hole", () => [SolidTool.Subtract(both, drill, 3).Result]),
            ("two tools", () => [SolidTool.Subtract(both, [drill, Primitives.Sphere(L, new(9, 2, 1), 3, 16)], 3).Result]),
            ("what is common with a tool", () => [SolidTool.Common(both, drill, 3).Result]),
            ("union", () => [MeshBoolean.Union(a, b)]),
            ("overlapping shells resolved", () => [MeshBoolean.Resolved(both)]),
            ("repair", () => Repair.Safe(torn) is var r ? [r.Mesh, Orientation.Settle(r.Mesh, r.Shells).Mesh] : []),
        ];
        foreach (var (name, run) in all)
        {
            Mesh[] one = On(1, run), many = On(4, run);
            Assert.True(one.Length > 0 && one.All(m => m.TriangleCount > 0), name);
            for (var i = 0; i < one.Length; i++)
            {
                Assert.True(one[i].Xyz.SequenceEqual(many[i].Xyz), name);
                Assert.True(one[i].Corners.SequenceEqual(many[i].Corners), name);
            }
        }
    }

    [Fact]
    public void Around_closed_surfaces_the_winding_is_odd_just_where_a_ray_in_any_direction_meets_an_odd_number_of_facets()
    {
        // The parity of crossings of any ray is that of the winding number (Jordan-Brouwer); rays upwards are how the winding is found, these go anywhere.
        var mesh = Mesh.Concat(L, [Gnarl(Vec3.Zero, 4), Gnarl(new(7, 1, 2), 4), Primitives.Torus(L, new(0, 0, 3), new(1, 1, 1), 12, 2), Primitives.Sphere(L, new(1, 0, 0), 4, 10).Turned()]);
        var tree = TriangleTree.Build(mesh);
        var hits = new List<RayHit>();
        var seen = new HashSet<int>();
        var random = new Random(11);
        foreach (var p in SpatialShapes.RandomPoints(mesh.Bounds.Grown(1), 1500, 5))
        {
            var winding = tree.Winding(p);
            seen.Add(winding);
            Vec3 way;
            do way = new Vec3(random.NextDouble() - 0.5, random.NextDouble() - 0.5, random.NextDouble() - 0.5); while (way.Length < 0.1);
            tree.RayHits(p, way, hits);
            Assert.Equal(Math.Abs(winding) % 2, hits.Count % 2);
            // More than the parity: what is left on the way out less what is entered.
            Assert.Equal(winding, hits.Count(h => !h.Entering) - hits.Count(h => h.Entering));
        }
        Assert.Superset(new HashSet<int> { 0, 1, 2 }, seen);
    }

    // A third of a turn about the room's diagonal (some times), a shift by whole units and a growth by a whole factor: all exact on the lattice.
    private readonly record struct Move(int Turns, int Times, int Dx, int Dy, int Dz)
    {
        public Mesh Of(Mesh m)
        {
            var xyz = new int[m.XyzArray.Length];
            for (var i = 0; i < xyz.Length; i++) xyz[i] = Times * m.XyzArray[i / 3 * 3 + (i + Turns) % 3] + (i % 3 == 0 ? Dx : i % 3 == 1 ? Dy : Dz);
            return new Mesh(m.Lattice, xyz, m.CornersArray);
        }

        public Vec3 Of(Vec3 p) => Turned(p) * Times + new Vec3(Dx, Dy, Dz) * L.UnitMm;

        public Vec3 Turned(Vec3 p) => new(p[Turns % 3], p[(1 + Turns) % 3], p[(2 + Turns) % 3]);
    }

    private static readonly Gen<Move> Moves = Gen.Select(Gen.Int[0, 2], Gen.Int[1, 3], Gen.Int[-600_000, 600_000], Gen.Int[-600_000, 600_000], Gen.Int[-600_000, 600_000], (r, s, x, y, z) => new Move(r, s, x, y, z));

    private static readonly Mesh Body = Mesh.Concat(L, [Gnarl(Vec3.Zero, 4), Primitives.Box(L, new(4, -3, -3), new(15, 3, 4)), Primitives.Sphere(L, new(0, 0, 1), 5, 10).Turned()]);

    [Fact]
    public void Distances_and_windings_go_along_with_turns_shifts_and_growth()
    {
        var tree = TriangleTree.Build(Body);
        Moves.Sample(move =>
        {
            var moved = TriangleTree.Build(move.Of(Body));
            foreach (var p in SpatialShapes.RandomPoints(Body.Bounds.Grown(2), 60, move.Dx))
            {
                Assert.Equal(move.Times * tree.Closest(p).Distance, moved.Closest(move.Of(p)).Distance, 6);
                if (tree.Closest(p).Distance > 1e-4) Assert.Equal(tree.Winding(p), moved.Winding(move.Of(p)));
            }
        }, iter: 40, threads: 2);
    }

    [Fact]
    public void Cuts_by_planes_and_tools_and_unions_go_along_with_turns_shifts_and_growth()
    {
        var normal = new Vec3(0.3, -0.4, 0.87).Unit();
        var drill = Primitives.Cylinder(L, new(1, -20, 2), new(2, 20, 1), 1.5, 24);
        var cut = PlaneCut.Cut(Body, normal, 1.1);
        var bored = SolidTool.Subtract(Body, drill, 1).Result.SignedVolumeMm3();
        var union = MeshBoolean.Resolved(Body).SignedVolumeMm3();
        Moves.Sample(move =>
        {
            var body = move.Of(Body);
            double volume = Math.Pow(move.Times, 3), area = Math.Pow(move.Times, 2);
            var n = move.Turned(normal);
            var r = PlaneCut.Cut(body, n, n.Dot(move.Of(normal * 1.1)));
            // New corners are rounded to the lattice and the plane to its own numbers: parts in a million.
            Assert.Equal(cut.CapAreaMm2 * area, r.CapAreaMm2, 2e-5 * cut.CapAreaMm2 * area);
            Assert.Equal(cut.Below.SignedVolumeMm3() * volume, r.Below.SignedVolumeMm3(), 2e-5 * Math.Abs(cut.Below.SignedVolumeMm3()) * volume);
            Assert.Equal(body.SignedVolumeMm3(), r.Below.SignedVolumeMm3() + r.Above.SignedVolumeMm3(), 1e-5 * body.SignedVolumeMm3());
            Assert.Equal(bored * volume, SolidTool.Subtract(body, move.Of(drill), 1).Result.SignedVolumeMm3(), 2e-5 * bored * volume);
            Assert.Equal(union * volume, MeshBoolean.Resolved(body).SignedVolumeMm3(), 2e-5 * union * volume);
        }, iter: 25, threads: 2);
    }

    [Fact]
    public void Layers_grow_with_the_body_pixel_for_pixel_and_go_along_with_shifts()
    {
        var plain = LayerScan.Of(Body, 0.25, 0.25);
        Moves.Sample(move =>
        {
            if (move.Turns != 0) return;
            var r = LayerScan.Of(move.Of(Body), 0.25 * move.Times, 0.25 * move.Times);
            // A pixel whose centre lies on the surface to the last bit may fall either way: a few of 100,000.
            Assert.Equal(plain.Count, r.Count);
            Assert.InRange(plain.Pixels.Zip(r.Pixels, (p, q) => Math.Abs(p - q)).Sum(), 0, plain.Pixels.Sum() / 10_000);
        }, iter: 30, threads: 2);
    }

    [Fact]
    public void What_a_body_loses_and_what_it_has_in_common_make_it_up_again_by_every_way_of_cutting()
    {
        Gen.Select(Gen.Double[-8, 8], Gen.Double[-8, 8], Gen.Double[-8, 8], Gen.Double[1, 6]).Sample((x, y, z, radius) =>
        {
            var body = MeshBoolean.Resolved(Body);
            var tool = Primitives.Sphere(L, new(x, y, z), radius, 7);
            Mesh less = MeshBoolean.Difference(body, tool), common = MeshBoolean.Common(body, tool);
            double whole = body.SignedVolumeMm3(), tolerance = 1e-5 * whole;
            Assert.Equal(whole, less.SignedVolumeMm3() + common.SignedVolumeMm3(), tolerance);
            Assert.Equal(whole, MeshBoolean.Union(less, common).SignedVolumeMm3(), tolerance);
            Assert.Equal(whole + tool.SignedVolumeMm3(), MeshBoolean.Union(body, tool).SignedVolumeMm3() + common.SignedVolumeMm3(), tolerance);
            Assert.Equal(less.SignedVolumeMm3(), SolidTool.Subtract(body, tool, 5).Result.SignedVolumeMm3(), tolerance);
            Assert.Equal(common.SignedVolumeMm3(), SolidTool.Common(body, tool, 5).Result.SignedVolumeMm3(), tolerance);
        }, iter: 20, threads: 2);
    }
}
