namespace Stiltwright.Geometry.Tests;

/// <summary>
/// The same questions answered the slow way on a block of voxels: floods over single voxels, one layer after the other,
/// without any of the runs, links and trees of the real thing.
/// </summary>
internal sealed class LayersNaiveTwin(int nx, int ny, int nz, Func<int, int, int, bool> solid)
{
    private static readonly (int, int, int)[] Sides = [(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)];
    private static readonly (int, int, int)[] SidesAndFlatCorners = [.. Sides, (1, 1, 0), (1, -1, 0), (-1, 1, 0), (-1, -1, 0)];

    /// <summary>Numbers the connected parts among voxels of layers lowest..highest; -1 where not of the kind.</summary>
    private int[,,] Parts(bool ofSolid, int lowest, int highest, out int count)
    {
        var part = new int[nx, ny, nz];
        for (var x = 0; x < nx; x++)
            for (var y = 0; y < ny; y++)
                for (var z = 0; z < nz; z++) part[x, y, z] = -1;
        count = 0;
        var stack = new Stack<(int X, int Y, int Z)>();
        for (var z = lowest; z <= highest; z++)
            for (var y = 0; y < ny; y++)
                for (var x = 0; x < nx; x++)
                {
                    if (part[x, y, z] >= 0 || solid(x, y, z) != ofSolid) continue;
                    part[x, y, z] = count;
                    stack.Push((x, y, z));
                    while (stack.TryPop(out var p))
                        foreach (var (dx, dy, dz) in ofSolid ? SidesAndFlatCorners : Sides)
                        {
                            int a = p.X + dx, b = p.Y + dy, c = p.Z + dz;
                            if (a < 0 || b < 0 || a >= nx || b >= ny || c < lowest || c > highest) continue;
                            if (part[a, b, c] >= 0 || solid(a, b, c) != ofSolid) continue;
                            part[a, b, c] = count;
                            stack.Push((a, b, c));
                        }
                    count++;
                }
        return part;
    }

    public int[,,] SolidUpTo(int layer, out int count) => Parts(true, 0, layer, out count);

    public int[,,] RegionsOf(int layer, out int count) => Parts(true, layer, layer, out count);

    public int[,,] VoidRegionsOf(int layer, out int count) => Parts(false, layer, layer, out count);

    public int[,,] VoidUpTo(int layer, out int count) => Parts(false, 0, layer, out count);

    /// <summary>Which parts of a numbering touch the rim of the grid in one of its layers.</summary>
    public bool[] Outside(int[,,] part, int count)
    {
        var open = new bool[count];
        for (var z = 0; z < nz; z++)
            for (var y = 0; y < ny; y++)
                for (var x = 0; x < nx; x++)
                    if ((x == 0 || y == 0 || x == nx - 1 || y == ny - 1) && part[x, y, z] >= 0) open[part[x, y, z]] = true;
        return open;
    }

    /// <summary>Sizes (voxels) of the void parts that touch neither rim, platform nor the last layer, in rising order.</summary>
    public int[] SealedSizes()
    {
        var part = Parts(false, 0, nz - 1, out var count);
        var open = Outside(part, count);
        var size = new int[count];
        for (var z = 0; z < nz; z++)
            for (var y = 0; y < ny; y++)
                for (var x = 0; x < nx; x++)
                {
                    if (part[x, y, z] < 0) continue;
                    size[part[x, y, z]]++;
                    if (z == 0 || z == nz - 1) open[part[x, y, z]] = true;
                }
        return [.. Enumerable.Range(0, count).Where(p => !open[p]).Select(p => size[p]).Order()];
    }

    public static int Size(int[,,] part, int which)
    {
        var n = 0;
        foreach (var p in part) n += p == which ? 1 : 0;
        return n;
    }
}
