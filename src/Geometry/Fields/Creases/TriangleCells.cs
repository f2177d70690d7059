using System.Runtime.InteropServices;

namespace Stiltwright.Geometry.Fields.Creases;

/// <summary>
/// Which triangles of a changing surface may lie in a cell of space. Entries are only ever added: one whose triangle has since become
/// another is a candidate too many, never one too few.
/// </summary>
internal sealed class TriangleCells(double size)
{
    private readonly Dictionary<(int, int, int), List<int>> _cells = [];

    internal void Add(int triangle, Vec3 a, Vec3 b, Vec3 c)
    {
        Vec3 least = Vec3.Min(a, Vec3.Min(b, c)), most = Vec3.Max(a, Vec3.Max(b, c)), normal = (b - a).Cross(c - a).Unit();
        // A cell touches the triangle's plane only if its middle lies within half its diagonal; the rest is for rounding.
        var reach = 0.87 * size;
        for (var x = Cell(least.X); x <= Cell(most.X); x++)
            for (var y = Cell(least.Y); y <= Cell(most.Y); y++)
                for (var z = Cell(least.Z); z <= Cell(most.Z); z++)
                {
                    if (Math.Abs(normal.Dot(new Vec3(x + 0.5, y + 0.5, z + 0.5) * size - a)) > reach) continue;
                    (CollectionsMarshal.GetValueRefOrAddDefault(_cells, (x, y, z), out _) ??= []).Add(triangle);
                }
    }

    /// <summary>Adds to a set what may lie in a box.</summary>
    internal void Near(Vec3 least, Vec3 most, HashSet<int> found)
    {
        for (var x = Cell(least.X); x <= Cell(most.X); x++)
            for (var y = Cell(least.Y); y <= Cell(most.Y); y++)
                for (var z = Cell(least.Z); z <= Cell(most.Z); z++)
                    if (_cells.TryGetValue((x, y, z), out var list))
                        foreach (var t in list) found.Add(t);
    }

    private int Cell(double v) => (int)Math.Floor(v / size);
}
