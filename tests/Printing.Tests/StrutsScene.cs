using Stiltwright.Geometry;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Tests;

/// <summary>
/// A generator of truth: a bumpy sea creature with struts in a style that a random number chooses, slender parts of the figure that
/// look like struts, and the known role of every shell. Ours; its styles are common practice.
/// </summary>
internal sealed class StrutsScene
{
    private static readonly Lattice Grid = new(16);
    private readonly List<(Mesh Mesh, Role Role, double RadiusAtMiddle)> _parts = [];
    private readonly Random _random;

    public StrutsScene(int seed, bool struts = true, bool rich = false)
    {
        _random = new Random(seed);
        Seed = seed;
        Raft = _random.Next(rich ? 5 : 3);
        Sides = new[] { 4, 5, 6, 8, 12, 16, 24, 32 }[_random.Next(8)];
        Whole = _random.Next(3) == 0;
        Balls = _random.Next(2) == 0;
        Braces = _random.Next(3);
        if (rich)
        {
            Feet = _random.Next(3);
            TipBalls = _random.Next(2) == 0;
            Branches = _random.Next(2) == 0;
            Bent = !Whole && _random.Next(3) == 0;
            Flush = !Whole && !Bent && _random.Next(3) == 0;
        }
        Body = Creature(new Vec3(0, 0, 24), 11);
        Add(Body, Role.Figure);
        LookAlikes();
        if (struts) Struts();
    }

    public int Seed { get; }

    /// <summary>0 none, 1 plate, 2 pads with bars, 3 parallel rails, 4 a grid of rails.</summary>
    public int Raft { get; }

    /// <summary>0 cones, 1 discs, 2 none.</summary>
    public int Feet { get; }

    /// <summary>A ball where the tip meets the figure.</summary>
    public bool TipBalls { get; }

    /// <summary>A second, leaning strut branches off every third one.</summary>
    public bool Branches { get; }

    /// <summary>Pillars bow a little.</summary>
    public bool Bent { get; }

    /// <summary>Foot, pillar and tip end on one another, corner on corner, instead of overlapping.</summary>
    public bool Flush { get; }

    public int Sides { get; }

    /// <summary>Foot, pillar and tip in one shell.</summary>
    public bool Whole { get; }

    public bool Balls { get; }

    /// <summary>0 none, 1 single, 2 crossing.</summary>
    public int Braces { get; }

    public Mesh Body { get; }

    public IReadOnlyList<(Mesh Mesh, Role Role, double RadiusAtMiddle)> Parts => _parts;

    public override string ToString() => $"seed {Seed}: raft {Raft}, {Sides} sides, whole {Whole}, balls {Balls}, braces {Braces}, feet {Feet}, tip balls {TipBalls}, branches {Branches}, bent {Bent}, flush {Flush}";

    /// <summary>The scene as one source; parts in an order shuffled by a seed, all turned about z.</summary>
    public (Mesh Mesh, ShellSet Shells, int[] PartOfShell) Source(int shuffle = 0, double turn = 0)
    {
        var order = Enumerable.Range(0, _parts.Count).ToArray();
        if (shuffle != 0) new Random(shuffle).Shuffle(order);
        var map = Affine.Turn(Vec3.Up, turn);
        var mesh = Mesh.Concat(Grid, order.Select(i => turn == 0 ? _parts[i].Mesh : _parts[i].Mesh.Placed(map, Grid)));
        var shells = ShellFinder.Find(mesh);
        var partOf = new int[shells.Shells.Count];
        var at = 0;
        var partOfTriangle = new int[mesh.TriangleCount];
        foreach (var i in order)
            for (var t = 0; t < _parts[i].Mesh.TriangleCount; t++) partOfTriangle[at++] = i;
        for (var s = 0; s < partOf.Length; s++) partOf[s] = partOfTriangle[shells.Shells[s].Triangles[0]];
        return (mesh, shells, partOf);
    }

    private void Add(Mesh mesh, Role role, double radius = 0) => _parts.Add((mesh, role, radius));

    /// <summary>A ball with smooth relief.</summary>
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

