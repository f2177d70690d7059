using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;

namespace Stiltwright.Geometry.Fields;

/// <summary>
/// Values at the nodes of a grid, kept only in bricks that the level passes; all other bricks are known to lie wholly below or
/// above it. Between the nodes the field is linear on the six Kuhn tetrahedra of every cell. A brick is kept with the first nodes of
/// its neighbours, so that each of its cells is whole in it.
/// </summary>
internal sealed class BrickField
{
    internal const int AllBelow = -1, AllAbove = -2;
    internal const float Below = -1;

    /// <summary>Nodes of a kept brick along an axis.</summary>
    internal const int Wide = NodeGrid.Brick + 1;

    /// <summary>Nodes of a kept brick.</summary>
    internal const int Nodes = Wide * Wide * Wide;
    internal readonly NodeGrid Grid;

    /// <summary>Per brick: number among the kept ones, or one of the two constants.</summary>
    internal readonly int[] Index;

    /// <summary>Place of each kept brick, in bricks.</summary>
    internal readonly (int X, int Y, int Z)[] Places;

    /// <summary>What nodes of a brick above the level are taken to be: a bound that the true values exceed.</summary>
    internal readonly float Above;

    private readonly float[][] _values;
    private readonly double _x0, _y0, _z0, _perCell;

    /// <param name="fill">Values of a kept brick's own 8 x 8 x 8 nodes, x running fastest.</param>
    internal BrickField(NodeGrid grid, int[] index, (int X, int Y, int Z)[] places, float above, Action<int, Span<float>> fill, ParallelOptions options)
    {
        Grid = grid;
        Index = index;
        Places = places;
        Above = above;
        (_x0, _y0, _z0, _perCell) = (grid.X(0), grid.Y(0), grid.Z(0), 1 / grid.Cell);
        _values = new float[places.Length][];
        Parallel.For(0, places.Length, options, b =>
        {
            Span<float> own = stackalloc float[NodeGrid.Brick * NodeGrid.Brick * NodeGrid.Brick];
            fill(b, own);
            var values = _values[b] = GC.AllocateUninitializedArray<float>(Nodes);
            for (var row = 0; row < NodeGrid.Brick * NodeGrid.Brick; row++)
                own.Slice(NodeGrid.Brick * row, NodeGrid.Brick).CopyTo(values.AsSpan(At(0, row & 7, row >> 3)));
        });
        Parallel.For(0, places.Length, options, b => Border(_values[b], places[b].X * NodeGrid.Brick, places[b].Y * NodeGrid.Brick, places[b].Z * NodeGrid.Brick));
    }

    // The first nodes of the neighbours.
    private void Border(float[] values, int i0, int j0, int k0)
    {
        const int n = NodeGrid.Brick;
        for (var k = 0; k <= n; k++)
            for (var j = 0; j <= n; j++)
                for (var i = j == n || k == n ? 0 : n; i <= n; i++) values[At(i, j, k)] = Node(i0 + i, j0 + j, k0 + k);
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static int At(int i, int j, int k) => (k * Wide + j) * Wide + i;

    /// <summary>The values of a kept brick, 9 x 9 x 9, x running fastest.</summary>
    internal ReadOnlySpan<float> Brick(int number) => _values[number];

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    internal float Node(int i, int j, int k)
    {
        if ((uint)i >= (uint)Grid.Nx || (uint)j >= (uint)Grid.Ny || (uint)k >= (uint)Grid.Nz) return Below;
        var brick = Index[((k >> 3) * Grid.By + (j >> 3)) * Grid.Bx + (i >> 3)];
        return brick >= 0 ? _values[brick][At(i & 7, j & 7, k & 7)] : brick == AllAbove ? Above : Below;
    }

    /// <summary>The value at a point and the slope there (per mm).</summary>
    internal double Sample(Vec3 p, out Vec3 slope)
    {
        double u = (p.X - _x0) * _perCell, v = (p.Y - _y0) * _perCell, w = (p.Z - _z0) * _perCell;
        double fi = Math.Floor(u), fj = Math.Floor(v), fk = Math.Floor(w);
        int i = (int)fi, j = (int)fj, k = (int)fk;
        u -= fi;
        v -= fj;
        w -= fk;
        // The walk from corner 000 to corner 111 along the axes in the order of the parts: that is the tetrahedron around the point.
        // Which part is the larger one is as good as random, so it is looked up and not branched on.
        var order = (u >= v ? 1 : 0) | (v >= w ? 2 : 0) | (u >= w ? 4 : 0);
        ref var walk = ref Unsafe.Add(ref MemoryMarshal.GetReference(Walks), order * 8);
        Span<double> f = stackalloc double[4];
        var brick = (uint)i < (uint)Grid.Nx && (uint)j < (uint)Grid.Ny && (uint)k < (uint)Grid.Nz ? Index[((k >> 3) * Grid.By + (j >> 3)) * Grid.Bx + (i >> 3)] : -1;
        if (brick >= 0)
        {
            ref var at = ref Unsafe.Add(ref MemoryMarshal.GetArrayDataReference(_values[brick]), At(i & 7, j & 7, k & 7));
            (f[0], f[1], f[2], f[3]) = (at, Unsafe.Add(ref at, (int)walk), Unsafe.Add(ref at, (int)Unsafe.Add(ref walk, 1)), Unsafe.Add(ref at, 1 + Wide + Wide * Wide));
        }
        else
        {
            int first = Unsafe.Add(ref walk, 5), second = Unsafe.Add(ref walk, 6);
            (f[0], f[1], f[2], f[3]) = (Node(i, j, k), Node(i + (first & 1), j + (first >> 1 & 1), k + (first >> 2)), Node(i + (second & 1), j + (second >> 1 & 1), k + (second >> 2)), Node(i + 1, j + 1, k + 1));
        }
        int ax = Unsafe.Add(ref walk, 2), ay = Unsafe.Add(ref walk, 3), az = Unsafe.Add(ref walk, 4);
        double x = f[ax + 1] - f[ax], y = f[ay + 1] - f[ay], z = f[az + 1] - f[az];
        slope = new Vec3(x * _perCell, y * _perCell, z * _perCell);
        return f[0] + u * x + v * y + w * z;
    }

    // By the order of the parts (u >= v, v >= w, u >= w as bits): how far the second and third node lie behind the first, which
    // step of the walk goes along x, y and z, and the corners (bits x, y, z) of the second and third node.
    private static ReadOnlySpan<byte> Walks =>
    [
        81, 90, 2, 1, 0, 4, 6, 0,
        81, 82, 1, 2, 0, 4, 5, 0,
        9, 90, 2, 0, 1, 2, 6, 0,
        1, 10, 0, 1, 2, 1, 3, 0,
        9, 10, 1, 0, 2, 2, 3, 0,
        1, 82, 0, 2, 1, 1, 5, 0,
        9, 10, 1, 0, 2, 2, 3, 0,
        1, 10, 0, 1, 2, 1, 3, 0,
    ];
}
