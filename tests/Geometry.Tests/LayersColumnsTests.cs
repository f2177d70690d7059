using CsCheck;
using Stiltwright.Geometry.Layers;
using static Stiltwright.Geometry.Tests.LayersScenes;

namespace Stiltwright.Geometry.Tests;

public class LayersColumnsTests
{
    private static Columns Build(double pitch, params Mesh[] meshes) =>
        Columns.Build([.. meshes.Select(m => new ColumnPart(m, 0))], ColumnGrid.Covering(BoundsOf(meshes), pitch), default);

    [Fact]
    public void A_box_between_cell_borders_has_its_exact_volume_and_the_handbook_inertia()
    {
        // Handbook: a cuboid of mass m has Ixx = m (b2 + c2) / 12.
        var mass = Build(0.125, Box(1, 2, 3, 5, 8, 13)).Mass();
        Assert.Equal(240, mass.VolumeMm3, 9);
        Assert.True(mass.Centroid.DistanceTo(new Vec3(3, 5, 8)) < 1e-9);
        Assert.Equal(240 * (36 + 100) / 12.0, mass.Ixx, 6);
        Assert.Equal(240 * (16 + 100) / 12.0, mass.Iyy, 6);
        Assert.Equal(240 * (16 + 36) / 12.0, mass.Izz, 6);
        Assert.Equal(0, mass.Ixy, 6);
        Assert.Equal(0, mass.Iyz, 6);
    }

    [Fact]
    public void A_tilted_box_keeps_volume_and_trace_of_inertia()
    {
        var m = Tilted(Box(0, 0, 0, 4, 6, 10), 0.7, 0.4);
        var columns = Build(0.05, m);
        var mass = columns.Mass();
        Assert.Equal(0, columns.OpenColumns);
        Assert.Equal(m.SignedVolumeMm3(), mass.VolumeMm3, 240 * 2e-4);
        // The trace of the inertia tensor does not depend on the axes: m (a2 + b2 + c2) / 6.
        Assert.Equal(240 * (16 + 36 + 100) / 6.0, mass.Ixx + mass.Iyy + mass.Izz, 3.0);
        Assert.True(mass.Centroid.DistanceTo(m.Bounds.Center) < 0.01);
    }

    [Fact]
    public void A_sphere_has_the_volume_of_its_own_triangles_within_the_spread_it_states()
    {
        var m = Sphere(new Vec3(0.013, 0.027, 9), 8);
        var columns = Build(0.05, m);
        var volume = columns.VolumeWithSpread();
        Assert.Equal(columns.VolumeMm3(), volume.VolumeMm3, 6);
        Assert.True(Math.Abs(volume.VolumeMm3 - m.SignedVolumeMm3()) <= volume.SpreadMm3, $"{volume} against {m.SignedVolumeMm3()}");
        Assert.True(volume.SpreadMm3 < 1e-3 * volume.VolumeMm3);
    }

    [Fact]
    public void Two_overlapping_spheres_count_their_lens_once()
    {
        // Handbook: the lens of two spheres of radius r at distance d has pi (4 r + d)(2 r - d)^2 / 12.
        const double r = 6, d = 7;
        var columns = Build(0.05, Sphere(new Vec3(0, 0, 7), r, 180, 240), Sphere(new Vec3(d, 0, 7), r, 180, 240));
        var lens = Math.PI * (4 * r + d) * (2 * r - d) * (2 * r - d) / 12;
        var union = 2 * 4.0 / 3 * Math.PI * r * r * r - lens;
        Assert.Equal(union, columns.VolumeMm3(), union * 1e-3);
        var twice = columns.Runs(least: 2);
        long units = 0;
        for (var k = 0; k < twice.Count; k++) units += twice.Z1[k] - twice.Z0[k];
        Assert.Equal(lens, units * twice.UnitMm * columns.Grid.CellMm2, lens * 5e-3);
    }

    [Fact]
    public void Union_and_intersection_add_up_to_the_parts_exactly()
    {
        var a = Tilted(Box(0, 0, 0, 5, 6, 7), 0.4, 1.1);
        var b = Sphere(new Vec3(4, 3, 5), 3);
        var grid = ColumnGrid.Covering(BoundsOf([a, b]), 0.07);
        var both = Columns.Build([new(a, 1), new(b, 2)], grid, default);
        static long Units(ColumnRuns r)
        {
            long sum = 0;
            for (var k = 0; k < r.Count; k++) sum += r.Z1[k] - r.Z0[k];
            return sum;
        }
        Assert.Equal(
            Units(both.Runs(Columns.MaskOf(1))) + Units(both.Runs(Columns.MaskOf(2))),
            Units(both.Runs()) + Units(both.Runs(least: 2)));
        Assert.Equal(Units(Columns.Build([new(a, 0)], grid, default).Runs()), Units(both.Runs(Columns.MaskOf(1))));
    }

    [Fact]
    public void A_copy_laid_over_changes_nothing_and_a_hollow_takes_away()
    {
        var ball = Sphere(new Vec3(0, 0, 6), 5);
        var core = Sphere(new Vec3(0, 0, 6), 3);
        var once = Build(0.1, ball);
        Assert.Equal(once.VolumeMm3(), Build(0.1, ball, ball).VolumeMm3(), 9);
        var shell = once.With([new ColumnPart(core.Turned(), 1)], default);
        Assert.Equal(once.VolumeMm3() - Columns.Build([new(core, 0)], once.Grid, default).VolumeMm3(), shell.VolumeMm3(), 6);
        Assert.Equal(once.VolumeMm3(), shell.VolumeMm3(Columns.MaskOf(0)), 9);
        Assert.False(shell.Runs().Holds(new Vec3(0, 0, 6)));
        Assert.True(shell.Runs().Holds(new Vec3(0, 0, 2)));
    }

