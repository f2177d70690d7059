using CsCheck;

namespace Stiltwright.Geometry.Tests;

/// <summary>Every limit of the repair from both sides: just within it is mended, counted and placed; just beyond it nothing is touched and the place is told.</summary>
public class RepairLimitsTests
{
    private static readonly Lattice L = new(16);

    private static RepairNote Note(OrientedMesh m, string kind) => Assert.Single(m.Notes, n => n.Kind == kind);

    private static void IsLeftOpen(OrientedMesh m, Mesh before, int edges, Box3 where)
    {
        Assert.DoesNotContain(m.Notes, n => n.Changed);
        Assert.Equal(before.CornersArray, m.Mesh.CornersArray);
        var note = Note(m, "surface-open");
        Assert.Equal(edges, note.Count);
        Assert.True(where.Grown(1e-3).Holds(note.At!.Value), $"told at {note.At}");
        Assert.DoesNotContain(m.Shells.Shells, s => s.Closed);
    }

    [Theory]
    [InlineData(65, true)]  // 0.00099 mm
    [InlineData(66, false)] // 0.00101 mm
    public void A_crack_is_stitched_up_to_a_micrometre_and_no_unit_wider(int units, bool closes)
    {
        var box = Primitives.Box(L, Vec3.Zero, new(8, 8, 8));
        var lid = box.Part([.. Enumerable.Range(0, 12).Where(t => box.AreaVector(t).Z > 0)]).Placed(Affine.Translation(new(0, units * L.UnitMm, 0)), L);
        var rest = box.Part([.. Enumerable.Range(0, 12).Where(t => box.AreaVector(t).Z <= 0)]);
        var cracked = Mesh.Concat(L, [rest, lid]);
        var r = Repair.Safe(cracked);
        if (closes)
        {
            var note = Note(r, "gaps-stitched");
            Assert.Equal((4, true), (note.Count, note.Changed));
            Assert.Equal(8, note.At!.Value.Z, 9);
            Assert.True(Assert.Single(r.Shells.Shells).Closed);
            Assert.Equal(512, r.Mesh.SignedVolumeMm3(), 0.1);
        }
        else
        {
            // The two triangles of the lid lie in the hole's own mouth, so it is no hole to fill either.
            Assert.DoesNotContain(r.Notes, n => n.Kind == "gaps-stitched");
            Assert.Equal(8, Note(r, "surface-open").Count);
            Assert.Equal(8, Note(r, "surface-open").At!.Value.Z, 9);
        }
    }

    [Theory]
    [InlineData(8, true)]
    [InlineData(9, false)]
    public void A_flat_hole_is_filled_up_to_eight_edges(int edges, bool fills)
    {
        var prism = Primitives.Prism(L, Vec3.Zero, new(0, 0, 4), 3, edges);
        var open = prism.Part([.. Enumerable.Range(0, prism.TriangleCount).Where(t => prism.AreaVector(t) is var n && n.Z < 0.9 * n.Length)]);
        var r = Repair.Safe(open);
        if (!fills)
        {
            IsLeftOpen(r, open, edges, new Box3(new(-3, -3, 4), new(3, 3, 4)));
            return;
        }
        var note = Note(r, "holes-filled");
        Assert.Equal((1, true), (note.Count, note.Changed));
        Assert.Equal(0, note.At!.Value.DistanceTo(new(0, 0, 4)), 3);
        Assert.Equal(prism.SignedVolumeMm3(), r.Mesh.SignedVolumeMm3(), 9);
        Assert.True(Assert.Single(r.Shells.Shells).Closed);
    }

    // Opposite corners of a square mouth of 8 mm lifted by 2 h leave its plane by h each way; the mouth is 4 sqrt(64 + 4 h^2) long.
    [Theory]
    [InlineData(0.63, true)]  // 0.0194 of the length
    [InlineData(0.67, false)] // 0.0207
    public void A_bent_hole_is_filled_up_to_a_fiftieth_of_its_length(double h, bool fills)
    {
        Assert.Equal(fills, h < Repair.HoleFlatness * 4 * Math.Sqrt(64 + 4 * h * h));
        var cup = SpatialShapes.FromPoints(
            [new(0, 0, 0), new(8, 0, 0), new(8, 8, 0), new(0, 8, 0), new(0, 0, 8 + 2 * h), new(8, 0, 8), new(8, 8, 8 + 2 * h), new(0, 8, 8)],
            [0, 2, 1, 0, 3, 2, 0, 1, 5, 0, 5, 4, 1, 2, 6, 1, 6, 5, 2, 3, 7, 2, 7, 6, 3, 0, 4, 3, 4, 7]);
        var r = Repair.Safe(cup);
        if (fills)
        {
            Assert.Equal(1, Note(r, "holes-filled").Count);
            Assert.True(Assert.Single(r.Shells.Shells).Closed);
        }
        else IsLeftOpen(r, cup, 4, new Box3(new(0, 0, 8), new(8, 8, 8 + 2 * h)));
    }

