using CsCheck;
using Stiltwright.Geometry.Booleans;
using Stiltwright.Geometry.Cutting;
using Stiltwright.Geometry.Spatial;
using static Stiltwright.Geometry.Tests.CuttingBodies;

namespace Stiltwright.Geometry.Tests;

/// <summary>
/// Unions, differences and intersections of bodies on few lattice planes, where faces, edges and corners coincide all the time. The truth for
/// boxes is a count of grid cells, made here; for other bodies the laws that any measure obeys.
/// </summary>
public class BooleansTests
{
    private const int Grid = 5;
    // Above the 16 units up to which a shell that arises counts as a crumb.
    private static readonly int[] Units = [24, 61, 65536];

    private static readonly Gen<int[]> Box = Gen.Int[0, Grid - 1].Array[3].SelectMany(low => Gen.Int[1, Grid].Array[3].Select(size => (int[])
        [low[0], low[1], low[2], Math.Min(Grid, low[0] + size[0]), Math.Min(Grid, low[1] + size[1]), Math.Min(Grid, low[2] + size[2])]));

    private static Mesh Boxes(int[][] boxes, int unit) => Mesh.Concat(L, boxes.Select(b =>
    {
        var m = Primitives.Box(L, Vec3.Zero, new(1, 1, 1));
        var xyz = m.XyzArray.Select((c, i) => (c > 0 ? b[3 + i % 3] : b[i % 3]) * unit).ToArray();
        return new Mesh(L, xyz, m.CornersArray);
    }));

    // Cells of the grid that lie in any of the boxes.
    private static bool[] Cells(int[][] boxes)
    {
        var cells = new bool[Grid * Grid * Grid];
        foreach (var b in boxes)
            for (var x = b[0]; x < b[3]; x++)
                for (var y = b[1]; y < b[4]; y++)
                    for (var z = b[2]; z < b[5]; z++) cells[(x * Grid + y) * Grid + z] = true;
        return cells;
    }

    private static void Clean(Mesh m)
    {
        var edges = EdgePairing.Build(m);
        Assert.Equal(0, edges.CrowdedEdges);
        for (var h = 0; h < edges.Twin.Length; h++) Assert.True(edges.Twin[h] >= 0 && !edges.Clashes(h), "an edge is not paired");
        // By place: surfaces that only touch have corners of their own there.
        Assert.Empty(SelfCrossings.Find(m.Welded()));
    }

    private static void IsCells(Mesh m, Func<int, bool> cell, int unit)
    {
        Clean(m);
        var count = Enumerable.Range(0, Grid * Grid * Grid).Count(cell);
        // New corners (where a face's diagonal meets another box's edge) lie as near their exact places as the boolean says: no volume moves farther than its surface.
        var area = Enumerable.Range(0, m.TriangleCount).Sum(t => m.AreaVector(t).Length);
        var moved = area * Math.Sqrt(3) * (CornerPlaces.Farthest + 0.5) * L.UnitMm;
        Assert.InRange(m.SignedVolumeMm3() - count * Math.Pow(unit * L.UnitMm, 3), -moved, moved);
        if (m.TriangleCount == 0) return;
        var tree = TriangleTree.Build(m);
        for (var i = 0; i < Grid * Grid * Grid; i++)
        {
            var p = new Vec3(i / (Grid * Grid) + 0.5, i / Grid % Grid + 0.5, i % Grid + 0.5) * (unit * L.UnitMm);
            Assert.Equal(cell(i) ? 1 : 0, tree.Winding(p));
        }
    }

    [Fact]
    public void Boxes_that_share_faces_edges_and_corners_give_the_cells_that_a_count_gives() =>
        Gen.Select(Box.Array[1, 3], Box.Array[1, 3], Gen.Int[0, 2]).Sample((a, b, u) =>
        {
            Mesh x = Boxes(a, Units[u]), y = Boxes(b, Units[u]);
            bool[] p = Cells(a), q = Cells(b);
            IsCells(MeshBoolean.Union(x, y), i => p[i] || q[i], Units[u]);
            IsCells(MeshBoolean.Common(x, y), i => p[i] && q[i], Units[u]);
            IsCells(MeshBoolean.Difference(x, y), i => p[i] && !q[i], Units[u]);
            IsCells(MeshBoolean.Resolved(x), i => p[i], Units[u]);
        }, iter: 1200, threads: 2);

