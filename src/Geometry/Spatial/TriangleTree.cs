using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;

namespace Stiltwright.Geometry.Spatial;

/// <summary>
/// A bounding-volume tree over the triangles of a mesh, four boxes a node, at most four triangles a leaf. It answers
/// nearest-point, ray, winding, box and pair queries. It is immutable and may be used from any number of threads.
/// Lattice coordinates are exactly 32-bit floats, so the boxes are exact; box tests run in single precision with a stated
/// slack and only ever let a few boxes too many through, all results come from double precision or exact integers.
/// </summary>
public sealed partial class TriangleTree
{
    private const int Empty = int.MinValue;
    private const int StackSize = 512;

    // Node i: 24 floats (least x of four children, least y, least z, largest x, y, z), 4 child codes.
    // Child code: >= 0 node, Empty none, otherwise ~leaf. Leaf l: the ids 4l .. 4l + 3 (-1: no triangle) and 36 floats:
    // x of corner a of the four triangles, then y, then z, then those of b and c; empty places repeat the first triangle.
    private readonly float[] _boxes;
    private readonly int[] _children;
    private readonly int[] _ids;
    private readonly float[] _points;
    private readonly float _slack;
    private readonly Box3 _bounds;

    private TriangleTree(Mesh mesh, float[] boxes, int[] children, int[] ids, float[] points)
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
    }

    /// <summary>The mesh whose triangles the tree holds.</summary>
    public Mesh Mesh { get; }

    /// <summary>Number of triangles.</summary>
    public int Count => Mesh.TriangleCount;

    /// <summary>Builds the tree. The result does not depend on the number of threads.</summary>
    /// <param name="mesh">Any mesh, also an open one or none at all.</param>
    /// <param name="maxThreads">Threads at most; 0 or less means as many as there are processors.</param>
    /// <exception cref="ArgumentException">A coordinate is too large to be exact in single precision.</exception>
    public static TriangleTree Build(Mesh mesh, int maxThreads = 0)
    {
        ArgumentNullException.ThrowIfNull(mesh);
        var (boxes, children, ids) = new TreeBuilder(mesh, maxThreads).Run();
        var xyz = mesh.XyzArray;
        var corners = mesh.CornersArray;
        var unit = (float)mesh.Lattice.UnitMm;
        var leaves = ids.Length / 4;
        var points = new float[36 * leaves];
        Parallel.For(0, (leaves + 16383) / 16384, Threads(maxThreads), block =>
        {
            for (var leaf = block * 16384; leaf < Math.Min(leaves, (block + 1) * 16384); leaf++)
                for (var i = 0; i < 4; i++)
                {
                    var t = ids[4 * leaf + i] >= 0 ? ids[4 * leaf + i] : ids[4 * leaf];
                    for (var k = 0; k < 3; k++)
                    {
                        var v = 3 * corners[3 * t + k];
                        var at = 36 * leaf + 12 * k + i;
                        points[at] = xyz[v] * unit;
                        points[at + 4] = xyz[v + 1] * unit;
                        points[at + 8] = xyz[v + 2] * unit;
                    }
                }
        });
        return new TriangleTree(mesh, boxes, children, ids, points);
    }

    internal static ParallelOptions Threads(int maxThreads) => new() { MaxDegreeOfParallelism = maxThreads > 0 ? maxThreads : Environment.ProcessorCount };

    /// <summary>Triangles whose own boxes share a point with a box, appended in no order of meaning (but always the same one).</summary>
    public void Overlapping(Box3 box, List<int> triangles)
    {
        ArgumentNullException.ThrowIfNull(triangles);
        if (_children.Length == 0 || !box.Meets(_bounds)) return;
        Span<int> stack = stackalloc int[StackSize];
        Span<int> hit = stackalloc int[4];
        var top = 0;
        stack[top++] = 0;
        while (top > 0)
        {
            var node = stack[--top];
            var meeting = Meeting(node, box, hit);
            for (var k = 0; k < meeting; k++)
            {
                var code = hit[k];
                if (code >= 0) { stack[top++] = code; continue; }
                for (var i = 4 * ~code; i < 4 * ~code + 4 && _ids[i] >= 0; i++)
                    if (BoxOf(i).Meets(box)) triangles.Add(_ids[i]);
            }
        }
    }

    private int Meeting(int node, Box3 box, Span<int> hit)
    {
        var s = _slack;
        var b = _boxes.AsSpan(24 * node, 24);
        var out4 = Vector128.GreaterThan(Vector128.Create<float>(b), Vector128.Create((float)box.Max.X + s))
            | Vector128.GreaterThan(Vector128.Create<float>(b[4..]), Vector128.Create((float)box.Max.Y + s))
            | Vector128.GreaterThan(Vector128.Create<float>(b[8..]), Vector128.Create((float)box.Max.Z + s))
            | Vector128.LessThan(Vector128.Create<float>(b[12..]), Vector128.Create((float)box.Min.X - s))
            | Vector128.LessThan(Vector128.Create<float>(b[16..]), Vector128.Create((float)box.Min.Y - s))
            | Vector128.LessThan(Vector128.Create<float>(b[20..]), Vector128.Create((float)box.Min.Z - s));
        var mask = ~out4.ExtractMostSignificantBits() & 15;
        var n = 0;
        for (var k = 0; k < 4; k++)
            if ((mask >> k & 1) != 0 && _children[4 * node + k] != Empty) hit[n++] = _children[4 * node + k];
        return n;
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private Vec3 Corner(int place, int k)
    {
        var at = 36 * (place >> 2) + 12 * k + (place & 3);
        return new Vec3(_points[at], _points[at + 4], _points[at + 8]);
    }

    private Box3 BoxOf(int place)
    {
        Vec3 a = Corner(place, 0), b = Corner(place, 1), c = Corner(place, 2);
        return new Box3(Vec3.Min(a, Vec3.Min(b, c)), Vec3.Max(a, Vec3.Max(b, c)));
    }
}
