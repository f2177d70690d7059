using Stiltwright.Geometry;
using Stiltwright.Geometry.Booleans;
using Stiltwright.Printing.Growing;
using Stiltwright.Printing.Struts;
using Stiltwright.Printing.Struts.Fused;

namespace Stiltwright.Printing.Tests;

/// <summary>Styles of struts, and faults of their shells, that once were missed or taken for something else.</summary>
public class StrutsStylesTests
{
    private static readonly Lattice Grid = new(16);
    private static readonly Vec3 Middle = new(0, 0, 22);
    private const double Body = 8;

    private static bool IsStrut(Role r) => r is Role.Foot or Role.Pillar or Role.Brace or Role.Tip;

    private static Recognised Look(Mesh mesh) => Recognition.Recognise(mesh, ShellFinder.Find(mesh), new RecognitionSettings(), CancellationToken.None);

    /// <summary>Struts under a ball, each foot, shaft and leaning tip: axis corners from the platform up.</summary>
    private static List<Vec3[]> Struts(int count)
    {
        var result = new List<Vec3[]>();
        for (var i = 0; i < count; i++)
        {
            double down = 0.25 + 0.06 * i, around = 2.4 * i;
            var u = new Vec3(Math.Sin(down) * Math.Cos(around), Math.Sin(down) * Math.Sin(around), -Math.Cos(down));
            var contact = Middle + u * Body;
            var joint = contact + (u * 0.6 + new Vec3(0, 0, -1)).Unit() * 2;
            result.Add([joint with { Z = 0 }, joint with { Z = 1.2 }, joint, contact + (contact - joint).Unit() * 0.3]);
        }
        return result;
    }

    private static readonly double[] Radii = [1.0, 0.5, 0.45, 0.18];

    [Fact]
    public void A_whisker_that_a_strut_holds_at_its_point_stays_figure()
    {
        var parts = new List<Mesh> { Primitives.Sphere(Grid, Middle, Body, 24) };
        foreach (var p in Struts(12)) parts.Add(StrutTube.Build(Grid, p, Radii, 8));
        // Whiskers stand out from the ball; a whole strut, in three shells, holds each near its point.
        var whiskers = parts.Count;
        for (var i = 0; i < 4; i++)
        {
            var u = new Vec3(Math.Cos(1.5 * i), Math.Sin(1.5 * i), 0.1).Unit();
            var point = Middle + u * (Body + 7);
            parts.Add(Primitives.Frustum(Grid, Middle + u * (Body - 0.6), point, 0.35, 0.12, 8));
        }
        for (var i = 0; i < 4; i++)
        {
            var u = new Vec3(Math.Cos(1.5 * i), Math.Sin(1.5 * i), 0.1).Unit();
            var held = Middle + u * (Body + 6.9);
            Vec3 At(double z) => held with { Z = z };
            parts.Add(Primitives.Frustum(Grid, At(0), At(1.2), 1, 0.5, 8));
            parts.Add(Primitives.Frustum(Grid, At(0), At(held.Z - 1.9), 0.5, 0.45, 8));
            parts.Add(Primitives.Frustum(Grid, At(held.Z - 2), At(held.Z + 0.02), 0.43, 0.18, 8));
        }
        var got = Look(Mesh.Concat(Grid, parts));
        for (var i = 0; i < 4; i++) Assert.False(IsStrut(got.RoleOfShell[whiskers + i]), $"whisker {i} was taken for {got.RoleOfShell[whiskers + i]}: {got.WhyOfShell[whiskers + i]}");
        for (var i = whiskers + 4; i < parts.Count; i++) Assert.True(IsStrut(got.RoleOfShell[i]), $"shell {i}: {got.RoleOfShell[i]}, {got.WhyOfShell[i]}");
    }

