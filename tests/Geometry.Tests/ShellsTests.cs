using CsCheck;
using Stiltwright.Geometry.Files;

namespace Stiltwright.Geometry.Tests;

/// <summary>Shells, their orientation and the safe repair. Sample facts: tests/Samples/LICENCES.md (another program).</summary>
public class ShellsTests
{
    private static readonly Lattice L = new(16);

    private static Mesh Box(double x0, double y0, double z0, double x1, double y1, double z1) => SpatialShapes.Box(new(x0, y0, z0), new(x1, y1, z1));

    /// <summary>The mesh with equal points made one, as a reader would give it.</summary>
    private static Mesh Welded(Mesh m)
    {
        var ids = new Dictionary<(int, int, int), int>();
        var xyz = new List<int>();
        var corners = m.CornersArray.Select(v =>
        {
            var key = (m.Xyz[3 * v], m.Xyz[3 * v + 1], m.Xyz[3 * v + 2]);
            if (!ids.TryGetValue(key, out var id))
            {
                ids[key] = id = ids.Count;
                xyz.AddRange([key.Item1, key.Item2, key.Item3]);
            }
            return id;
        }).ToArray();
        return new Mesh(m.Lattice, [.. xyz], corners);
    }

    internal static Mesh TwoBoxesOnOneEdge() => Welded(SpatialShapes.Join(Box(0, 0, 0, 1, 1, 1), Box(1, 1, 0, 2, 2, 1)));

    [Fact]
    public void Boxes_that_touch_along_an_edge_or_a_corner_or_a_face_stay_two_shells()
    {
        foreach (var second in new[] { Box(1, 1, 0, 2, 2, 1), Box(1, 1, 1, 2, 2, 2), Box(1, 0, 0, 2, 1, 1) })
        {
            var m = Welded(SpatialShapes.Join(Box(0, 0, 0, 1, 1, 1), second));
            Assert.True(m.VertexCount < 16);
            var s = ShellFinder.Find(m);
            Assert.Equal(2, s.Shells.Count);
            Assert.All(s.Shells, x => Assert.True(x.Closed));
            Assert.All(s.Shells, x => Assert.Equal(1, x.SignedVolumeMm3, 12));
        }
    }

    [Fact]
    public void A_ring_of_boxes_around_one_edge_stays_as_many_shells()
    {
        // Wedges of 40 degrees around the z axis, every other one left out: 4 prisms, one edge with 8 triangles and more.
        var wedges = Enumerable.Range(0, 4).Select(i =>
        {
            Vec3 P(double a, double z) => new(5 * Math.Cos(a), 5 * Math.Sin(a), z);
            double from = i * Math.PI / 2, to = from + 0.7;
            return SpatialShapes.FromPoints([new(0, 0, 0), P(from, 0), P(to, 0), new(0, 0, 3), P(from, 3), P(to, 3)],
                [0, 2, 1, 3, 4, 5, 0, 1, 4, 0, 4, 3, 1, 2, 5, 1, 5, 4, 2, 0, 3, 2, 3, 5]);
        }).ToArray();
        var m = Welded(SpatialShapes.Join(wedges));
        var s = ShellFinder.Find(m);
        Assert.Equal(4, s.Shells.Count);
        Assert.All(s.Shells, x => Assert.True(x.Closed && x.Triangles.Length == 8));
        Assert.Equal(1, EdgePairing.Build(m).CrowdedEdges);
        var apart = EdgePairing.Build(m).WithSheetsApart(out var doubled);
        Assert.Equal(6, doubled.Count);
        Assert.Equal(24, apart.VertexCount);
        Assert.True(SpatialShapes.ClosedAndTwoManifold(apart));
    }

    [Fact]
    public void Overlapping_boxes_that_share_an_edge_stay_two_closed_shells()
    {
        // Both wedges at the shared edge reach into each other: brackets ( [ ) ].
        var a = Box(0, 0, 0, 2, 2, 2);
        var b = SpatialShapes.FromPoints([new(0, 0, 0), new(3, -1, 0), new(3, 1, 0), new(0, 0, 2), new(3, -1, 2), new(3, 1, 2)],
            [0, 2, 1, 3, 4, 5, 0, 1, 4, 0, 4, 3, 1, 2, 5, 1, 5, 4, 2, 0, 3, 2, 3, 5]);
        var s = ShellFinder.Find(Welded(SpatialShapes.Join(a, b)));
        Assert.Equal([12, 8], s.Shells.Select(x => x.Triangles.Length));
        Assert.All(s.Shells, x => Assert.True(x.Closed));
    }

