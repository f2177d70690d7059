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

    internal BrickField(NodeGrid grid, int[] index, float[][] values, (int, int, int)[] places, float above)
    {
        Grid = grid;
        Index = index;
        Values = values;
        Places = places;
        Above = above;
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
        double u = (p.X - Grid.X(0)) / Grid.Cell, v = (p.Y - Grid.Y(0)) / Grid.Cell, w = (p.Z - Grid.Z(0)) / Grid.Cell;
        int i = (int)Math.Floor(u), j = (int)Math.Floor(v), k = (int)Math.Floor(w);
        u -= i;
        v -= j;
        w -= k;
        double f0 = Node(i, j, k), f3 = Node(i + 1, j + 1, k + 1), f1, f2, x, y, z;
        if (u >= v)
        {
            if (v >= w) { f1 = Node(i + 1, j, k); f2 = Node(i + 1, j + 1, k); x = f1 - f0; y = f2 - f1; z = f3 - f2; }
            else if (u >= w) { f1 = Node(i + 1, j, k); f2 = Node(i + 1, j, k + 1); x = f1 - f0; z = f2 - f1; y = f3 - f2; }
            else { f1 = Node(i, j, k + 1); f2 = Node(i + 1, j, k + 1); z = f1 - f0; x = f2 - f1; y = f3 - f2; }
        }
        else if (u >= w) { f1 = Node(i, j + 1, k); f2 = Node(i + 1, j + 1, k); y = f1 - f0; x = f2 - f1; z = f3 - f2; }
        else if (v >= w) { f1 = Node(i, j + 1, k); f2 = Node(i, j + 1, k + 1); y = f1 - f0; z = f2 - f1; x = f3 - f2; }
        else { f1 = Node(i, j, k + 1); f2 = Node(i, j + 1, k + 1); z = f1 - f0; y = f2 - f1; x = f3 - f2; }
        slope = new Vec3(x, y, z) / Grid.Cell;
        return f0 + u * x + v * y + w * z;
    }
}
