using CsCheck;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Tests;

/// <summary>The tree against brute force, closed formulas and the solid angle of triangles.</summary>
public class SpatialTreeTests
{
    private static Mesh Bumpy(int levels = 4) => SpatialShapes.Divided(levels, u =>
        u * (20 + 2 * Math.Sin(7 * u.X + 1) * Math.Sin(9 * u.Y) + Math.Cos(11 * u.Z)) + new Vec3(3, -5, 8));

    [Fact]
    public void The_nearest_point_is_that_of_looking_at_every_triangle()
    {
        var mesh = Bumpy();
        var tree = TriangleTree.Build(mesh);
        foreach (var p in SpatialShapes.RandomPoints(mesh.Bounds.Grown(10), 300, 1))
        {
            var best = double.PositiveInfinity;
            for (var t = 0; t < mesh.TriangleCount; t++)
            {
                var (a, b, c) = mesh.Triangle(t);
                best = Math.Min(best, TriangleDistance.ClosestPoint(p, a, b, c).DistanceTo(p));
            }
            var n = tree.Closest(p);
            Assert.Equal(best, n.Distance, 12);
            Assert.Equal(n.Distance, n.Point.DistanceTo(p), 12);
            Assert.False(tree.Closest(p, best * 0.999).Found);
            Assert.Equal(best, tree.Closest(p, best * 1.001).Distance, 12);
        }
    }

    [Fact]
    public void The_nearest_point_of_any_triangle_is_no_farther_than_any_point_of_a_grid_on_it()
    {
        // Sampling is the outside check: no sampled point of the triangle may be nearer than the answer, and the answer must lie on the triangle.
        var number = Gen.Double[-10, 10];
        var point = Gen.Select(number, number, number, (x, y, z) => new Vec3(x, y, z));
        var thin = Gen.Select(point, point, Gen.Double[0, 1], Gen.Double[-1e-5, 1e-5], (a, b, s, e) => (a, b, a + (b - a) * s + new Vec3(e, -e, e)));
        var fat = Gen.Select(point, point, point);
        Gen.Select(Gen.OneOf(thin, fat), point).Sample((t, p) =>
        {
            var (a, b, c) = t;
            var d = TriangleDistance.ClosestPoint(p, a, b, c).DistanceTo(p);
            for (var i = 0; i <= 20; i++)
                for (var j = 0; i + j <= 20; j++)
                    if ((a + (b - a) * (i / 20.0) + (c - a) * (j / 20.0)).DistanceTo(p) < d - 1e-5) return false;
            return true;
        });
    }

    [Fact]
    public void Winding_is_the_solid_angle_over_four_pi()
    {
        // Van Oosterom, Strackee 1983 (IEEE Trans. Biomed. Eng.): tan(omega / 2) = det / (...). Summed over a closed shell: 4 pi times the winding number.
        var mesh = SpatialShapes.Join(Bumpy(3), SpatialShapes.Sphere(new Vec3(10, -5, 8), 12, 3), SpatialShapes.Sphere(new Vec3(3, -5, 8), 8, 3).Turned());
        var tree = TriangleTree.Build(mesh);
        var seen = new HashSet<int>();
        foreach (var p in SpatialShapes.RandomPoints(mesh.Bounds.Grown(2), 400, 2))
        {
            double sum = 0;
            for (var t = 0; t < mesh.TriangleCount; t++)
            {
                var (a, b, c) = mesh.Triangle(t);
                a -= p; b -= p; c -= p;
                double la = a.Length, lb = b.Length, lc = c.Length;
                sum += 2 * Math.Atan2(a.Dot(b.Cross(c)), la * lb * lc + a.Dot(b) * lc + b.Dot(c) * la + c.Dot(a) * lb);
            }
            var w = tree.Winding(p);
            Assert.Equal(sum / (4 * Math.PI), w, 6);
            seen.Add(w);
        }
        Assert.Superset(new HashSet<int> { 0, 1, 2 }, seen);
    }

