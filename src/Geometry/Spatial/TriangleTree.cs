using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;

namespace Stiltwright.Geometry.Spatial;

/// <summary>
/// A bounding-volume tree over the triangles of a mesh, eight boxes a node, at most eight triangles a leaf. It answers
/// nearest-point, ray, winding, box and pair queries. It is immutable and may be used from any number of threads.
/// Lattice coordinates are exactly 32-bit floats, so the boxes are exact; box tests run in single precision with a stated
/// slack and only ever let a few boxes too many through, all results come from double precision or exact integers.
/// </summary>
public sealed partial class TriangleTree
{
    internal const int Empty = int.MinValue;
    private const int Wide = TreeBuilder.Wide;
    private const int StackSize = 512;
    private const int BoxFloats = 6 * Wide;
    private const int LeafFloats = 9 * Wide;

    // Node i: 48 floats (least x of eight children, least y, least z, largest x, y, z), 8 child codes.
    // Child code: >= 0 node, Empty none, otherwise ~leaf. Leaf l: the ids 8l .. 8l + 7 (-1: no triangle) and 72 floats:
    // x of corner a of the eight triangles, then y, then z, then those of b and c; empty places repeat the first triangle.
    private readonly float[] _boxes;
    private readonly int[] _children;
    private readonly int[] _ids;
    private readonly float[] _points;
    private readonly LeafDiscs _discs;
    private readonly float _slack;
    private readonly Box3 _bounds;

    private TriangleTree(Mesh mesh, float[] boxes, int[] children, int[] ids, float[] points, int maxThreads)
    {
        Mesh = mesh;
        _boxes = boxes;
        _children = children;
        _ids = ids;
        _points = points;
        _bounds = mesh.Bounds;
        var reach = _bounds.IsEmpty ? 1 : Math.Max(
            Math.Max(Math.Max(Math.Abs(_bounds.Min.X), Math.Abs(_bounds.Max.X)), Math.Max(Math.Abs(_bounds.Min.Y), Math.Abs(_bounds.Max.Y))),
            Math.Max(Math.Abs(_bounds.Min.Z), Math.Abs(_bounds.Max.Z)));
        _slack = (float)(reach * 4e-7);
        _discs = LeafDiscs.Measure(children, points, ids, _slack, maxThreads);
    }

    /// <summary>The mesh whose triangles the tree holds.</summary>
    public Mesh Mesh { get; }

    /// <summary>Number of triangles.</summary>
    public int Count => Mesh.TriangleCount;

    /// <summary>Builds the tree. The result does not depend on the number of threads.</summary>
    /// <param name="mesh">Any mesh, also an open one or none at all; fewer than 2^28 triangles.</param>
    /// <param name="maxThreads">Threads at most; 0 or less means as many as there are processors.</param>
    /// <exception cref="ArgumentException">A coordinate is too large to be exact in single precision, or there are too many triangles.</exception>
    public static TriangleTree Build(Mesh mesh, int maxThreads = 0)
    {
        ArgumentNullException.ThrowIfNull(mesh);
        var (boxes, children, ids) = new TreeBuilder(mesh, maxThreads).Run();
        var xyz = mesh.XyzArray;
        var corners = mesh.CornersArray;
        var unit = (float)mesh.Lattice.UnitMm;
        var leaves = ids.Length / Wide;
        var points = GC.AllocateUninitializedArray<float>(LeafFloats * leaves);
        Parallel.For(0, (leaves + 8191) / 8192, Threads(maxThreads), block =>
        {
            for (var leaf = block * 8192; leaf < Math.Min(leaves, (block + 1) * 8192); leaf++)
                for (var i = 0; i < Wide; i++)
                {
                    var t = ids[Wide * leaf + i] >= 0 ? ids[Wide * leaf + i] : ids[Wide * leaf];
                    for (var k = 0; k < 3; k++)
                    {
                        var v = 3 * corners[3 * t + k];
                        var at = LeafFloats * leaf + 3 * Wide * k + i;
                        points[at] = xyz[v] * unit;
                        points[at + Wide] = xyz[v + 1] * unit;
                        points[at + 2 * Wide] = xyz[v + 2] * unit;
                    }
                }
        });
        return new TriangleTree(mesh, boxes, children, ids, points, maxThreads);
    }

    internal static ParallelOptions Threads(int maxThreads) => maxThreads > 0 ? new() { MaxDegreeOfParallelism = maxThreads } : Ranges.Threads;

    /// <summary>Triangles whose own boxes share a point with a box, appended in no order of meaning (but always the same one).</summary>
    [SkipLocalsInit]
    public void Overlapping(Box3 box, List<int> triangles)
    {
        ArgumentNullException.ThrowIfNull(triangles);
        if (_children.Length == 0 || !box.Meets(_bounds)) return;
        Span<int> stack = stackalloc int[StackSize];
        var top = 0;
        stack[top++] = 0;
        while (top > 0)
        {
            var node = stack[--top];
            for (var mask = Meeting(node, box); mask != 0; mask &= mask - 1)
            {
                var code = _children[Wide * node + System.Numerics.BitOperations.TrailingZeroCount(mask)];
                if (code >= 0) { stack[top++] = code; continue; }
                if (code == Empty) continue;
                for (var i = Wide * ~code; i < Wide * ~code + Wide && _ids[i] >= 0; i++)
                    if (BoxOf(i).Meets(box)) triangles.Add(_ids[i]);
            }
        }
    }

    // The children whose boxes share a point with a box, as bits.
    private uint Meeting(int node, Box3 box)
    {
        var s = _slack;
        ref var b = ref _boxes[BoxFloats * node];
        var apart = Vector256.GreaterThan(Vector256.LoadUnsafe(ref b), Vector256.Create((float)box.Max.X + s))
            | Vector256.GreaterThan(Vector256.LoadUnsafe(ref b, Wide), Vector256.Create((float)box.Max.Y + s))
            | Vector256.GreaterThan(Vector256.LoadUnsafe(ref b, 2 * Wide), Vector256.Create((float)box.Max.Z + s))
            | Vector256.LessThan(Vector256.LoadUnsafe(ref b, 3 * Wide), Vector256.Create((float)box.Min.X - s))
            | Vector256.LessThan(Vector256.LoadUnsafe(ref b, 4 * Wide), Vector256.Create((float)box.Min.Y - s))
            | Vector256.LessThan(Vector256.LoadUnsafe(ref b, 5 * Wide), Vector256.Create((float)box.Min.Z - s));
        return ~apart.ExtractMostSignificantBits() & 0xFF;
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private Vec3 Corner(int place, int k)
    {
        var at = LeafFloats * (place >> 3) + 3 * Wide * k + (place & 7);
        return new Vec3(_points[at], _points[at + Wide], _points[at + 2 * Wide]);
    }

    private Box3 BoxOf(int place)
    {
        Vec3 a = Corner(place, 0), b = Corner(place, 1), c = Corner(place, 2);
        return new Box3(Vec3.Min(a, Vec3.Min(b, c)), Vec3.Max(a, Vec3.Max(b, c)));
    }

    /// <summary>Number of the triangle at a place in the leaves.</summary>
    internal int TriangleAt(int place) => _ids[place];
}
