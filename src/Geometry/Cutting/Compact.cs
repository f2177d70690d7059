namespace Stiltwright.Geometry.Cutting;

/// <summary>Leaves out vertices that no triangle uses; the order of the others stays.</summary>
internal static class Compact
{
    public static Mesh Used(Lattice lattice, int[] xyz, int[] corners)
    {
        var map = new int[xyz.Length / 3];
        foreach (var c in corners) map[c] = 1;
        var n = 0;
        for (var v = 0; v < map.Length; v++) map[v] = map[v] == 0 ? -1 : n++;
        if (n == map.Length) return new Mesh(lattice, xyz, corners);
        var packed = new int[3 * n];
        for (var v = 0; v < map.Length; v++)
            if (map[v] >= 0) xyz.AsSpan(3 * v, 3).CopyTo(packed.AsSpan(3 * map[v], 3));
        for (var i = 0; i < corners.Length; i++) corners[i] = map[corners[i]];
        return new Mesh(lattice, packed, corners);
    }
}
