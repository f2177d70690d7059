using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;

namespace Stiltwright.Geometry.Spatial;

/// <summary>
/// A flat cylinder around each leaf of a tree. On a smooth surface it is far thinner than the leaf's box, and its distance tells
/// apart leaves whose boxes are all equally near. Kept beside the boxes of the node that holds the leaves; places that hold no leaf,
/// or one that is not flat, bound nothing.
/// </summary>
internal sealed class LeafDiscs
{
    private const int Wide = TreeBuilder.Wide;
    private const int Floats = 8 * Wide;

    // Per node with leaves: centre x, y, z of eight children, unit normal x, y, z, radius, half of the thickness.
    private readonly float[] _floats;
    private readonly int[] _of;

    private LeafDiscs(float[] floats, int[] of)
    {
        _floats = floats;
        _of = of;
    }

    internal static LeafDiscs Measure(int[] children, float[] points, int[] ids, float slack, int maxThreads)
    {
        var nodes = children.Length / Wide;
        var of = new int[nodes];
        var n = 0;
        for (var node = 0; node < nodes; node++)
        {
            var leaf = false;
            for (var k = 0; k < Wide; k++) leaf |= children[Wide * node + k] is < 0 and not TriangleTree.Empty;
            of[node] = leaf ? n++ : -1;
        }
        var floats = new float[Floats * n];
        Parallel.For(0, (nodes + 1023) / 1024, TriangleTree.Threads(maxThreads), block =>
        {
            for (var node = block * 1024; node < Math.Min(nodes, (block + 1) * 1024); node++)
            {
                if (of[node] < 0) continue;
                for (var k = 0; k < Wide; k++)
                {
                    var code = children[Wide * node + k];
                    var disc = floats.AsSpan(Floats * of[node] + k);
                    if (code >= 0 || code == TriangleTree.Empty || !Measure(points.AsSpan(9 * Wide * ~code, 9 * Wide), ids.AsSpan(Wide * ~code, Wide), slack, disc))
                        disc[6 * Wide] = disc[7 * Wide] = float.PositiveInfinity;
                }
            }
        });
        return new LeafDiscs(floats, of);
    }

    private static bool Measure(ReadOnlySpan<float> leaf, ReadOnlySpan<int> ids, float slack, Span<float> disc)
    {
        var count = 0;
        while (count < Wide && ids[count] >= 0) count++;
        Vec3 normal = Vec3.Zero, low = At(leaf, 0, 0), high = low;
        for (var i = 0; i < count; i++)
        {
            Vec3 a = At(leaf, i, 0), b = At(leaf, i, 1), c = At(leaf, i, 2);
            normal += (b - a).Cross(c - a);
            low = Vec3.Min(low, Vec3.Min(a, Vec3.Min(b, c)));
            high = Vec3.Max(high, Vec3.Max(a, Vec3.Max(b, c)));
        }
        var n = normal.Unit();
        if (n.LengthSquared == 0) return false;
        var middle = (low + high) * 0.5;
        double up = double.NegativeInfinity, down = double.PositiveInfinity;
        for (var i = 0; i < count; i++)
            for (var k = 0; k < 3; k++)
            {
                var h = n.Dot(At(leaf, i, k) - middle);
                up = Math.Max(up, h);
                down = Math.Min(down, h);
            }
        var centre = middle + n * ((up + down) / 2);
        double radius2 = 0;
        for (var i = 0; i < count; i++)
            for (var k = 0; k < 3; k++)
            {
                var d = At(leaf, i, k) - centre;
                var h = n.Dot(d);
                radius2 = Math.Max(radius2, d.LengthSquared - h * h);
            }
        double radius = Math.Sqrt(radius2), half = (up - down) / 2;
        // Thick ones gain nothing over the box, and single precision needs them flat.
        if (half > 0.5 * radius) return false;
        (disc[0], disc[Wide], disc[2 * Wide]) = ((float)centre.X, (float)centre.Y, (float)centre.Z);
        (disc[3 * Wide], disc[4 * Wide], disc[5 * Wide]) = ((float)n.X, (float)n.Y, (float)n.Z);
        disc[6 * Wide] = (float)(radius * 1.00001 + slack);
        disc[7 * Wide] = (float)(half + 1e-6 * radius + slack);
        return true;
    }

    private static Vec3 At(ReadOnlySpan<float> leaf, int i, int k) => new(leaf[3 * Wide * k + i], leaf[3 * Wide * k + Wide + i], leaf[3 * Wide * k + 2 * Wide + i]);

    /// <summary>True if a node holds leaves.</summary>
    internal bool Has(int node) => _of[node] >= 0;

    /// <summary>Squared least distances of a point to the eight discs of a node that has them; zero where there is none. Good to single precision.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    internal Vector256<float> Distances(int node, Vector256<float> px, Vector256<float> py, Vector256<float> pz)
    {
        ref var d = ref _floats[Floats * _of[node]];
        Vector256<float> x = px - Vector256.LoadUnsafe(ref d), y = py - Vector256.LoadUnsafe(ref d, Wide), z = pz - Vector256.LoadUnsafe(ref d, 2 * Wide);
        var h = x * Vector256.LoadUnsafe(ref d, 3 * Wide) + y * Vector256.LoadUnsafe(ref d, 4 * Wide) + z * Vector256.LoadUnsafe(ref d, 5 * Wide);
        var across = Vector256.Sqrt(Vector256.Max(x * x + y * y + z * z - h * h, Vector256<float>.Zero)) - Vector256.LoadUnsafe(ref d, 6 * Wide);
        var along = Vector256.Abs(h) - Vector256.LoadUnsafe(ref d, 7 * Wide);
        across = Vector256.Max(across, Vector256<float>.Zero);
        along = Vector256.Max(along, Vector256<float>.Zero);
        return across * across + along * along;
    }
}