    [Theory]
    [InlineData("riser-solid-header-open.stl", 3, 3, 44, 0)]
    [InlineData("spider-binary.stl", 18, 4, 72, 10)]
    [InlineData("two-solids-text.stl", 2, 0, 0, 12)]
    [InlineData("siamese-cat-open.obj", 1, 1, 8, 0)]
    [InlineData("gearwheel-binary.stl", 1, 0, 0, 0)]
    public void Sample_files_have_the_shells_and_open_edges_that_another_program_measured(string name, int shells, int open, int openEdges, int clashes)
    {
        var f = FilesBench.Read(FilesBench.Sample(name));
        var s = ShellFinder.Find(f.ToMesh(Affine.Scaling(8), new Lattice(14)));
        Assert.Equal((shells, open, openEdges, clashes),
            (s.Shells.Count, s.Shells.Count(x => x.OpenEdges > 0), s.Shells.Sum(x => x.OpenEdges), s.Shells.Sum(x => x.ClashingEdges)));
    }

    [Fact]
    public void Order_of_triangles_does_not_matter_and_removed_ones_are_the_open_edges()
    {
        var mesh = Welded(SpatialShapes.Join(SpatialShapes.Sphere(new(0, 0, 0), 5, 3), SpatialShapes.Torus(9, 2, 24, 12), Box(5, 5, 5, 6, 6, 6)));
        Gen.Int[0, int.MaxValue].Sample(seed =>
        {
            var r = new Random(seed);
            var order = Enumerable.Range(0, mesh.TriangleCount).ToArray();
            r.Shuffle(order);
            var shuffled = ShellFinder.Find(mesh.Part(order));
            Assert.Equal([12, 512, 576], shuffled.Shells.Select(x => x.Triangles.Length).Order());
            // Triangles far from each other removed: three open edges each.
            var removed = new HashSet<int>();
            var taken = new HashSet<int>();
            foreach (var t in order.Take(40))
                if (mesh.Corners.Slice(3 * t, 3).ToArray().All(taken.Add)) removed.Add(t);
            var open = ShellFinder.Find(mesh.Part(Enumerable.Range(0, mesh.TriangleCount).Where(t => !removed.Contains(t)).ToArray()));
            Assert.Equal(3 * removed.Count, open.Shells.Sum(x => x.OpenEdges));
        }, iter: 20, threads: 1);
    }

    private static OrientedMesh Settle(params Mesh[] parts)
    {
        var m = SpatialShapes.Join(parts);
        return Orientation.Settle(m, ShellFinder.Find(m));
    }

    private static double Volume(OrientedMesh m) => m.Mesh.SignedVolumeMm3();

    [Fact]
    public void A_shell_inside_out_in_the_open_is_turned_and_one_inside_solid_is_a_hollow()
    {
        Mesh body = Box(0, 0, 0, 10, 10, 10), hollow = Box(2, 2, 2, 4, 4, 4).Turned(), island = Box(2.5, 2.5, 2.5, 3, 3, 3), aside = Box(20, 0, 0, 22, 2, 2);
        var kept = Settle(body, hollow, island, aside);
        Assert.Equal(1000 - 8 + 0.125 + 8, Volume(kept), 9);
        Assert.Contains(kept.Notes, n => n is { Kind: "hollow-shell", Count: 1, Changed: false });
        var turned = Settle(body, hollow, island.Turned(), aside.Turned());
        Assert.Equal(1000 - 8 + 0.125 + 8, Volume(turned), 9);
        var note = Assert.Single(turned.Notes, n => n.Kind == "shell-inverted");
        Assert.Equal(2, note.Count);
    }

    [Fact]
    public void A_strut_inside_out_that_reaches_into_the_figure_is_turned_but_an_even_crossing_is_left_for_a_person()
    {
        var figure = Box(0, 0, 10, 10, 10, 20);
        var strut = Box(4, 4, 0, 5, 5, 10.5).Turned();
        Assert.Contains(Settle(figure, strut).Notes, n => n.Kind == "shell-inverted");
        var half = Box(4, 4, 5, 5, 5, 15).Turned();
        var left = Settle(figure, half);
        Assert.Contains(left.Notes, n => n is { Kind: "shell-unsure", Changed: false });
        Assert.Equal(1000 - 10, Volume(left), 9);
    }

    [Fact]
    public void A_file_wholly_inside_out_is_turned_as_a_whole()
    {
        var figure = SpatialShapes.Sphere(new(0, 0, 20), 8, 3);
        var strut = Box(-1, -1, 0, 1, 1, 13);
        var raft = Box(-5, -5, -1, 5, 5, 0.5);
        var o = Settle(figure.Turned(), strut.Turned(), raft.Turned());
        Assert.Equal(SpatialShapes.Join(figure, strut, raft).SignedVolumeMm3(), Volume(o), 9);
        Assert.Empty(Settle(figure, strut, raft).Notes);
    }

