namespace Stiltwright.Geometry.Spatial;

/// <summary>
/// Tells whether capsules keep clear of a mesh, for many capsules in the same surroundings. Distances to the mesh at the nodes of
/// a coarse lattice are measured once, when first needed. A capsule is walked along: a distance changes no faster than the place
/// does, so what a node knows lets the walk skip whatever is clear for certain, and only what may not be is asked of the tree.
/// The answer is the tree's own. Safe to ask on several threads.
/// </summary>
public sealed class ClearanceField
{
    /// <summary>Finest spacing of the nodes, mm.</summary>
    private const double LeastCellMm = 1.5;

    /// <summary>About how many nodes are kept at most (4 bytes each); never more than twice as many.</summary>
    private const double MostNodes = 1 << 21;

    /// <summary>Beyond this a node's distance is not looked for, mm.</summary>
    private const double FarMm = 12;

    /// <summary>Nodes around the mesh's box, in cells.</summary>
    private const int Margin = 2;

    private readonly TriangleTree _tree;
    private readonly Box3 _box;
    private readonly double _cell;
    private readonly int _nx, _ny, _nz;
    private readonly float[] _known; // a little below the distance; 0 where it was never asked

    /// <summary>A field around a tree's mesh.</summary>
    public ClearanceField(TriangleTree tree)
    {
        ArgumentNullException.ThrowIfNull(tree);
        (_tree, _box) = (tree, tree.Mesh.Bounds);
        var size = _box.IsEmpty ? Vec3.Zero : _box.Size;
        _cell = Math.Max(LeastCellMm, Math.Cbrt(size.X * size.Y * size.Z / MostNodes));
        int Nodes(double along) => (int)(along / _cell) + 2 + 2 * Margin;
        while ((double)Nodes(size.X) * Nodes(size.Y) * Nodes(size.Z) > 2 * MostNodes) _cell *= 1.5;
        (_nx, _ny, _nz) = (Nodes(size.X), Nodes(size.Y), Nodes(size.Z));
        _known = new float[_nx * _ny * _nz];
    }

    /// <summary>True if some triangle lies within a distance of the segment ab, as <see cref="TriangleTree.AnyWithin"/> says. mm.</summary>
    public bool AnyWithin(Vec3 a, Vec3 b, double distance)
    {
        var length = a.DistanceTo(b);
        var far = 2 * _cell; // what the tree is asked at a time
        if (_tree.Count == 0) return false;
        if (length <= far) return AtLeast(a) - length <= distance && _tree.AnyWithin(a, b, distance);
        var along = (b - a) / length;
        for (double at = 0; ;)
        {
            var p = a + along * at;
            var clear = AtLeast(p) - distance;
            if (clear > 0.05 * _cell) at += clear;
            else
            {
                var next = Math.Min(length, at + far);
                if (_tree.AnyWithin(p, next < length ? a + along * next : b, distance)) return true;
                at = next;
            }
            if (!(at < length)) return false;
        }
    }

    // A lower bound of a place's distance to the mesh.
    private double AtLeast(Vec3 p)
    {
        var outside = new Vec3(Beyond(p.X, _box.Min.X, _box.Max.X), Beyond(p.Y, _box.Min.Y, _box.Max.Y), Beyond(p.Z, _box.Min.Z, _box.Max.Z)).Length;
        int x = Nearest(p.X, _box.Min.X, _nx), y = Nearest(p.Y, _box.Min.Y, _ny), z = Nearest(p.Z, _box.Min.Z, _nz);
        var node = _box.Min + new Vec3(x - Margin, y - Margin, z - Margin) * _cell;
        return Math.Max(outside, Known((z * _ny + y) * _nx + x, node) - p.DistanceTo(node));
    }

    private double Known(int index, Vec3 node)
    {
        var known = _known[index];
        if (known > 0) return known;
        var found = Math.Min(FarMm, _tree.Closest(node, FarMm).Distance);
        return _known[index] = Math.Max(float.Epsilon, MathF.BitDecrement((float)found));
    }

    private int Nearest(double p, double from, int nodes) => Math.Clamp((int)Math.Round((p - from) / _cell) + Margin, 0, nodes - 1);

    private static double Beyond(double p, double least, double most) => Math.Max(0, Math.Max(least - p, p - most));
}
