using System.Numerics;

namespace Stiltwright.Geometry.Booleans;

/// <summary>
/// Makes every edge one of two triangles. Where surfaces only touch, vertices are doubled; where a surface touches itself along an edge and both
/// ends hang together around it, the edge is there twice between the same vertices: then each of the two gets a vertex of its own in its middle,
/// at one place, so that the two still only touch.
/// </summary>
internal static class SingleEdges
{
    public static Mesh Of(Mesh mesh)
    {
        while (true)
        {
            mesh = EdgePairing.Build(mesh).WithSheetsApart();
            var edges = EdgePairing.Build(mesh);
            if (edges.CrowdedEdges == 0) return mesh;
            mesh = Split(mesh, edges);
        }
    }

    private static Mesh Split(Mesh mesh, EdgePairing edges)
    {
        var first = new Dictionary<(int, int), int>();
        var changed = new HashSet<int>();
        var xyz = new List<int>(mesh.XyzArray);
        var corners = new List<int>(mesh.CornersArray);
        for (var h = 0; h < edges.Twin.Length; h++)
        {
            if (edges.Twin[h] < h) continue;
            int a = mesh.Corners[h], b = mesh.Corners[EdgePairing.Next(h)];
            var key = (Math.Min(a, b), Math.Max(a, b));
            if (first.TryAdd(key, h)) continue;
            // One edge a triangle at a time; the others come in the next round.
            int other = first[key];
            int[] around = [h / 3, edges.Twin[h] / 3, other / 3, edges.Twin[other] / 3];
            if (around.Any(changed.Contains)) continue;
            changed.UnionWith(around);
            var (x, y, z) = Middle(mesh.XyzArray, a, b);
            Halve(h);
            Halve(other);

            void Halve(int half)
            {
                var middle = xyz.Count / 3;
                xyz.AddRange([x, y, z]);
                foreach (var side in (int[])[half, edges.Twin[half]])
                {
                    int second = EdgePairing.Next(side), third = EdgePairing.Next(second);
                    corners.AddRange([middle, corners[second], corners[third]]);
                    corners[second] = middle;
                }
            }
        }
        return new Mesh(mesh.Lattice, [.. xyz], [.. corners]);
    }

    // The lattice place on the edge next to its middle; where none lies on it, the middle rounded down.
    private static (int X, int Y, int Z) Middle(int[] xyz, int a, int b)
    {
        int dx = xyz[3 * b] - xyz[3 * a], dy = xyz[3 * b + 1] - xyz[3 * a + 1], dz = xyz[3 * b + 2] - xyz[3 * a + 2];
        var parts = (int)BigInteger.GreatestCommonDivisor(BigInteger.GreatestCommonDivisor(dx, dy), dz);
        if (parts < 2) return (xyz[3 * a] + (dx >> 1), xyz[3 * a + 1] + (dy >> 1), xyz[3 * a + 2] + (dz >> 1));
        var along = parts / 2;
        return (xyz[3 * a] + dx / parts * along, xyz[3 * a + 1] + dy / parts * along, xyz[3 * a + 2] + dz / parts * along);
    }
}