    [Theory]
    [InlineData(6)]
    [InlineData(12)]
    public void Whole_struts_in_one_bent_tube_each_come_off_a_figure_with_which_they_were_united(int sides)
    {
        var whole = Primitives.Sphere(Grid, Middle, Body, 24);
        var axes = Struts(12);
        foreach (var p in axes) whole = MeshBoolean.Union(whole, StrutTube.Build(Grid, p, Radii, sides));
        var got = FusedSeparation.Try(whole, ShellFinder.Find(whole), new RecognitionSettings(), CancellationToken.None);
        Assert.True(got.Source is not null, got.Why);
        var graph = got.Source.Recognised.Graph;
        int found = 0, all = 0;
        foreach (var p in axes)
            for (var k = 0; k + 1 < p.Length; k++, all++)
            {
                var middle = (p[k] + p[k + 1]) / 2;
                var near = graph.Segments.Where(g => Math.Abs((g.To - g.From).Unit().Dot((p[k + 1] - p[k]).Unit())) > 0.99
                    && (middle - g.From).Cross((g.To - g.From).Unit()).Length < 0.1 && g.From.DistanceTo(middle) < g.Length + 0.1 && g.To.DistanceTo(middle) < g.Length + 0.1).ToList();
                if (near.Count == 0) continue;
                found++;
                Assert.Contains(near, g =>
                {
                    var share = g.From.DistanceTo(middle) / g.Length;
                    return Math.Abs((g.RadiusFrom + (g.RadiusTo - g.RadiusFrom) * share) / ((Radii[k] + Radii[k + 1]) / 2) - 1) <= 0.03;
                });
            }
        Assert.True(found >= 0.98 * all, $"{found} of {all} segments found");
        // What is left of the figure is the ball: not a corner of it went with the struts.
        var figure = Enumerable.Range(0, got.Source.Shells.Shells.Count).Where(s => got.Source.Recognised.RoleOfShell[s] == Role.Figure).ToList();
        foreach (var s in figure)
        {
            var box = got.Source.Shells.Shells[s].Bounds;
            Assert.True(box.Min.Z > Middle.Z - Body - 0.05, $"a part of {got.Source.Shells.Shells[s].Triangles.Length} triangles of a strut was left to the figure: {box.Min} to {box.Max}");
        }
    }

    [Theory]
    [InlineData(true)]
    [InlineData(false)]
    public void Struts_that_lack_an_end_cap_or_are_inside_out_are_struts_and_are_drawn_closed_and_outwards(bool open)
    {
        var parts = new List<Mesh> { Primitives.Sphere(Grid, Middle, Body, 24) };
        var n = 0;
        foreach (var p in Struts(12))
        {
            var tube = StrutTube.Build(Grid, p, Radii, 12);
            if (n++ % 2 == 0) tube = open ? tube.Part([.. Enumerable.Range(0, tube.TriangleCount).Where(t => tube.AreaVector(t).Unit().Z > -0.99)]) : tube.Turned();
            parts.Add(tube);
        }
        var got = Look(Mesh.Concat(Grid, parts));
        Assert.Equal(12, got.RoleOfShell.Count(IsStrut));
        Assert.Equal(Role.Figure, got.RoleOfShell[0]);
        foreach (var shell in got.Graph.Shells)
        {
            var drawn = ShellFinder.Find(shell.Shape).Shells;
            Assert.True(drawn.Count == 1 && drawn[0].Closed && drawn[0].SignedVolumeMm3 > 0);
        }
    }

