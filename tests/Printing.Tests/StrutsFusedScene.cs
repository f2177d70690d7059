using Stiltwright.Geometry;
using Stiltwright.Geometry.Cutting;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Tests;

/// <summary>
/// A generator of truth for fused sources: a bumpy sea creature with look-alike rods of its own and struts in a style that a seed
/// chooses, all united into one surface by an exact boolean (the union of A and B is what is left outside when B is taken out of
/// everything but A). Ours; the styles are common practice.
/// </summary>
internal sealed class StrutsFusedScene
{
    private static readonly Lattice Grid = new(16);

    public StrutsFusedScene(int seed, bool struts = true)
    {
        var random = new Random(seed);
        Sides = new[] { 4, 5, 6, 8, 12, 16, 24, 32 }[seed % 8];
        Raft = seed % 2 == 0 ? 1.2 : 0;
        Balls = seed % 3 == 0;
        var body = Creature(new Vec3(0, 0, 22), 9);
        // A harpoon through the body, a rod held at both ends, feelers: figure, all of them.
        Rod(new Vec3(3, -13, 12), new Vec3(-2, 12, 30), 0.5, 0.5, 8);
        Rod(new Vec3(6.1, 0.3, 27), new Vec3(-6.2, 1, 28), 0.4, 0.4, 12);
        Rod(new Vec3(0, 0, 24), new Vec3(7, 5, 38), 0.6, 0.2, 8);
        Rod(new Vec3(0, 0, 24), new Vec3(-7, 5, 37), 0.6, 0.2, 6);
        var alone = Rods.Aggregate(body, (a, r) => United(a, r.Mesh, 7));
        Figure = alone;
        Mesh = alone;
        if (!struts) return;
        var tree = TriangleTree.Build(body);
        var spots = new List<(double X, double Y)>();
        while (spots.Count < 8)
        {
            double x = random.NextDouble() * 11 - 5.5, y = random.NextDouble() * 11 - 5.5;
            if (x * x + y * y < 30 && spots.TrueForAll(s => Math.Pow(s.X - x, 2) + Math.Pow(s.Y - y, 2) > 6.5)) spots.Add((x, y));
        }
        var parts = new List<Mesh>();
        var shafts = new List<(Vec3 Low, Vec3 High)>();
        foreach (var (x, y) in spots)
        {
            var r = 0.45 + 0.25 * random.NextDouble();
            var tip = 0.15 + 0.08 * random.NextDouble();
            var hits = new List<RayHit>();
            tree.RayHits(new Vec3(x, y, 0.01), Vec3.Up, hits);
            var contact = hits.First(h => h.Entering).Distance + 0.01;
            double joint = contact - 2.2, foot = Raft > 0 ? Raft - 0.3 : 0;
            Vec3 At(double z) => new(x, y, z);
            Add(Role.Foot, At(foot), At(Raft + 0.9), 2.1 * r, 1.25 * r, 16);
            Add(Role.Pillar, At(foot + 0.05), At(joint + 0.1), 1.1 * r, r, Sides);
            Add(Role.Tip, At(joint), At(contact + 0.13), 0.95 * r, tip, Math.Max(Sides, 6));
            if (Balls) parts.Add(Primitives.Sphere(Grid, At(contact - 0.05), 1.5 * tip, 4));
            shafts.Add((At(Raft + 1.8), At(joint - 0.6)));
        }
        for (var i = 0; i + 1 < shafts.Count; i += 2)
        {
            var (a, b) = (shafts[i], shafts[i + 1]);
            var top = a.Low with { Z = Math.Min(a.High.Z, Math.Min(b.High.Z, a.Low.Z + a.Low.DistanceTo(b.Low))) };
            Add(Role.Brace, b.Low, top, 0.28, 0.28, 6);
        }
        if (Raft > 0) parts.Add(Primitives.Box(Grid, new Vec3(-9, -9, 0), new Vec3(9, 9, Raft)));
        StrutParts = parts;
        Mesh = parts.Aggregate(Mesh, (a, b) => United(a, b, 11));

        void Rod(Vec3 from, Vec3 to, double rFrom, double rTo, int sides) => Rods.Add((from, to, Primitives.Frustum(Grid, from, to, rFrom, rTo, sides)));

        void Add(Role role, Vec3 from, Vec3 to, double rFrom, double rTo, int sides)
        {
            parts.Add(Primitives.Frustum(Grid, from, to, rFrom, rTo, sides));
            Segments.Add((role, from, to, rFrom, rTo));
        }
    }

    public Mesh Mesh { get; }

    /// <summary>Parts of the figure that look like struts: straight, thin and regular.</summary>
    public List<(Vec3 From, Vec3 To, Mesh Mesh)> Rods { get; } = [];

    /// <summary>Struts and raft before they were united.</summary>
    public IReadOnlyList<Mesh> StrutParts { get; } = [];

    /// <summary>The figure before struts were put on.</summary>
    public Mesh Figure { get; }

    public List<(Role Role, Vec3 From, Vec3 To, double RadiusFrom, double RadiusTo)> Segments { get; } = [];

    public int Sides { get; }

    /// <summary>Height of the plate, mm; 0 without one.</summary>
    public double Raft { get; }

    public bool Balls { get; }

    /// <summary>One surface of two closed ones that cross.</summary>
    public static Mesh United(Mesh a, Mesh b, ulong seed)
    {
        var box = a.Bounds.With(b.Bounds).Grown(5);
        var around = Primitives.Box(Grid, box.Min, box.Max);
        var left = SolidTool.Subtract(Mesh.Concat(Grid, [around, a.Turned()]), b, seed).Result;
        var shells = ShellFinder.Find(left);
        var keep = shells.Shells.Where(s => s.Bounds.Min.Z > box.Min.Z + 1).SelectMany(s => s.Triangles).Order().ToArray();
        return left.Part(keep).Turned();
    }

    private static Mesh Creature(Vec3 centre, double radius)
    {
        var ball = Primitives.Sphere(Grid, Vec3.Zero, radius, 24);
        var xyz = new int[3 * ball.VertexCount];
        for (var v = 0; v < ball.VertexCount; v++)
        {
            var p = ball.Vertex(v);
            var u = p.Unit();
            var q = centre + p * (1 + 0.05 * Math.Sin(4 * u.X + 1) * Math.Cos(5 * u.Y) + 0.03 * Math.Sin(7 * u.Z));
            xyz[3 * v] = Grid.Round(q.X);
            xyz[3 * v + 1] = Grid.Round(q.Y);
            xyz[3 * v + 2] = Grid.Round(q.Z);
        }
        return new Mesh(Grid, xyz, ball.CornersArray);
    }
}