    /// <summary>Feelers, spines, a harpoon, a rod held at both ends, a string of pearls: all figure.</summary>
    private void LookAlikes()
    {
        for (var i = 0; i < 6; i++)
        {
            var a = 2 * Math.PI * i / 6 + 0.3;
            var u = new Vec3(Math.Cos(a), Math.Sin(a), 0.8).Unit();
            Add(Primitives.Frustum(Grid, new Vec3(0, 0, 24) + u * 9, new Vec3(0, 0, 24) + u * 18, 0.5, 0.15, 8), Role.Figure);
        }
        // A harpoon through the body, reaching far down on one side.
        Add(Primitives.Prism(Grid, new Vec3(3, -16, 6), new Vec3(-2, 14, 34), 0.5, 8), Role.Figure);
        // A rod with both ends in the body.
        Add(Primitives.Prism(Grid, new Vec3(8, 0, 29), new Vec3(-8, 1, 30), 0.4, 12), Role.Figure);
        for (var i = 0; i < 20; i++)
        {
            var a = 2 * Math.PI * i / 20;
            Add(Primitives.Sphere(Grid, new Vec3(11.2 * Math.Cos(a), 11.2 * Math.Sin(a), 24), 0.7, 4), Role.Figure);
        }
    }

    private void Struts()
    {
        var tree = TriangleTree.Build(Body);
        var raftTop = Raft == 0 ? 0 : 1.2;
        var spots = new List<(double X, double Y)>();
        for (var i = 0; i < 400 && spots.Count < 14; i++)
        {
            double x = _random.NextDouble() * 14 - 7, y = _random.NextDouble() * 14 - 7;
            if (x * x + y * y > 49 || spots.Any(s => Math.Pow(s.X - x, 2) + Math.Pow(s.Y - y, 2) < 7.3)) continue;
            spots.Add((x, y));
        }
        var shafts = new List<(Vec3 A, Vec3 B, double R)>();
        foreach (var (x, y) in spots)
        {
            var r = 0.45 + 0.3 * _random.NextDouble();
            var tip = 0.14 + 0.1 * _random.NextDouble();
            var hits = new List<RayHit>();
            tree.RayHits(new Vec3(x, y, 0.01), Vec3.Up, hits);
            var contact = hits.First(h => h.Entering).Distance + 0.01;
            double joint = contact - 2.2, foot = Math.Max(0, raftTop - 0.3);
            Vec3 At(double z) => new(x, y, z);
            if (Flush)
            {
                // Equal polygons at the joints: the rings share their corners once the file is read.
                double top = raftTop + 0.8;
                if (Feet < 2) Add(Primitives.Frustum(Grid, At(foot), At(top), 2.1 * r, 1.1 * r, Sides), Role.Foot);
                Add(Primitives.Frustum(Grid, At(Feet < 2 ? top : foot), At(joint), 1.1 * r, r, Sides), Role.Pillar, 1.05 * r);
                Add(Primitives.Frustum(Grid, At(joint), At(contact + 0.15), r, tip, Sides), Role.Tip, (r + tip) / 2);
            }
            else if (Whole)
            {
                var height = contact + 0.15 - foot;
                double Along(double z) => (z - foot) / height;
                Add(Primitives.Revolved(Grid, At(foot), At(contact + 0.15),
                    [(2.2 * r, 0), (1.1 * r, Along(raftTop + 1)), (r, Along(joint)), (tip, 1)], Sides), Role.Pillar, 0);
            }
            else
            {
                if (Feet == 0) Add(Primitives.Frustum(Grid, At(foot), At(raftTop + 0.8), 2.1 * r, 1.2 * r, 16), Role.Foot, 0);
                if (Feet == 1) Add(Primitives.Cylinder(Grid, At(foot), At(raftTop + 0.5), 2 * r, 16), Role.Foot, 0);
                if (Bent) Add(Bow(At(foot + 0.05), At(joint + 0.1), 1.1 * r, r), Role.Pillar, 0);
                else Add(Primitives.Frustum(Grid, At(foot + 0.05), At(joint + 0.1), 1.1 * r, r, Sides), Role.Pillar, 1.05 * r);
                Add(Primitives.Frustum(Grid, At(joint), At(contact + 0.15), 0.95 * r, tip, Math.Max(Sides, 6)), Role.Tip, (0.95 * r + tip) / 2);
                if (Balls) Add(Primitives.Sphere(Grid, At(joint + 0.05), 1.15 * r, 4), Role.Pillar, 0);
            }
            if (TipBalls) Add(Primitives.Sphere(Grid, At(contact + 0.05), 1.5 * tip, 4), Role.Tip, 0);
            if (Branches && shafts.Count % 3 == 0) Branch(tree, At(foot), joint, r, tip);
            shafts.Add((At(foot), At(joint), r));
            if (Raft == 2) Add(Primitives.Cylinder(Grid, At(0), At(raftTop), 2.6 * r, 24), Role.Raft);
        }
        if (Raft == 1) Add(Primitives.Box(Grid, new Vec3(-11, -11, 0), new Vec3(11, 11, raftTop)), Role.Raft);
        if (Raft >= 3)
            for (var i = -5; i <= 5; i++)
            {
                Add(Primitives.Box(Grid, new Vec3(-11, 2 * i - 0.8, 0), new Vec3(11, 2 * i + 0.8, raftTop)), Role.Raft);
                if (Raft == 4) Add(Primitives.Box(Grid, new Vec3(2 * i - 0.8, -11, 0), new Vec3(2 * i + 0.8, 11, 0.8 * raftTop)), Role.Raft);
            }
        for (var i = 0; i + 1 < shafts.Count; i++)
        {
            var (a, b) = (shafts[i], shafts[i + 1]);
            if (Raft == 2)
            {
                Vec3 p = a.A with { Z = 0 }, q = b.A with { Z = 0 };
                Add(Bar(p, q), Role.Raft);
            }
            if (Braces == 0) continue;
            var low = raftTop + 1.6;
            var high = Math.Min(a.B.Z, b.B.Z) - 0.4;
            if (high - low < 1.5) continue;
            Add(Primitives.Prism(Grid, a.A with { Z = low }, b.A with { Z = high }, 0.3, 6), Role.Brace, 0.3);
            if (Braces == 2) Add(Primitives.Prism(Grid, b.A with { Z = low }, a.A with { Z = high }, 0.3, 6), Role.Brace, 0.3);
        }
    }

