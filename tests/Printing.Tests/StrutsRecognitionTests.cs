using Stiltwright.Geometry;
using Stiltwright.Printing.Struts;
using Xunit.Abstractions;

namespace Stiltwright.Printing.Tests;

public class StrutsRecognitionTests(ITestOutputHelper output)
{
    private static readonly Lattice Grid = new(16);

    private static Recognised Look(Mesh mesh, ShellSet shells) => Recognition.Recognise(mesh, shells, new RecognitionSettings(), CancellationToken.None);

    private static Recognised Look(params Mesh[] parts)
    {
        var mesh = Mesh.Concat(Grid, parts);
        return Look(mesh, ShellFinder.Find(mesh));
    }

    private static bool IsStrut(Role r) => r is Role.Foot or Role.Pillar or Role.Brace or Role.Tip;

    [Theory]
    [InlineData(false)]
    [InlineData(true)] // rails and grids, discs or no feet, balls at contacts, branches, bowed pillars, flush joints
    public void In_twenty_seeded_scenes_no_part_of_the_figure_is_a_strut_and_nearly_every_strut_is_found(bool rich)
    {
        int struts = 0, found = 0, sameRole = 0, rafts = 0, raftsFound = 0;
        var errors = new List<double>();
        for (var seed = 1; seed <= 20; seed++)
        {
            var scene = new StrutsScene(seed, rich: rich);
            var (mesh, shells, partOf) = scene.Source(seed);
            var got = Look(mesh, shells);
            for (var s = 0; s < partOf.Length; s++)
            {
                var (_, role, radius) = scene.Parts[partOf[s]];
                var said = got.RoleOfShell[s];
                if (role == Role.Figure) Assert.True(!IsStrut(said) && said != Role.Raft, $"{scene}: shell {s} of the figure taken for {said}: {got.WhyOfShell[s]}");
                if (role == Role.Raft)
                {
                    rafts++;
                    if (said == Role.Raft) raftsFound++;
                }
                if (!IsStrut(role)) continue;
                struts++;
                if (IsStrut(said)) found++;
                else output.WriteLine($"{scene}: missed {role} shell {s}: {said}, {got.WhyOfShell[s]}");
                if (said == role) sameRole++;
                if (radius == 0 || !IsStrut(said)) continue;
                var shell = Array.IndexOf(got.SourceShellOfStrutShell, s);
                var g = got.Graph.Segments[got.Graph.Shells[shell].Segments[0]];
                errors.Add(Math.Abs((g.RadiusFrom + g.RadiusTo) / 2 / radius - 1));
            }
            Assert.Equal(scene.Raft == 0, got.NoRaft);
            Assert.False(got.Fused);
        }
        errors.Sort();
        output.WriteLine($"struts {struts}, found {found}, role right {sameRole}, rafts {raftsFound}/{rafts}, median radius error {errors[errors.Count / 2]:0.00000}");
        Assert.True(found >= 0.98 * struts, $"{found} of {struts} strut shells found");
        Assert.True(sameRole >= 0.95 * struts, $"{sameRole} of {struts} roles right");
        Assert.True(raftsFound >= 0.98 * rafts, $"{raftsFound} of {rafts} raft shells found");
        Assert.True(errors[errors.Count / 2] <= 0.03, $"median radius error {errors[errors.Count / 2]}");
    }

    [Fact]
    public void Without_struts_the_same_figures_have_none()
    {
        for (var seed = 1; seed <= 4; seed++)
        {
            var (mesh, shells, _) = new StrutsScene(seed, struts: false).Source(seed);
            var got = Look(mesh, shells);
            Assert.True(got.NoStruts, $"seed {seed}");
            Assert.All(got.RoleOfShell, r => Assert.Equal(Role.Figure, r));
        }
    }

    [Fact]
    public void Turning_the_scene_and_shuffling_its_shells_changes_no_role()
    {
        for (var seed = 1; seed <= 3; seed++)
        {
            var scene = new StrutsScene(seed);
            var a = scene.Source();
            var b = scene.Source(77 + seed, 0.7);
            var roleA = Look(a.Mesh, a.Shells).RoleOfShell;
            var roleB = Look(b.Mesh, b.Shells).RoleOfShell;
            var byPart = new Role[scene.Parts.Count];
            for (var s = 0; s < roleA.Length; s++) byPart[a.PartOfShell[s]] = roleA[s];
            for (var s = 0; s < roleB.Length; s++) Assert.True(byPart[b.PartOfShell[s]] == roleB[s], $"{scene}: part {b.PartOfShell[s]} was {byPart[b.PartOfShell[s]]}, now {roleB[s]}");
        }
    }

    [Fact]
    public void Every_tip_knows_its_contact_on_the_figure_and_the_normal_there()
    {
        var scene = new StrutsScene(5);
        var (mesh, shells, _) = scene.Source();
        var got = Look(mesh, shells);
        var tree = Geometry.Spatial.TriangleTree.Build(scene.Body);
        var tips = got.Graph.Segments.Where(s => s.ToHeldBy == EndHeldBy.Figure).ToList();
        Assert.NotEmpty(tips);
        foreach (var t in tips)
        {
            Assert.True(tree.Closest(t.Contact!.Value).Distance < 1e-3);
            Assert.True(t.ContactNormal!.Value.Z < 0, "a strut meets the underside");
            Assert.InRange(t.Contact.Value.DistanceTo(t.To), 0.05, 0.4);
        }
    }