    [Theory]
    [InlineData(3, 0, 0.9)] // a magnet's pocket, open in the base's underside
    [InlineData(3, -0.1, 0.9)] // drawn through that underside
    [InlineData(0.45, 0.5, 1.8)] // the bore of a pin under a strut's foot, up to the base's top
    public void A_pocket_drawn_as_an_inverted_shell_in_a_base_with_struts_stays_an_inner_shell_or_figure(double radius, double from, double to)
    {
        var parts = new List<Mesh>
        {
            Primitives.Frustum(Grid, new Vec3(9, 0, from), new Vec3(9, 0, to), radius, radius, 24).Turned(),
            Primitives.Sphere(Grid, Middle, Body, 24),
            Primitives.Frustum(Grid, Vec3.Zero, new Vec3(0, 0, 1.8), 16, 15, 48),
        };
        foreach (var p in Struts(12)) parts.Add(StrutTube.Build(Grid, p, Radii, 12));
        // One stands on the pocket's middle.
        parts.Add(StrutTube.Build(Grid, [new Vec3(9, 0, 1.7), new Vec3(9, 0, 15), new Vec3(6.5, 0, 18.2)], [0.5, 0.45, 0.18], 12));
        var got = Look(Mesh.Concat(Grid, parts));
        Assert.Equal(from < 0 ? Role.Figure : Role.InnerShell, got.RoleOfShell[0]);
        Assert.DoesNotContain(0, got.SourceShellOfStrutShell);
        Assert.True(got.RoleOfShell.Count(IsStrut) >= 12, $"{got.RoleOfShell.Count(IsStrut)} struts");
    }

    /// <summary>A bust on a round base of its own, its arms stretched out over struts that end at a height.</summary>
    private static (List<Mesh> Figure, List<Mesh> Struts) BustOnBase(double floor, double foot)
    {
        Vec3 At(double x, double y, double z) => new(x, y, floor + z);
        var figure = new List<Mesh>
        {
            Primitives.Frustum(Grid, At(0, 0, 0), At(0, 0, 6), 10, 8, 48),
            Primitives.Frustum(Grid, At(0, 0, 5), At(0, 0, 20), 6, 4, 48),
            Primitives.Sphere(Grid, At(0, 0, 24), 6, 16),
            Primitives.Frustum(Grid, At(0, 0, 15), At(19, 0, 17), 2, 1.5, 24),
            Primitives.Frustum(Grid, At(0, 0, 15), At(-19, 0, 17), 2, 1.5, 24),
        };
        var struts = new List<Mesh>();
        foreach (var x in new[] { -18.0, -15, -12.5, 12.5, 15, 18 })
        {
            var under = 15 + 2 * Math.Abs(x) / 19 - (2 - 0.5 * Math.Abs(x) / 19) + 0.2;
            struts.Add(StrutTube.Build(Grid, [new Vec3(x, 0, foot), new Vec3(x, 0, foot + 1.2), new Vec3(x, 0, floor + under - 2), At(x, 0, under)], Radii, 8));
        }
        return (figure, struts);
    }

    [Theory]
    [InlineData(true)]
    [InlineData(false)]
    public void A_figure_on_a_base_of_its_own_has_struts_beside_it(bool onRaft)
    {
        var (figure, struts) = BustOnBase(onRaft ? 1.15 : 0, onRaft ? 0.9 : 0);
        var parts = figure.Concat(struts).ToList();
        if (onRaft) parts.Add(Primitives.Box(Grid, new Vec3(-22, -12, 0), new Vec3(22, 12, 1.2)));
        var got = Look(Mesh.Concat(Grid, parts));
        for (var i = 0; i < figure.Count; i++) Assert.Equal(Role.Figure, got.RoleOfShell[i]);
        for (var i = 0; i < struts.Count; i++) Assert.True(IsStrut(got.RoleOfShell[figure.Count + i]), $"strut {i}: {got.RoleOfShell[figure.Count + i]}, {got.WhyOfShell[figure.Count + i]}");
        if (onRaft) Assert.Equal(Role.Raft, got.RoleOfShell[^1]);
        Assert.Equal(!onRaft, got.NoRaft);
    }