    [Fact]
    public void Flipping_any_triangles_of_separate_shells_gives_the_same_solid_again()
    {
        var parts = new[] { SpatialShapes.Sphere(new(0, 0, 0), 5, 3), SpatialShapes.Torus(20, 2, 24, 12), Box(40, 0, 0, 41, 1, 1) };
        var mesh = SpatialShapes.Join(parts);
        var volume = mesh.SignedVolumeMm3();
        Gen.Int[0, int.MaxValue].Sample(seed =>
        {
            var r = new Random(seed);
            var corners = mesh.Corners.ToArray();
            for (var t = 0; t < corners.Length; t += 3)
                if (r.NextDouble() < 0.3) (corners[t], corners[t + 1]) = (corners[t + 1], corners[t]);
            var messy = new Mesh(mesh.Lattice, mesh.XyzArray, corners);
            var o = Orientation.Settle(messy, ShellFinder.Find(messy));
            Assert.Equal(volume, Volume(o), 9);
            Assert.All(o.Shells.Shells, s => Assert.True(s.Closed));
            Assert.Contains(o.Notes, n => n.Kind == "triangles-turned");
        }, iter: 20, threads: 1);
    }

    [Fact]
    public void A_moebius_strip_is_left_and_told()
    {
        // 12 quads with half a turn; no way of turning its triangles makes all of them agree.
        var p = new List<Vec3>();
        for (var i = 0; i < 12; i++)
        {
            var a = 2 * Math.PI * i / 12;
            var d = new Vec3(Math.Cos(a) * Math.Cos(a / 2), Math.Sin(a) * Math.Cos(a / 2), Math.Sin(a / 2));
            p.Add(new Vec3(10 * Math.Cos(a), 10 * Math.Sin(a), 0) + 2 * d);
            p.Add(new Vec3(10 * Math.Cos(a), 10 * Math.Sin(a), 0) - 2 * d);
        }
        var f = new List<int>();
        for (var i = 0; i < 12; i++)
        {
            int a = 2 * i, b = 2 * i + 1, c = i < 11 ? 2 * i + 2 : 1, d = i < 11 ? 2 * i + 3 : 0;
            f.AddRange([a, b, c, b, d, c]);
        }
        var m = SpatialShapes.FromPoints(p, f);
        var o = Orientation.Settle(m, ShellFinder.Find(m));
        Assert.Contains(o.Notes, n => n is { Kind: "one-sided", Changed: false });
        Assert.Equal(m.CornersArray, o.Mesh.CornersArray);
    }

    [Fact]
    public void Exact_duplicates_go_where_nothing_opens_and_stay_where_two_bodies_need_them()
    {
        var box = Box(0, 0, 0, 2, 2, 2);
        var twice = Welded(SpatialShapes.Join(box, box));
        var r = Repair.Safe(twice);
        Assert.Equal(12, r.Mesh.TriangleCount);
        Assert.Contains(r.Notes, n => n is { Kind: "duplicates-dropped", Count: 12 });

        var stray = new Mesh(box.Lattice, box.XyzArray, [.. box.Corners, .. box.Corners[..3]]);
        r = Repair.Safe(stray);
        Assert.Equal(12, r.Mesh.TriangleCount);
        Assert.True(r.Shells.Shells[0].Closed);

        // A facet and its mirror on top of a box: nothing lies between them.
        var flap = new Mesh(box.Lattice, box.XyzArray, [.. box.Corners, 0, 5, 6, 0, 6, 5]);
        r = Repair.Safe(flap);
        Assert.Equal(12, r.Mesh.TriangleCount);
        Assert.Contains(r.Notes, n => n is { Kind: "duplicates-cancelled", Count: 1 });

        // Two boxes of one footprint: the bottom belongs to both.
        var shared = Welded(SpatialShapes.Join(Box(0, 0, 0, 2, 2, 2), Box(0, 0, 0, 2, 2, 5)));
        r = Repair.Safe(shared);
        Assert.Equal(24, r.Mesh.TriangleCount);
        Assert.Contains(r.Notes, n => n is { Kind: "duplicates-left", Changed: false });
        Assert.All(r.Shells.Shells, s => Assert.True(s.Closed));
    }

