using Stiltwright.Geometry;

namespace Stiltwright.Geometry.Tests;

/// <summary>Plain closed shapes for the tests of trees and fields, made here so that these tests stand alone.</summary>
internal static class SpatialShapes
{
    internal static readonly Lattice Fine = new(16);

    internal static Mesh FromPoints(List<Vec3> points, List<int> corners, Lattice? lattice = null)
    {
        var l = lattice ?? Fine;
        var xyz = new int[3 * points.Count];
        for (var i = 0; i < points.Count; i++)
            (xyz[3 * i], xyz[3 * i + 1], xyz[3 * i + 2]) = (l.Round(points[i].X), l.Round(points[i].Y), l.Round(points[i].Z));
        return new Mesh(l, xyz, corners.ToArray());
    }

    /// <summary>A box with its faces outwards.</summary>
    internal static Mesh Box(Vec3 min, Vec3 max)
    {
        var p = new List<Vec3>();
        for (var i = 0; i < 8; i++)
            p.Add(new Vec3((i & 1) == 0 ? min.X : max.X, (i & 2) == 0 ? min.Y : max.Y, (i & 4) == 0 ? min.Z : max.Z));
        return FromPoints(p, [0, 2, 3, 0, 3, 1, 4, 5, 7, 4, 7, 6, 0, 1, 5, 0, 5, 4, 2, 6, 7, 2, 7, 3, 0, 4, 6, 0, 6, 2, 1, 3, 7, 1, 7, 5]);
    }

    /// <summary>A sphere by dividing an octahedron: 8 * 4^levels triangles, vertices on the sphere.</summary>
    internal static Mesh Sphere(Vec3 centre, double radius, int levels) =>
        Divided(levels, u => centre + u * radius);

    /// <summary>A star-shaped body: the point in direction u lies where the map says.</summary>
    internal static Mesh Divided(int levels, Func<Vec3, Vec3> place)
    {
        var p = new List<Vec3> { new(1, 0, 0), new(-1, 0, 0), new(0, 1, 0), new(0, -1, 0), new(0, 0, 1), new(0, 0, -1) };
        var f = new List<int> { 0, 2, 4, 2, 1, 4, 1, 3, 4, 3, 0, 4, 2, 0, 5, 1, 2, 5, 3, 1, 5, 0, 3, 5 };
        for (var l = 0; l < levels; l++)
        {
            var middle = new Dictionary<(int, int), int>();
            int Mid(int a, int b)
            {
                var key = a < b ? (a, b) : (b, a);
                if (middle.TryGetValue(key, out var m)) return m;
                p.Add((p[a] + p[b]).Unit());
                return middle[key] = p.Count - 1;
            }
            var g = new List<int>();
            for (var t = 0; t < f.Count; t += 3)
            {
                int a = f[t], b = f[t + 1], c = f[t + 2], ab = Mid(a, b), bc = Mid(b, c), ca = Mid(c, a);
                g.AddRange([a, ab, ca, ab, b, bc, ca, bc, c, ab, bc, ca]);
            }
            f = g;
        }
        return FromPoints(p.ConvertAll(u => place(u)), f);
    }

    /// <summary>A torus around the z axis.</summary>
    internal static Mesh Torus(double ring, double tube, int around, int across)
    {
        var p = new List<Vec3>();
        var f = new List<int>();
        for (var i = 0; i < around; i++)
            for (var j = 0; j < across; j++)
            {
                var (si, ci) = Math.SinCos(2 * Math.PI * i / around);
                var (sj, cj) = Math.SinCos(2 * Math.PI * j / across);
                p.Add(new Vec3((ring + tube * cj) * ci, (ring + tube * cj) * si, tube * sj));
                int a = i * across + j, b = (i + 1) % around * across + j;
                int c = (i + 1) % around * across + (j + 1) % across, d = i * across + (j + 1) % across;
                f.AddRange([a, b, c, a, c, d]);
            }
        return FromPoints(p, f);
    }

    internal static Mesh Join(params Mesh[] meshes) => Mesh.Concat(meshes[0].Lattice, meshes);

    /// <summary>Every directed edge exactly once, with its reverse: closed and 2-manifold along edges.</summary>
    internal static bool ClosedAndTwoManifold(Mesh m)
    {
        var c = m.CornersArray;
        var along = new long[c.Length];
        var back = new long[c.Length];
        for (var i = 0; i < c.Length; i++)
        {
            int from = c[i], to = c[i % 3 == 2 ? i - 2 : i + 1];
            along[i] = (long)from << 32 | (uint)to;
            back[i] = (long)to << 32 | (uint)from;
        }
        Array.Sort(along);
        Array.Sort(back);
        for (var i = 1; i < along.Length; i++)
            if (along[i] == along[i - 1]) return false;
        return along.AsSpan().SequenceEqual(back);
    }

    internal static IEnumerable<Vec3> RandomPoints(Box3 box, int count, int seed)
    {
        var r = new Random(seed);
        for (var i = 0; i < count; i++)
            yield return new Vec3(
                box.Min.X + r.NextDouble() * box.Size.X, box.Min.Y + r.NextDouble() * box.Size.Y, box.Min.Z + r.NextDouble() * box.Size.Z);
    }
}