    [Fact]
    public void Every_closed_shell_leaves_each_column_as_often_as_it_enters_even_with_corners_on_the_axes()
    {
        // Vertices on multiples of a quarter pitch meet column axes, edges and each other all the time.
        Gen.Int[0, 12].Array[18].Sample(n =>
        {
            const double q = 0.125;
            static (int, int) Order(int a, int b) => a < b ? (a, b) : a > b ? (b, a) : (a, a + 1);
            var boxes = new Mesh[3];
            for (var k = 0; k < 3; k++)
            {
                var (x0, x1) = Order(n[6 * k], n[6 * k + 1]);
                var (y0, y1) = Order(n[6 * k + 2], n[6 * k + 3]);
                var (z0, z1) = Order(n[6 * k + 4], n[6 * k + 5]);
                boxes[k] = Box(x0 * q, y0 * q, z0 * q, x1 * q, y1 * q, z1 * q);
            }
            // A shear in z and a flip of x and y keep the corners on the grid but tilt the faces.
            var shear = new Affine(1, 0, 0, 0, 1, 0, 0.5, 0.25, 1, Vec3.Zero);
            var meshes = boxes.Select((m, k) => k == 1 ? m.Placed(shear, Fine) : m).ToArray();
            var grid = ColumnGrid.Covering(BoundsOf(meshes), 0.25);
            var columns = Columns.Build([.. meshes.Select((m, k) => new ColumnPart(m, (byte)k))], grid, default);
            return columns.OpenColumns == 0;
        }, iter: 300);
    }

    [Fact]
    public void A_missing_triangle_shows_as_open_columns_of_its_own_area()
    {
        var m = Sphere(new Vec3(0, 0, 6), 5, 16, 24);
        var open = m.Part([.. Enumerable.Range(0, m.TriangleCount).Where(t => t != 500)]);
        var grid = ColumnGrid.Covering(m.Bounds, 0.02);
        var columns = Columns.Build([new(open, 0)], grid, default);
        Assert.Equal(Math.Abs(m.AreaVector(500).Z), columns.OpenColumns * grid.CellMm2, 0.02);
    }

    [Fact]
    public void Winding_matches_a_naive_count_of_crossings_along_the_axis()
    {
        // The twin: ray against every triangle in doubles, at axes away from all edges.
        Gen.Int[1, 1_000_000].Sample(seed =>
        {
            var random = new Random(seed);
            var meshes = Enumerable.Range(0, 3).Select(_ => Tilted(
                Box(0, 0, 0, 1 + random.NextDouble() * 4, 1 + random.NextDouble() * 4, 1 + random.NextDouble() * 4), random.NextDouble() * 6, random.NextDouble() * 6)).ToArray();
            var grid = ColumnGrid.Covering(BoundsOf(meshes), 0.31);
            var runs = Columns.Build([.. meshes.Select(m => new ColumnPart(m, 0))], grid, default).Runs();
            for (var n = 0; n < 200; n++)
            {
                int i = random.Next(grid.Nx), j = random.Next(grid.Ny);
                var p = new Vec3(grid.X(i), grid.Y(j), -5 + random.NextDouble() * 12);
                var w = meshes.Sum(m => WindingAbove(m, p));
                if (runs.Holds(p) != w >= 1) return false;
            }
            return true;
        }, iter: 30);
    }

    private static int WindingAbove(Mesh m, Vec3 p)
    {
        var w = 0;
        for (var t = 0; t < m.TriangleCount; t++)
        {
            var (a, b, c) = m.Triangle(t);
            double Side(Vec3 u, Vec3 v) => (v.X - u.X) * (p.Y - u.Y) - (v.Y - u.Y) * (p.X - u.X);
            double s0 = Side(a, b), s1 = Side(b, c), s2 = Side(c, a), area = s0 + s1 + s2;
            if (!(s0 > 0 && s1 > 0 && s2 > 0) && !(s0 < 0 && s1 < 0 && s2 < 0)) continue;
            if ((a.Z * s1 + b.Z * s2 + c.Z * s0) / area > p.Z) w += area > 0 ? 1 : -1;
        }
        return w;
    }

    [Fact]
    public void One_thread_and_many_give_the_same_columns()
    {
        var meshes = new[] { Sphere(new Vec3(3, 3, 6), 5), Tilted(Box(0, 0, 0, 9, 4, 5), 0.6, 0.5) };
        var grid = ColumnGrid.Covering(BoundsOf(meshes), 0.06);
        var parts = meshes.Select((m, k) => new ColumnPart(m, (byte)k)).ToArray();
        ColumnRuns one = Columns.Build(parts, grid, default, 1).Runs(), many = Columns.Build(parts, grid, default, 4).Runs();
        Assert.Equal(one.Start, many.Start);
        Assert.Equal(one.Z0, many.Z0);
        Assert.Equal(one.Z1, many.Z1);
    }

    [Fact]
    public void The_pitch_keeps_a_grid_to_its_number_of_columns()
    {
        var box = new Box3(new Vec3(-100.3, -77.1, 0), new Vec3(95, 88, 300));
        var pitch = ColumnGrid.PitchFor(box, 2_000_000);
        Assert.InRange(ColumnGrid.Covering(box, pitch).Count, 1_000_000, 2_000_000);
        Assert.Equal(13.0 / 256, ColumnGrid.PitchFor(new Box3(Vec3.Zero, new Vec3(5, 5, 5)), 2_000_000));
        Assert.Throws<ArgumentException>(() => Columns.Build([new(Box(0, 0, 0, 9, 9, 9), 0)], ColumnGrid.Covering(new Box3(Vec3.Zero, new Vec3(5, 5, 5)), 0.1), default));
    }
}