    [Theory]
    [InlineData(0.6, 0.6)] // columns
    [InlineData(0.8, 0.6)] // columns that taper upwards
    public void The_columns_of_a_temple_on_its_plate_stay_figure(double below, double above)
    {
        var parts = new List<Mesh> { Primitives.Box(Grid, new Vec3(-15, -10, 0), new Vec3(15, 10, 2)), Primitives.Box(Grid, new Vec3(-15, -10, 17), new Vec3(15, 10, 20)) };
        for (var i = 0; i < 12; i++) parts.Add(Primitives.Frustum(Grid, new Vec3(-13 + 5.2 * (i / 2), i % 2 == 0 ? -8 : 8, 1.9), new Vec3(-13 + 5.2 * (i / 2), i % 2 == 0 ? -8 : 8, 17.1), below, above, 12));
        var got = Look(Mesh.Concat(Grid, parts));
        Assert.DoesNotContain(got.RoleOfShell, IsStrut);
        Assert.Equal(Role.Figure, got.RoleOfShell[0]);
    }

    /// <summary>A ball on a stout leg of its own, and square rods of one section that stand on the platform around the leg.</summary>
    private static List<Mesh> OnALeg(int rods, Func<double, double, double> top)
    {
        var parts = new List<Mesh> { Primitives.Sphere(Grid, Middle, Body, 24), Primitives.Frustum(Grid, Vec3.Zero, new Vec3(0, 0, 16), 2.5, 1.5, 24) };
        for (var i = 0; i < rods; i++)
        {
            double around = 2.4 * i, out2 = 3.2 + 0.33 * i;
            double x = out2 * Math.Cos(around), y = out2 * Math.Sin(around);
            parts.Add(Primitives.Prism(Grid, new Vec3(x, y, 0), new Vec3(x, y, top(x, y)), 0.25, 4));
        }
        return parts;
    }

    [Fact]
    public void Slender_props_of_one_section_under_a_figure_that_stands_by_itself_are_struts()
    {
        var got = Look(Mesh.Concat(Grid, OnALeg(12, (x, y) => Middle.Z - Math.Sqrt(Body * Body - x * x - y * y) + 0.3)));
        for (var i = 0; i < 2; i++) Assert.Equal(Role.Figure, got.RoleOfShell[i]);
        for (var i = 2; i < 14; i++) Assert.True(IsStrut(got.RoleOfShell[i]), $"prop {i}: {got.RoleOfShell[i]}, {got.WhyOfShell[i]}");
    }

    [Fact]
    public void The_bars_of_a_cage_under_a_level_roof_stay_figure()
    {
        var parts = OnALeg(14, (_, _) => 15.2);
        parts.Add(Primitives.Frustum(Grid, new Vec3(0, 0, 15), new Vec3(0, 0, 16), 9, 9, 48));
        Assert.DoesNotContain(Look(Mesh.Concat(Grid, parts)).RoleOfShell, IsStrut);
    }

    [Fact]
    public void A_rod_that_goes_on_in_line_with_a_strut_is_no_flap_of_it()
    {
        var strut = new DrawnPrism(Vec3.Zero, Vec3.Up, new Vec3(1, 0, 0), 6, 0.5, 0) { Low = 0, High = 10 };
        Vec3 At(double degrees, double z, double radius = 0.5) => new(radius * Math.Cos(degrees * Math.PI / 180), radius * Math.Sin(degrees * Math.PI / 180), z);
        // Along its own side, and a little beyond its end: a flap. A radius beyond the end: the whisker's.
        Assert.True(strut.OnSide(At(-10, 2), At(10, 2), At(0, 8)));
        Assert.True(strut.OnSide(At(-10, 9), At(10, 9), At(0, 10.05)));
        Assert.False(strut.OnSide(At(-10, 9.9), At(10, 9.9), At(0, 10.4)));
        // Corners on three sides, and a facet that faces inwards.
        Assert.False(strut.OnSide(At(0, 2), At(60, 2), At(120, 8)));
        Assert.False(strut.OnSide(At(10, 2), At(-10, 2), At(0, 8)));
    }
}