    // A leaning pillar from half-way up, with a tip of its own.
    private void Branch(TriangleTree tree, Vec3 foot, double joint, double r, double tip)
    {
        var start = foot with { Z = foot.Z + 0.45 * (joint - foot.Z) };
        for (var k = 0; k < 8; k++)
        {
            var (sin, cos) = Math.SinCos(2 * Math.PI * k / 8);
            var rise = 0.4 * (joint - foot.Z);
            var end = start + new Vec3(0.45 * rise * cos, 0.45 * rise * sin, rise);
            var hits = new List<RayHit>();
            tree.RayHits(end, Vec3.Up, hits);
            if (!hits.Any(h => h.Entering)) continue;
            var up = hits.First(h => h.Entering).Distance;
            if (up is < 1.5 or > 6) continue;
            Add(Primitives.Frustum(Grid, start, end, 0.8 * r, 0.7 * r, Sides), Role.Pillar, 0.75 * r);
            Add(Primitives.Frustum(Grid, end - new Vec3(0, 0, 0.1), end + new Vec3(0, 0, up + 0.15), 0.68 * r, tip, Math.Max(Sides, 6)), Role.Tip, (0.68 * r + tip) / 2);
            Add(Primitives.Sphere(Grid, end, 0.8 * r, 4), Role.Pillar);
            return;
        }
    }

    // A tube along a shallow arc.
    private Mesh Bow(Vec3 from, Vec3 to, double r0, double r1)
    {
        const int Pieces = 6;
        var points = new List<Vec3>();
        var radii = new List<double>();
        for (var i = 0; i <= Pieces; i++)
        {
            var t = (double)i / Pieces;
            points.Add(from + (to - from) * t + new Vec3(0.04 * from.DistanceTo(to) * Math.Sin(Math.PI * t), 0, 0));
            radii.Add(r0 + (r1 - r0) * t);
        }
        return Growing.StrutTube.Build(Grid, points, radii, Math.Max(Sides, 6));
    }

    private static Mesh Bar(Vec3 from, Vec3 to)
    {
        var length = from.DistanceTo(to);
        var box = Primitives.Box(Grid, new Vec3(0, -0.5, 0), new Vec3(length, 0.5, 0.9));
        return box.Placed(Affine.Turn(Vec3.Up, Math.Atan2(to.Y - from.Y, to.X - from.X)) with { Shift = from }, Grid);
    }
}
