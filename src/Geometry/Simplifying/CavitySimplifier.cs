using Stiltwright.Geometry.Fields;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Simplifying;

/// <summary>
/// Saves triangles of a cavity's surface and makes sure that it does not cross itself afterwards: where it does, the places are
/// locked and it is done anew; the surface as cut from the field, which crosses nowhere, is the last resort.
/// </summary>
internal static class CavitySimplifier
{
    internal static (int[] Xyz, int[] Corners) Run(
        BrickField field, int[] xyz, int[] corners, double level, LevelJudge judge, int threads, CancellationToken cancel)
    {
        var lattice = field.Grid.Lattice;
        var locked = new bool[xyz.Length / 3];
        for (var attempt = 0; attempt < 3; attempt++)
        {
            var (points, triangles) = new LevelCollapse(field, xyz, corners, locked, level, judge).Run(threads, cancel);
            var mesh = new Mesh(lattice, points, triangles);
            var crossings = Crossings(mesh, threads);
            if (crossings.Count == 0) return (points, triangles);
            Lock(locked, xyz, lattice, mesh, crossings, (attempt + 1) * 4 * field.Grid.Cell);
        }
        return (xyz, corners);
    }

    internal static List<(int A, int B)> Crossings(Mesh mesh, int threads)
    {
        var tree = TriangleTree.Build(mesh, threads);
        var pairs = new List<(int A, int B)>();
        tree.CrossingPairs(pairs, maxThreads: threads);
        pairs.RemoveAll(p =>
        {
            var (a, b, c) = mesh.Triangle(p.A);
            var (x, y, z) = mesh.Triangle(p.B);
            return !TriangleContact.NearerThan(a, b, c, x, y, z, mesh.Lattice.UnitMm);
        });
        return pairs;
    }

    private static void Lock(bool[] locked, int[] xyz, Lattice lattice, Mesh mesh, List<(int A, int B)> crossings, double reach)
    {
        var boxes = new List<int>();
        foreach (var (a, b) in crossings) boxes.AddRange([a, b]);
        var tree = TriangleTree.Build(mesh.Part(System.Runtime.InteropServices.CollectionsMarshal.AsSpan(boxes)));
        Parallel.For(0, locked.Length, v =>
        {
            if (locked[v]) return;
            var p = new Vec3(xyz[3 * v] * lattice.UnitMm, xyz[3 * v + 1] * lattice.UnitMm, xyz[3 * v + 2] * lattice.UnitMm);
            if (tree.Closest(p, reach).Found) locked[v] = true;
        });
    }
}
