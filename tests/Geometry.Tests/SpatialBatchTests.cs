using CsCheck;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Tests;

/// <summary>Many points at once against one by one, and winding numbers of soups against the sum of solid angles.</summary>
public class SpatialBatchTests
{
    private static readonly Gen<Vec3> Point = Gen.Select(Gen.Double[-12, 12], Gen.Double[-12, 12], Gen.Double[-12, 12], (x, y, z) => new Vec3(x, y, z));

    // A wavy ball of any fineness with a large plate and a needle: triangles of very unlike sizes in one tree.
    private static readonly Gen<Mesh> Scene = Gen.Select(Gen.Int[1, 5], Gen.Double[0, 3], Point, (levels, wave, at) => SpatialShapes.Join(
        SpatialShapes.Divided(levels, u => at * 0.3 + u * (6 + 0.3 * wave * Math.Sin(9 * u.X + wave) * Math.Cos(7 * u.Y))),
        SpatialShapes.Box(new(-11, -11, -8), new(11, 11, -7.5)),
        SpatialShapes.Box(new(0, 0, -10), new(0.01, 0.02, 10))));

    [Fact]
    public void Nearest_points_of_many_are_those_of_one_by_one_and_of_looking_at_every_triangle() =>
        Gen.Select(Scene, Point.Array[100, 300], Gen.Double[0.01, 30]).Sample((mesh, points, within) =>
        {
            var tree = TriangleTree.Build(mesh);
            var all = tree.Closest(points, within, 2);
            for (var i = 0; i < points.Length; i++)
            {
                if (tree.Closest(points[i], within) != all[i]) return false;
                if (i % 16 != 0) continue;
                var best = double.PositiveInfinity;
                for (var t = 0; t < mesh.TriangleCount; t++)
                {
                    var (a, b, c) = mesh.Triangle(t);
                    best = Math.Min(best, TriangleDistance.ClosestPoint(points[i], a, b, c).DistanceTo(points[i]));
                }
                if (best < within ? Math.Abs(best - all[i].Distance) > 1e-12 : all[i].Found) return false;
            }
            return true;
        }, iter: 60);

    [Fact]
    public void A_field_of_clearances_answers_as_looking_at_every_triangle_does() =>
        Gen.Select(Scene, Gen.Select(Point, Point).Array[40, 80], Gen.Double[0.2, 6]).Sample((mesh, segments, spread) =>
        {
            var field = new ClearanceField(TriangleTree.Build(mesh));
            foreach (var (from, to) in segments)
            {
                // Some far outside the mesh, some short, some points.
                Vec3 a = from * spread, b = from.X > 8 ? a : from.Y > 8 ? a + (to - from) * 0.05 : to * spread;
                var best = double.PositiveInfinity;
                for (var t = 0; t < mesh.TriangleCount; t++)
                {
                    var (p, q, r) = mesh.Triangle(t);
                    best = Math.Min(best, TriangleDistance.SegmentTriangleSquared(a, b, p, q, r, out _));
                }
                best = Math.Sqrt(best);
                if (!field.AnyWithin(a, b, best * 1.001 + 1e-9) || best > 1e-9 && field.AnyWithin(a, b, best * 0.999)) return false;
                if (best > 0.5 && field.AnyWithin(a, b, 0.1) || best < 3 && !field.AnyWithin(a, b, 3.1)) return false;
            }
            return true;
        }, iter: 60);

    [Fact]
    public void Winding_numbers_of_many_are_those_of_one_by_one_also_on_edges_and_corners() =>
        Gen.Select(Scene, Point.Array[300, 900], Gen.Int[0, 3]).Sample((mesh, points, finest) =>
        {
            // Points on corners and middles of edges, and points on a coarse grid, are nothing but ties.
            for (var i = 0; i < points.Length; i += 3)
            {
                var (a, b, c) = mesh.Triangle(i * 37 % mesh.TriangleCount);
                points[i] = (i % 4) switch { 0 => a, 1 => (a + b) * 0.5, 2 => (a + b + c) / 3, _ => new Vec3(Math.Round(points[i].X), Math.Round(points[i].Y), c.Z) };
            }
            var tree = TriangleTree.Build(mesh);
            var one = points.Select(p => tree.Winding(p)).ToArray();
            return one.SequenceEqual(TriangleTree.Windings(mesh, points, 1)) && one.SequenceEqual(TriangleTree.Windings(mesh, points, 2))
                && one.SequenceEqual(tree.Windings(points));
        }, iter: 60);

    [Fact]
    public void A_soup_winds_as_often_as_its_solid_angles_sum_up_to()
    {
        // Van Oosterom, Strackee 1983, as in the test of exact winding numbers; the soup has holes, doubled and turned triangles, no shared corners.
        var ball = SpatialShapes.Divided(5, u => u * (8 + Math.Sin(9 * u.X) * Math.Cos(7 * u.Y)));
        var random = new Random(11);
        var picked = new List<int>();
        for (var t = 0; t < ball.TriangleCount; t++)
        {
            if (random.Next(50) == 0) continue;
            picked.Add(t);
            if (random.Next(60) == 0) picked.Add(t);
        }
        var xyz = new List<int>();
        foreach (var t in picked)
        {
            var turn = random.Next(80) == 0;
            foreach (var k in turn ? new[] { 0, 2, 1 } : [0, 1, 2]) xyz.AddRange(ball.XyzArray.AsSpan(3 * ball.CornersArray[3 * t + k], 3));
        }
        var soup = new Mesh(ball.Lattice, xyz.ToArray(), Enumerable.Range(0, xyz.Count / 3).ToArray());
        var winding = SoupWinding.Build(TriangleTree.Build(soup), 2);
        var points = SpatialShapes.RandomPoints(ball.Bounds.Grown(3), 400, 12).ToArray();
        var many = winding.At(points, 2);
        Assert.Equal(many, winding.At(points, 1));
        for (var i = 0; i < points.Length; i++)
        {
            double sum = 0;
            for (var t = 0; t < soup.TriangleCount; t++)
            {
                var (a, b, c) = soup.Triangle(t);
                a -= points[i]; b -= points[i]; c -= points[i];
                double la = a.Length, lb = b.Length, lc = c.Length;
                sum += 2 * Math.Atan2(a.Dot(b.Cross(c)), la * lb * lc + a.Dot(b) * lc + b.Dot(c) * la + c.Dot(a) * lb);
            }
            Assert.Equal(sum / (4 * Math.PI), many[i], 0.03);
            Assert.Equal(many[i], winding.At(points[i]));
        }
        Assert.Equal(0, SoupWinding.Build(TriangleTree.Build(Mesh.Empty(ball.Lattice))).At(Vec3.Zero));
    }

    [Fact]
    public void Around_a_closed_surface_the_soups_number_is_the_exact_one()
    {
        var mesh = SpatialShapes.Join(SpatialShapes.Sphere(new(1, 2, 3), 9, 5), SpatialShapes.Sphere(new(5, 2, 3), 7, 4), SpatialShapes.Sphere(new(1, 2, 3), 3, 4).Turned());
        var tree = TriangleTree.Build(mesh);
        var winding = SoupWinding.Build(tree);
        foreach (var p in SpatialShapes.RandomPoints(mesh.Bounds.Grown(4), 2000, 13)) Assert.Equal(tree.Winding(p), winding.At(p), 0.03);
    }
}
