using System.Runtime.CompilerServices;

namespace Stiltwright.Geometry.Fields;

/// <summary>
/// Values at the nodes of a grid, kept only in bricks that the level passes; all other bricks are known to lie wholly below or
/// above it. Between the nodes the field is linear on the six Kuhn tetrahedra of every cell.
/// </summary>
internal sealed class BrickField
{
    internal const int AllBelow = -1, AllAbove = -2;
    internal const float Below = -1;
    internal readonly NodeGrid Grid;

    /// <summary>Per brick: number in <see cref="Values"/>, or one of the two constants.</summary>
    internal readonly int[] Index;

    /// <summary>512 values per stored brick, x running fastest.</summary>
    internal readonly float[][] Values;

    /// <summary>Place of each stored brick, in bricks.</summary>
    internal readonly (int X, int Y, int Z)[] Places;

    /// <summary>What nodes of a brick above the level are taken to be: a bound that the true values exceed.</summary>
    internal readonly float Above;

    private readonly double _x0, _y0, _z0, _perCell;

    internal BrickField(NodeGrid grid, int[] index, float[][] values, (int, int, int)[] places, float above)
    {
        Grid = grid;
        Index = index;
        Values = values;
        Places = places;
        Above = above;
        (_x0, _y0, _z0, _perCell) = (grid.X(0), grid.Y(0), grid.Z(0), 1 / grid.Cell);
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    internal float Node(int i, int j, int k)
    {
        if ((uint)i >= (uint)Grid.Nx || (uint)j >= (uint)Grid.Ny || (uint)k >= (uint)Grid.Nz) return Below;
        var brick = Index[((k >> 3) * Grid.By + (j >> 3)) * Grid.Bx + (i >> 3)];
        return brick >= 0 ? Values[brick][(k & 7) << 6 | (j & 7) << 3 | i & 7] : brick == AllAbove ? Above : Below;
    }

    /// <summary>The value at a point and the slope there (per mm).</summary>
    internal double Sample(Vec3 p, out Vec3 slope)
    {
        double u = (p.X - _x0) * _perCell, v = (p.Y - _y0) * _perCell, w = (p.Z - _z0) * _perCell;
        int i = (int)Math.Floor(u), j = (int)Math.Floor(v), k = (int)Math.Floor(w);
        u -= i;
        v -= j;
        w -= k;
        // The walk from corner 000 to corner 111 along the axes in the order of the parts: that is the tetrahedron around the point.
        int first, second;
        if (u >= v) (first, second) = v >= w ? (1, 3) : u >= w ? (1, 5) : (4, 5);
        else (first, second) = u >= w ? (2, 3) : v >= w ? (2, 6) : (4, 6);
        double f0, f1, f2, f3;
        var brick = (uint)i < (uint)Grid.Nx && (uint)j < (uint)Grid.Ny && (uint)k < (uint)Grid.Nz ? Index[((k >> 3) * Grid.By + (j >> 3)) * Grid.Bx + (i >> 3)] : -1;
        if (brick >= 0 && (i & 7) < 7 && (j & 7) < 7 && (k & 7) < 7)
        {
            var values = Values[brick];
            var at = (k & 7) << 6 | (j & 7) << 3 | i & 7;
            (f0, f1, f2, f3) = (values[at], values[at + Step(first)], values[at + Step(second)], values[at + 73]);
        }
        else (f0, f1, f2, f3) = (Node(i, j, k), Node(i + (first & 1), j + (first >> 1 & 1), k + (first >> 2)), Node(i + (second & 1), j + (second >> 1 & 1), k + (second >> 2)), Node(i + 1, j + 1, k + 1));
        double d1 = f1 - f0, d2 = f2 - f1, d3 = f3 - f2;
        int one = first, two = second ^ first;
        var x = one == 1 ? d1 : two == 1 ? d2 : d3;
        var y = one == 2 ? d1 : two == 2 ? d2 : d3;
        var z = one == 4 ? d1 : two == 4 ? d2 : d3;
        slope = new Vec3(x * _perCell, y * _perCell, z * _perCell);
        return f0 + u * x + v * y + w * z;
    }

    // How far a corner of a cell lies behind the first one in a brick's values.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static int Step(int corner) => (corner & 1) + (corner & 2) * 4 + (corner & 4) * 16;
}
