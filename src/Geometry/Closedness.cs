using System.Runtime.InteropServices;

namespace Stiltwright.Geometry;

/// <summary>
/// The one invariant of all that is written: along every edge as many triangles run one way as the other. It holds for any
/// number of closed shells, touching or overlapping, and for nothing that has a hole.
/// </summary>
public static class Closedness
{
    /// <summary>True if the mesh has no unpaired edge.</summary>
    public static bool IsClosed(Mesh mesh) => FirstUnpairedEdge(mesh) is null;

    /// <summary>
    /// Middle of an edge whose two directions are not used equally often, mm; null for a closed mesh. Near-linear time:
    /// edges are counted in a table, +1 for one direction and -1 for the other.
    /// </summary>
    public static Vec3? FirstUnpairedEdge(Mesh mesh)
    {
        var corners = mesh.Corners;
        var balance = new Dictionary<long, int>(mesh.TriangleCount * 3 / 2 + 1);
        for (var t = 0; t < corners.Length; t += 3)
            for (var k = 0; k < 3; k++)
            {
                int a = corners[t + k], b = corners[t + (k + 1) % 3];
                if (a == b) continue;
                var key = a < b ? ((long)a << 32) | (uint)b : ((long)b << 32) | (uint)a;
                ref var n = ref CollectionsMarshal.GetValueRefOrAddDefault(balance, key, out _);
                n += a < b ? 1 : -1;
                if (n == 0) balance.Remove(key); // keeps the table at the size of the moving front
            }
        foreach (var (key, n) in balance)
            if (n != 0)
                return (mesh.Vertex((int)(key >> 32)) + mesh.Vertex((int)(key & 0xffffffff))) * 0.5;
        return null;
    }
}