    [Fact]
    public void A_temple_with_columns_on_a_plate_has_no_struts()
    {
        var parts = new List<Mesh> { Primitives.Box(Grid, new Vec3(-15, -10, 0), new Vec3(15, 10, 1.5)), Primitives.Box(Grid, new Vec3(-14, -9, 19.8), new Vec3(14, 9, 24)) };
        for (var i = 0; i < 12; i++)
        {
            Vec3 p = new(-11 + 4.4 * (i / 2), i % 2 == 0 ? -7 : 7, 1.2);
            parts.Add(Primitives.Frustum(Grid, p, p with { Z = 20 }, 0.9, 0.75, 16));
        }
        Assert.DoesNotContain(Look([.. parts]).RoleOfShell, IsStrut);
    }

    [Fact]
    public void A_grove_of_tapered_trunks_under_crowns_has_no_struts()
    {
        var parts = new List<Mesh> { Primitives.Cylinder(Grid, Vec3.Zero, new Vec3(0, 0, 1.5), 20, 48) };
        for (var i = 0; i < 12; i++)
        {
            Vec3 p = new(14 * Math.Cos(i * 0.5236), 14 * Math.Sin(i * 0.5236), 1.2);
            parts.Add(Primitives.Frustum(Grid, p, p with { Z = 14 }, 0.8, 0.3, 8));
            parts.Add(Primitives.Sphere(Grid, p with { Z = 13 }, 3.2, 10));
        }
        Assert.DoesNotContain(Look([.. parts]).RoleOfShell, IsStrut);
    }

    [Fact]
    public void A_table_and_a_guard_with_a_staff_on_a_base_have_no_struts()
    {
        var table = new List<Mesh> { Primitives.Box(Grid, new Vec3(-15, -10, 14), new Vec3(15, 10, 16)) };
        foreach (var (x, y) in new[] { (-13, -8), (13, -8), (-13, 8), (13, 8) })
            table.Add(Primitives.Frustum(Grid, new Vec3(x, y, 0), new Vec3(x, y, 15), 0.5, 0.8, 8));
        Assert.DoesNotContain(Look([.. table]).RoleOfShell, IsStrut);

        var guard = Look(
            Primitives.Cylinder(Grid, Vec3.Zero, new Vec3(0, 0, 2), 12, 48),
            Primitives.Frustum(Grid, new Vec3(0, 0, 1.5), new Vec3(0, 0, 28), 6, 3, 32),
            Primitives.Sphere(Grid, new Vec3(8, 0, 15), 1.5, 10),
            Primitives.Frustum(Grid, new Vec3(8, 0, 1.8), new Vec3(8, 0, 34), 0.5, 0.3, 8));
        Assert.DoesNotContain(guard.RoleOfShell, IsStrut);
        Assert.DoesNotContain(guard.RoleOfShell, r => r == Role.Raft);
    }

    [Fact]
    public void A_hollow_inside_the_figure_is_an_inner_shell()
    {
        var got = Look(Primitives.Sphere(Grid, new Vec3(0, 0, 20), 10, 20), Primitives.Sphere(Grid, new Vec3(0, 0, 20), 7, 16).Turned());
        Assert.Contains(Role.InnerShell, got.RoleOfShell);
        Assert.True(got.NoStruts);
    }

    [Fact]
    public void Struts_in_one_surface_with_the_figure_are_reported_as_fused()
    {
        // One shell by decree: the signs are read from level sections, which do not care how the surface is joined.
        var scene = new StrutsScene(3);
        var (mesh, shells, partOf) = scene.Source();
        var one = new List<int>();
        for (var s = 0; s < partOf.Length; s++)
            if (partOf[s] == 0 || scene.Parts[partOf[s]].Role != Role.Figure) one.AddRange(shells.Shells[s].Triangles);
        one.Sort();
        var part = mesh.Part([.. one]);
        var all = Enumerable.Range(0, part.TriangleCount).ToArray();
        var fused = new ShellSet(part, new int[all.Length], [new Shell(0, all, 0, 0, part.SignedVolumeMm3(), part.Bounds)]);
        var got = Look(part, fused);
        Assert.True(got.Fused);
        Assert.Equal(Role.Unsure, got.RoleOfShell[0]);
        Assert.False(got.NoStruts);
    }

    [Theory]
    [InlineData(4, 0.636620, 0.424413)] // square: 2 / pi, and (1/3) / (pi/4) of the circle through its corners
    [InlineData(6, 0.826993, 0.689161)]
    [InlineData(64, 0.998394, 0.996790)]
    public void Sections_have_the_area_and_inertia_of_the_handbook_polygon(int sides, double area, double inertia)
    {
        // Regular n-gon of circumradius R: A = n/2 R^2 sin(2 pi/n), I = A R^2 (2 + cos(2 pi/n)) / 12 (common handbook formulas).
        var corners = Enumerable.Range(0, sides).Select(i => new Vec3(2 * Math.Cos(2 * Math.PI * i / sides), 2 * Math.Sin(2 * Math.PI * i / sides), 0)).ToArray();
        var section = SectionPolygon.Of(corners, Vec3.Zero, Vec3.Up);
        Assert.Equal(sides, section.Sides);
        Assert.Equal(area, section.AreaShare, 5);
        Assert.Equal(inertia, section.InertiaShare, 5);
    }
}