    [Fact]
    public void Small_flat_holes_are_filled_large_and_bent_ones_and_lone_triangles_are_left()
    {
        var sphere = SpatialShapes.Sphere(Vec3.Zero, 10, 4);
        var full = sphere.SignedVolumeMm3();
        var holed = sphere.Part(Enumerable.Range(0, sphere.TriangleCount).Where(t => t is not (7 or 800 or 1500)).ToArray());
        var r = Repair.Safe(holed);
        Assert.Contains(r.Notes, n => n is { Kind: "holes-filled", Count: 3 });
        Assert.Equal(full, r.Mesh.SignedVolumeMm3(), 9);
        Assert.True(Assert.Single(r.Shells.Shells).Closed);

        // The lid of a box of 8 mm: four edges, flat. An octant of a sphere: many edges, bent.
        var box = Box(0, 0, 0, 8, 8, 8);
        var open = box.Part([.. Enumerable.Range(0, 12).Where(t => box.AreaVector(t).Z <= 0)]);
        Assert.Equal(512, Repair.Safe(open).Mesh.SignedVolumeMm3(), 9);
        var bowl = sphere.Part([.. Enumerable.Range(0, sphere.TriangleCount).Where(t => sphere.Triangle(t) is var (a, b, c) && (a + b + c).Z < 0)]);
        r = Repair.Safe(bowl);
        Assert.Equal(bowl.TriangleCount, r.Mesh.TriangleCount);
        Assert.Contains(r.Notes, n => n is { Kind: "surface-open", Count: 64, Changed: false });
        var lone = sphere.Part([3]);
        Assert.Equal(1, Repair.Safe(lone).Mesh.TriangleCount);
    }

    [Fact]
    public void A_hole_with_something_in_it_is_left()
    {
        var box = Box(0, 0, 0, 8, 8, 8);
        var open = box.Part([.. Enumerable.Range(0, 12).Where(t => box.AreaVector(t).Z <= 0)]);
        var rod = Box(3, 3, 4, 5, 5, 12);
        var r = Repair.Safe(SpatialShapes.Join(open, rod));
        Assert.DoesNotContain(r.Notes, n => n.Kind == "holes-filled");
        Assert.Contains(r.Notes, n => n is { Kind: "surface-open", Count: 4 });
    }

    [Fact]
    public void Gaps_under_a_micrometre_are_stitched_and_wider_ones_are_left()
    {
        foreach (var (gap, closes) in new[] { (0.0005, true), (0.003, false) })
        {
            // A box whose lid was moved by the gap.
            var box = Box(0, 0, 0, 8, 8, 8);
            var lid = box.Part([.. Enumerable.Range(0, 12).Where(t => box.AreaVector(t).Z > 0)]).Placed(Affine.Translation(new(gap, 0, 0)), L);
            var rest = box.Part([.. Enumerable.Range(0, 12).Where(t => box.AreaVector(t).Z <= 0)]);
            var r = Repair.Safe(SpatialShapes.Join(rest, lid));
            Assert.Equal(closes, r.Notes.Any(n => n.Kind == "gaps-stitched"));
            Assert.Equal(closes, r.Shells.Shells.Count == 1 && r.Shells.Shells[0].Closed);
        }
    }

    [Fact]
    public void An_edge_that_runs_along_shorter_ones_is_divided()
    {
        // A tetrahedron of which one face has two more corners on one of its edges, which the neighbour lacks.
        var m = SpatialShapes.FromPoints([new(0, 0, 0), new(9, 0, 0), new(0, 9, 0), new(0, 0, 9), new(3, 0, 0), new(6, 0, 0)],
            [0, 2, 4, 4, 2, 5, 5, 2, 1, 0, 1, 3, 0, 3, 2, 1, 2, 3]);
        var r = Repair.Safe(m);
        Assert.Contains(r.Notes, n => n is { Kind: "edges-divided", Count: 1 });
        Assert.True(Assert.Single(r.Shells.Shells).Closed);
        Assert.Equal(9.0 * 9 * 9 / 6, r.Mesh.SignedVolumeMm3(), 9);
    }

    [Theory]
    [InlineData("spearman-faulty.stl")]
    [InlineData("skeleton-with-sword.stl")]
    [InlineData("chair.stl")]
    [InlineData("spider-binary.stl")]
    [InlineData("riser-solid-header-open.stl")]
    public void Repairing_twice_changes_nothing_more(string name)
    {
        var f = FilesBench.Read(FilesBench.Sample(name));
        var once = Repair.Safe(f.ToMesh(Affine.Scaling(8), new Lattice(14)));
        var settled = Orientation.Settle(once.Mesh, once.Shells);
        var again = Repair.Safe(settled.Mesh);
        Assert.DoesNotContain(again.Notes, n => n.Changed);
        Assert.Equal(settled.Mesh.CornersArray, again.Mesh.CornersArray);
        Assert.DoesNotContain(Orientation.Settle(again.Mesh, again.Shells).Notes, n => n.Changed);
    }
}