    [Fact]
    public void Bodies_of_a_few_lattice_units_come_out_without_a_crossing_or_are_refused()
    {
        // So small that there is often no lattice place for a corner; what is given back is sound all the same.
        int refused = 0, made = 0;
        Gen.Select(Box.Array[1, 3], Box.Array[1, 3], Gen.Int[1, 3]).Sample((a, b, unit) =>
        {
            try
            {
                Clean(MeshBoolean.Union(Boxes(a, unit), Boxes(b, unit)));
                Interlocked.Increment(ref made);
            }
            catch (CuttingException e)
            {
                Assert.Contains("could not be placed on the lattice", e.Message, StringComparison.Ordinal);
                Interlocked.Increment(ref refused);
            }
        }, iter: 300, threads: 2);
        Assert.True(made > refused, $"{refused} of {made + refused} refused");
    }

    // Wedges around common corners of a coarse grid: faces in one plane, edges along each other, points that touch.
    private static readonly Gen<Mesh> Wedges = Gen.Int[-2, 2].Array[12].Array[1, 4].Select(all =>
    {
        var xyz = new List<int>();
        var corners = new List<int>();
        foreach (var w in all)
        {
            long D(int i, int k) => w[i + k] - w[k];
            var six = D(3, 0) * (D(6, 1) * D(9, 2) - D(6, 2) * D(9, 1)) - D(3, 1) * (D(6, 0) * D(9, 2) - D(6, 2) * D(9, 0)) + D(3, 2) * (D(6, 0) * D(9, 1) - D(6, 1) * D(9, 0));
            if (six == 0) continue;
            var v = xyz.Count / 3;
            xyz.AddRange(w.Select(c => c * 65536 * 4));
            var (b, c2) = six > 0 ? (v + 2, v + 3) : (v + 3, v + 2);
            corners.AddRange([v + 1, b, c2, v, b, v + 1, v, c2, b, v, v + 1, c2]);
        }
        return new Mesh(L, [.. xyz], [.. corners]);
    });

    [Fact]
    public void Volumes_of_union_and_intersection_add_up_to_those_of_the_bodies() =>
        Gen.Select(Wedges, Wedges).Sample((a, b) =>
        {
            Mesh union = MeshBoolean.Union(a, b), common = MeshBoolean.Common(a, b), less = MeshBoolean.Difference(a, b), whole = MeshBoolean.Resolved(a), other = MeshBoolean.Resolved(b);
            foreach (var m in (Mesh[])[union, common, less, whole, other]) Clean(m);
            Assert.Equal(whole.SignedVolumeMm3() + other.SignedVolumeMm3(), union.SignedVolumeMm3() + common.SignedVolumeMm3(), 0.02);
            Assert.Equal(whole.SignedVolumeMm3(), less.SignedVolumeMm3() + common.SignedVolumeMm3(), 0.02);
            // What was taken away and is put back restores the body.
            Assert.Equal(whole.SignedVolumeMm3(), MeshBoolean.Union(less, common).SignedVolumeMm3(), 0.02);
            Assert.InRange(union.SignedVolumeMm3(), Math.Max(whole.SignedVolumeMm3(), other.SignedVolumeMm3()) - 0.01, whole.SignedVolumeMm3() + other.SignedVolumeMm3() + 0.01);
        }, iter: 1000, threads: 2);

    [Fact]
    public void Windings_of_the_union_are_those_of_its_parts_cut_off_at_one() =>
        Gen.Select(Wedges, Wedges, Gen.Int).Sample((a, b, seed) =>
        {
            if (a.TriangleCount == 0 || b.TriangleCount == 0) return;
            TriangleTree ta = TriangleTree.Build(a), tb = TriangleTree.Build(b);
            var reach = a.Bounds.With(b.Bounds);
            bool Near(Vec3 p) => ta.Closest(p).Distance < 1e-3 || tb.Closest(p).Distance < 1e-3;
            SameWindings(MeshBoolean.Union(a, b), p => Near(p) ? null : ta.Winding(p) >= 1 || tb.Winding(p) >= 1 ? 1 : 0, reach, 40, seed);
            SameWindings(MeshBoolean.Difference(a, b), p => Near(p) ? null : ta.Winding(p) >= 1 && tb.Winding(p) < 1 ? 1 : 0, reach, 40, seed);
        }, iter: 300, threads: 2);