    [Fact]
    public void Holes_beyond_the_limit_stay_while_those_within_it_beside_them_are_filled_and_each_is_counted()
    {
        var wide = Primitives.Prism(L, new(20, 0, 0), new(20, 0, 4), 3, 12);
        var narrow = Primitives.Prism(L, Vec3.Zero, new(0, 0, 4), 3, 6);
        Mesh Open(Mesh m) => m.Part([.. Enumerable.Range(0, m.TriangleCount).Where(t => Math.Abs(m.AreaVector(t).Z) < 0.9 * m.AreaVector(t).Length)]);
        var r = Repair.Safe(Mesh.Concat(L, [Open(wide), Open(narrow)]));
        Assert.Equal(2, Note(r, "holes-filled").Count);
        var open = Note(r, "surface-open");
        Assert.Equal((24, false), (open.Count, open.Changed));
        Assert.True(wide.Bounds.Holds(open.At!.Value));
        Assert.Equal(narrow.SignedVolumeMm3(), r.Mesh.Part(r.Shells.Shells.Single(s => s.Closed).Triangles).SignedVolumeMm3(), 9);
    }

    // By Archimedes a slice of a ball's height has the same share of its surface: a ball inside out that dips into a box by a share of its height.
    [Theory]
    [InlineData(0.17, true)]
    [InlineData(0.23, false)]
    public void A_shell_inside_out_that_dips_into_another_is_turned_only_where_four_fifths_lie_outside(double dips, bool turned)
    {
        var block = Primitives.Box(L, new(-10, -10, -20), new(10, 10, 0));
        var ball = Primitives.Sphere(L, new(0, 0, 5 - 10 * dips), 5, 24);
        var mesh = Mesh.Concat(L, [block, ball.Turned()]);
        var r = Orientation.Settle(mesh, ShellFinder.Find(mesh));
        var note = Note(r, turned ? "shell-inverted" : "shell-unsure");
        Assert.Equal((1, turned), (note.Count, note.Changed));
        Assert.True(ball.Bounds.Holds(note.At!.Value));
        Assert.Equal(block.SignedVolumeMm3() + (turned ? 1 : -1) * ball.SignedVolumeMm3(), r.Mesh.SignedVolumeMm3(), 6);
    }

    [Fact]
    public void Every_turned_triangle_is_counted_and_the_first_is_placed() =>
        Gen.Int[0, int.MaxValue].Sample(seed =>
        {
            var ball = Primitives.Sphere(L, new(1, 2, 3), 5, 8);
            var random = new Random(seed);
            var corners = ball.Corners.ToArray();
            int turned = 0, first = -1;
            for (var t = 0; t < ball.TriangleCount; t++)
            {
                if (random.NextDouble() >= 0.4) continue;
                (corners[3 * t + 1], corners[3 * t + 2]) = (corners[3 * t + 2], corners[3 * t + 1]);
                if (first < 0) first = t;
                turned++;
            }
            var messy = new Mesh(L, ball.XyzArray, corners);
            var r = Orientation.Settle(messy, ShellFinder.Find(messy));
            if (turned == 0) return;
            var note = Note(r, "triangles-turned");
            Assert.Equal(turned, note.Count);
            Assert.Equal(ball.Vertex(ball.Corners[3 * first]), note.At);
            Assert.Equal(ball.CornersArray.Length, r.Mesh.CornersArray.Length);
            Assert.Equal(ball.SignedVolumeMm3(), r.Mesh.SignedVolumeMm3());
        }, iter: 30, threads: 1);

    [Fact]
    public void Cracks_holes_doubled_facets_and_flipped_shells_together_come_back_as_the_bodies_they_were_each_change_counted()
    {
        // A cracked box, a ball with a facet missing and another doubled, and a box inside out.
        var box = Primitives.Box(L, Vec3.Zero, new(8, 8, 8));
        var lid = box.Part([.. Enumerable.Range(0, 12).Where(t => box.AreaVector(t).Z > 0)]).Placed(Affine.Translation(new(0.0004, 0, 0)), L);
        var rest = box.Part([.. Enumerable.Range(0, 12).Where(t => box.AreaVector(t).Z <= 0)]);
        var ball = Primitives.Sphere(L, new(30, 0, 0), 5, 8);
        var holed = ball.Part([.. Enumerable.Range(0, ball.TriangleCount).Where(t => t != 40), 100]);
        var aside = Primitives.Box(L, new(0, 30, 0), new(3, 33, 3));
        var safe = Repair.Safe(Mesh.Concat(L, [rest, lid, holed, aside.Turned()]));
        var settled = Orientation.Settle(safe.Mesh, safe.Shells);
        Assert.Equal(4, Note(safe, "gaps-stitched").Count);
        Assert.Equal(1, Note(safe, "holes-filled").Count);
        Assert.Equal(1, Note(safe, "duplicates-dropped").Count);
        Assert.Equal(1, Note(settled, "shell-inverted").Count);
        Assert.All(safe.Notes.Concat(settled.Notes), n => Assert.True(n.Changed && n.At is not null && n.Text.Length > 20, n.Text));
        Assert.Equal(3, settled.Shells.Shells.Count);
        Assert.All(settled.Shells.Shells, s => Assert.True(s.Closed && s.SignedVolumeMm3 > 0));
        Assert.Equal(512 + 27 + ball.SignedVolumeMm3(), settled.Mesh.SignedVolumeMm3(), 0.05);
    }
}