    [Fact]
    public void Rays_through_corners_and_edges_are_counted_once()
    {
        // All corners of both boxes and the whole grid of test points lie on the same lattice lines: nothing but ties.
        var mesh = SpatialShapes.Join(SpatialShapes.Box(new(0, 0, 0), new(4, 4, 4)), SpatialShapes.Box(new(2, 2, 2), new(6, 6, 6)), SpatialShapes.Sphere(new(-8, 0, 0), 4, 3));
        var tree = TriangleTree.Build(mesh);
        for (var x = -13; x <= 7; x++)
            for (var y = -5; y <= 7; y++)
                for (var z = -5; z <= 7; z++)
                {
                    var p = new Vec3(x, y, z);
                    // The rule of ties as documented: a step down, then a smaller one along x, then a far smaller one along y.
                    var moved = p + new Vec3(1e-4, 1e-6, -1e-2);
                    Assert.Equal(tree.Winding(moved), tree.Winding(p));
                    var inside = Inside(p, 0, 4) + Inside(p, 2, 6);
                    if (x >= -1) Assert.Equal(inside, tree.Winding(p));
                }
        // Half-open boxes: lower x and y faces belong to the box, so does the upper z face.
        static int Inside(Vec3 p, double lo, double hi) => p.X >= lo && p.X < hi && p.Y >= lo && p.Y < hi && p.Z > lo && p.Z <= hi ? 1 : 0;
    }

    [Fact]
    public void A_ray_enters_and_leaves_a_sphere_where_the_chord_says()
    {
        var tree = TriangleTree.Build(SpatialShapes.Sphere(new(1, 2, 3), 10, 6));
        var hits = new List<RayHit>();
        foreach (var d in SpatialShapes.RandomPoints(new Box3(new(-1, -1, -1), new(1, 1, 1)), 200, 3))
        {
            var u = d.Unit();
            var side = u.AnyPerpendicular() * 6;
            tree.RayHits(new Vec3(1, 2, 3) + side - u * 30, d, hits);
            Assert.Equal(2, hits.Count);
            Assert.True(hits[0].Entering);
            Assert.False(hits[1].Entering);
            Assert.Equal(30 - 8, hits[0].Distance, 0.02);
            Assert.Equal(30 + 8, hits[1].Distance, 0.02);
        }
        // Through corners exactly: still one entry, one exit.
        foreach (var u in new[] { new Vec3(1, 0, 0), new Vec3(0, -1, 0), new Vec3(0, 0, 1) })
        {
            tree.RayHits(new Vec3(1, 2, 3) - u * 30, u, hits);
            Assert.Equal([true, false], hits.Select(h => h.Entering));
            Assert.Equal(20, hits[0].Distance, 6);
        }
    }

    [Fact]
    public void Clearance_of_a_capsule_axis_beside_a_sphere_is_the_handbook_distance()
    {
        var tree = TriangleTree.Build(SpatialShapes.Sphere(Vec3.Zero, 10, 7));
        // Distance of a line from the centre less the radius; the octahedron's corners (10, 0, 0) lie on the sphere exactly.
        Assert.Equal(3, tree.ClearanceOfCapsule(new(13, 0, -40), new(13, 0, 40)), 6);
        Assert.Equal(5, tree.ClearanceOfCapsule(new(15, 0, 0), new(40, 0, 0)), 6);
        Assert.Equal(0, tree.ClearanceOfCapsule(new(-20, 0.3, 0.2), new(20, 0.1, 0.2)));
        Assert.Equal(double.PositiveInfinity, tree.ClearanceOfCapsule(new(13, 0, -40), new(13, 0, 40), 2.9));
    }