    [Fact]
    public void Turning_shifting_and_doubling_both_bodies_does_the_same_to_the_result() =>
        Gen.Select(Wedges, Wedges, Gen.Int[-9, 9].Array[3]).Sample((a, b, shift) =>
        {
            // A third of a turn about the room's diagonal, a shift by whole units and a doubling are exact on the lattice.
            Mesh Moved(Mesh m) => new(L, [.. Enumerable.Range(0, m.XyzArray.Length).Select(i => 2 * m.XyzArray[i / 3 * 3 + (i + 1) % 3] + 12345 * shift[i % 3])], m.CornersArray);
            var plain = MeshBoolean.Difference(a, b).SignedVolumeMm3();
            Assert.Equal(8 * plain, MeshBoolean.Difference(Moved(a), Moved(b)).SignedVolumeMm3(), 0.2);
        }, iter: 200, threads: 2);

    [Fact]
    public void A_body_united_with_itself_is_itself_and_taken_from_itself_is_nothing()
    {
        var ball = Primitives.Sphere(L, new(1, 2, 3), 5, 12);
        Assert.Equal(ball.SignedVolumeMm3(), MeshBoolean.Union(ball, ball).SignedVolumeMm3(), 9);
        Assert.Equal(ball.SignedVolumeMm3(), MeshBoolean.Common(ball, ball).SignedVolumeMm3(), 9);
        Assert.Equal(0, MeshBoolean.Difference(ball, ball).TriangleCount);
        Assert.Equal(ball.TriangleCount, MeshBoolean.Union(ball, ball).TriangleCount);
    }

    [Fact]
    public void Two_balls_have_the_lens_of_the_handbook_in_common()
    {
        // Lens of two balls of radius R at distance d: pi (4 R + d) (2 R - d)^2 / 12 (Weisstein, "Sphere-Sphere Intersection").
        Mesh a = Primitives.Sphere(L, Vec3.Zero, 10, 60), b = Primitives.Sphere(L, new(7, 0.5, 0.25), 10, 60);
        var d = new Vec3(7, 0.5, 0.25).Length;
        var common = MeshBoolean.Common(a, b);
        Clean(common);
        Assert.Equal(1, common.SignedVolumeMm3() / (Math.PI * (40 + d) * Math.Pow(20 - d, 2) / 12), 0.006);
        Assert.Equal(a.SignedVolumeMm3() + b.SignedVolumeMm3(), MeshBoolean.Union(a, b).SignedVolumeMm3() + common.SignedVolumeMm3(), 0.001);
    }

    [Fact]
    public void A_tube_that_crosses_itself_becomes_one_clean_surface()
    {
        var eight = Eight(20, 4);
        var clean = MeshBoolean.Resolved(eight);
        Clean(clean);
        var tree = TriangleTree.Build(eight);
        SameWindings(clean, p => tree.Closest(p).Distance < 1e-4 ? null : tree.Winding(p) >= 1 ? 1 : 0, eight.Bounds.Grown(1), 4000, 5);
    }

    [Fact]
    public void A_hollow_keeps_its_cavity_and_an_open_surface_is_refused_with_its_place()
    {
        var hollow = Mesh.Concat(L, [Primitives.Sphere(L, Vec3.Zero, 10, 12), Primitives.Sphere(L, Vec3.Zero, 7, 12).Turned()]);
        var bar = Primitives.Box(L, new(-12, -1, -1), new(12, 1, 1));
        var united = MeshBoolean.Union(hollow, bar);
        Clean(united);
        var tree = TriangleTree.Build(united);
        Assert.Equal(0, tree.Winding(new(0, 5, 0.1)));
        Assert.Equal(1, tree.Winding(new(0, 0.1, 0.2)));
        Assert.Equal(1, tree.Winding(new(0.1, 8.5, 0.2)));
        var open = bar.Part([0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10]);
        Assert.Contains("not closed", Assert.Throws<CuttingException>(() => MeshBoolean.Union(hollow, open)).Message, StringComparison.Ordinal);
    }
}
