using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Cutting;

/// <summary>
/// Pairs of soup and tool triangles that may cross. Small soup triangles are compared by their boxes. The box of a long slanting one (a
/// strut's side) would meet tens of thousands of small tool triangles far from it, so it is halved until its parts are small.
/// </summary>
internal sealed class PairFinder
{
    private readonly int[] _xyz, _corners, _small;
    private readonly List<int> _long = [];
    private readonly TriangleTree _smallTree;
    private readonly double _unit, _limit;

    public PairFinder(Lattice lattice, int[] xyz, int[] corners, int[] candidates, Mesh tool)
    {
        (_xyz, _corners, _unit) = (xyz, corners, lattice.UnitMm);
        // About eight edges of the tool's triangles, were they spread evenly over its box.
        _limit = 8 * tool.Bounds.Size.Length / Math.Sqrt(tool.TriangleCount);
        var small = new List<int>();
        foreach (var t in candidates)
        {
            var size = BoxOf(Corner(t, 0), Corner(t, 1), Corner(t, 2)).Size;
            (Math.Max(size.X, Math.Max(size.Y, size.Z)) > _limit ? _long : small).Add(t);
        }
        _small = small.ToArray();
        var near = new int[3 * _small.Length];
        for (var i = 0; i < _small.Length; i++) Array.Copy(corners, 3 * _small[i], near, 3 * i, 3);
        _smallTree = TriangleTree.Build(new Mesh(lattice, xyz, near));
    }

    public void Find(TriangleTree tool, Box3 toolBox, List<(int Soup, int Tool)> pairs)
    {
        _smallTree.CrossingPairs(tool, pairs);
        for (var i = 0; i < pairs.Count; i++) pairs[i] = (_small[pairs[i].Soup], pairs[i].Tool);
        var found = new List<int>();
        var some = new List<int>();
        foreach (var t in _long)
        {
            found.Clear();
            Collect(tool, toolBox, Corner(t, 0), Corner(t, 1), Corner(t, 2), found, some);
            found.Sort();
            for (var i = 0; i < found.Count; i++)
                if (i == 0 || found[i] != found[i - 1]) pairs.Add((t, found[i]));
        }
        pairs.Sort();
    }

    private void Collect(TriangleTree tool, Box3 toolBox, Vec3 a, Vec3 b, Vec3 c, List<int> found, List<int> some)
    {
        // Half a unit covers the rounding of the middles.
        var box = BoxOf(a, b, c).Grown(_unit / 2);
        if (!box.Meets(toolBox)) return;
        var size = box.Size;
        if (Math.Max(size.X, Math.Max(size.Y, size.Z)) <= _limit)
        {
            some.Clear();
            tool.Overlapping(box, some);
            found.AddRange(some);
            return;
        }
        double ab = (b - a).LengthSquared, bc = (c - b).LengthSquared, ca = (a - c).LengthSquared;
        if (bc >= ab && bc >= ca) (a, b, c) = (b, c, a);
        else if (ca >= ab) (a, b, c) = (c, a, b);
        var middle = (a + b) * 0.5;
        Collect(tool, toolBox, a, middle, c, found, some);
        Collect(tool, toolBox, middle, b, c, found, some);
    }

    private Vec3 Corner(int t, int k)
    {
        var v = 3 * _corners[3 * t + k];
        return new Vec3(_xyz[v], _xyz[v + 1], _xyz[v + 2]) * _unit;
    }

    private static Box3 BoxOf(Vec3 a, Vec3 b, Vec3 c) => new(Vec3.Min(a, Vec3.Min(b, c)), Vec3.Max(a, Vec3.Max(b, c)));
}