    [Fact]
    public void Something_lies_within_a_distance_of_a_segment_just_where_looking_at_every_triangle_says()
    {
        var mesh = Bumpy();
        var tree = TriangleTree.Build(mesh);
        var points = SpatialShapes.RandomPoints(mesh.Bounds.Grown(10), 400, 3).ToArray();
        for (var i = 0; i + 1 < points.Length; i += 2)
        {
            var (a, b) = (points[i], i % 8 == 0 ? points[i] : points[i + 1]); // now and then a point
            var best = double.PositiveInfinity;
            for (var t = 0; t < mesh.TriangleCount; t++)
            {
                var (p, q, r) = mesh.Triangle(t);
                best = Math.Min(best, TriangleDistance.SegmentTriangleSquared(a, b, p, q, r, out _));
            }
            best = Math.Sqrt(best);
            Assert.True(tree.AnyWithin(a, b, best * 1.001 + 1e-9), $"{best} mm");
            if (best > 0) Assert.False(tree.AnyWithin(a, b, best * 0.999), $"{best} mm");
            Assert.Equal(best, tree.ClosestToSegment(a, b).Distance, 9);
        }
        Assert.False(TriangleTree.Build(Mesh.Concat(mesh.Lattice, [])).AnyWithin(Vec3.Zero, Vec3.Up, 100));
    }

    [Fact]
    public void Candidates_for_crossings_are_those_of_looking_at_every_pair_of_boxes()
    {
        var a = Bumpy(3);
        var b = SpatialShapes.Torus(18, 6, 30, 20);
        TriangleTree ta = TriangleTree.Build(a), tb = TriangleTree.Build(b);
        var pairs = new List<(int A, int B)>();
        ta.CrossingPairs(tb, pairs);
        var expected = new List<(int, int)>();
        for (var i = 0; i < a.TriangleCount; i++)
            for (var j = 0; j < b.TriangleCount; j++)
                if (BoxOf(a, i).Meets(BoxOf(b, j))) expected.Add((i, j));
        Assert.Equal(expected, pairs);
        Assert.NotEmpty(expected);

        ta.CrossingPairs(pairs, withNeighbours: true);
        expected.Clear();
        for (var i = 0; i < a.TriangleCount; i++)
            for (var j = i + 1; j < a.TriangleCount; j++)
                if (BoxOf(a, i).Meets(BoxOf(a, j))) expected.Add((i, j));
        Assert.Equal(expected, pairs);

        static Box3 BoxOf(Mesh m, int t)
        {
            var (p, q, r) = m.Triangle(t);
            return Box3.Empty.With(p).With(q).With(r);
        }
    }

    [Fact]
    public void The_number_of_threads_changes_nothing_and_odd_meshes_are_held()
    {
        var mesh = Bumpy(5);
        var points = SpatialShapes.RandomPoints(mesh.Bounds.Grown(5), 2000, 4).ToArray();
        TriangleTree one = TriangleTree.Build(mesh, 1), two = TriangleTree.Build(mesh, 2);
        Assert.Equal(one.Closest(points, maxThreads: 1), two.Closest(points, maxThreads: 2));
        Assert.Equal(one.Windings(points, 1), two.Windings(points, 2));

        var none = TriangleTree.Build(Mesh.Empty(SpatialShapes.Fine));
        Assert.False(none.Closest(Vec3.Zero).Found);
        Assert.Equal(0, none.Winding(Vec3.Zero));

        // Ten thousand times the same triangle: no split can part them.
        var same = new Mesh(SpatialShapes.Fine, [0, 0, 0, 65536, 0, 0, 0, 65536, 0], Enumerable.Repeat(new[] { 0, 1, 2 }, 10_000).SelectMany(t => t).ToArray());
        Assert.Equal(2, TriangleTree.Build(same).Closest(new Vec3(0.2, 0.2, 2)).Distance, 12);
        var hits = new List<RayHit>();
        TriangleTree.Build(same).RayHits(new Vec3(0.2, 0.2, 2), new Vec3(0, 0, -1), hits);
        Assert.Equal(10_000, hits.Count);
    }
}
