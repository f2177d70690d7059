using Stiltwright.Geometry;
using Stiltwright.Geometry.Booleans;
using Stiltwright.Printing.Growing;
using Stiltwright.Printing.Struts;
using Stiltwright.Printing.Struts.Fused;

namespace Stiltwright.Printing.Tests;

/// <summary>Parts of figures that struts resemble, and sources of which only a part can be told: what is in doubt is left alone and said.</summary>
public class StrutsDoubtsTests
{
    private static readonly Lattice Grid = new(16);

    private static bool IsStrut(Role r) => r is Role.Foot or Role.Pillar or Role.Brace or Role.Tip;

    private static Recognised Look(Mesh mesh) => Recognition.Recognise(mesh, ShellFinder.Find(mesh), new RecognitionSettings(), CancellationToken.None);

    /// <summary>Upright round bars of one section on the platform up to a slanting lid, and a stout post under the lid or none.</summary>
    private static List<Mesh> UnderALid(IEnumerable<(double X, double Y)> places, bool post)
    {
        var up = new Vec3(0.16, 0.05, 1).Unit();
        var middle = new Vec3(0, 0, 11);
        var parts = new List<Mesh> { Primitives.Frustum(Grid, middle, middle + up * 3, 24, 24, 64) };
        parts.Add(post ? Primitives.Frustum(Grid, new Vec3(18, 14, 0), new Vec3(18, 14, 8), 3, 2.5, 24) : Primitives.Sphere(Grid, middle + up * 6, 5, 12));
        foreach (var (x, y) in places)
        {
            var top = middle.Z - (up.X * x + up.Y * y) / up.Z + 0.3;
            parts.Add(Primitives.Prism(Grid, new Vec3(x, y, 0), new Vec3(x, y, top), 0.3, 8));
        }
        return parts;
    }

    [Theory]
    [InlineData("a railing under a handrail", true)]
    [InlineData("a railing under a handrail", false)]
    [InlineData("a cage under a slanting lid", true)]
    [InlineData("a cage under a slanting lid", false)]
    [InlineData("an organ with two rows of pipes", true)]
    [InlineData("an organ with two rows of pipes", false)]
    [InlineData("a square cage", true)]
    [InlineData("bars at uneven steps in a bow", true)]
    [InlineData("a fence that winds at even steps", true)]
    public void Bars_of_many_lengths_that_stand_in_a_row_or_a_ring_on_the_platform_stay_out_of_the_struts(string what, bool post)
    {
        var places = Enumerable.Range(0, 12).Select(i => what switch
        {
            "a railing under a handrail" => (-16.5 + 3 * i, 2.0),
            "a cage under a slanting lid" => (14 * Math.Cos(Math.PI * i / 6 + 0.2), 14 * Math.Sin(Math.PI * i / 6 + 0.2)),
            "an organ with two rows of pipes" => (-12 + 4.1 * (i / 2) + 0.5 * Math.Sin(i / 2), i % 2 == 0 ? 3.0 : -3),
            "a square cage" => (i / 3) switch { 0 => (-9 + 6.0 * (i % 3), -9.0), 1 => (9, -9 + 6.0 * (i % 3)), 2 => (9 - 6.0 * (i % 3), 9), _ => (-9, 9 - 6.0 * (i % 3)) },
            "a fence that winds at even steps" => (-15 + Enumerable.Range(0, i).Sum(k => 3 * Math.Cos(1.1 * Math.Sin(0.8 * k))), -4 + Enumerable.Range(0, i).Sum(k => 3 * Math.Sin(1.1 * Math.Sin(0.8 * k)))),
            _ => (15 * Math.Cos(0.2 * i + 0.07 * Math.Sin(3 * i)), 15 * Math.Sin(0.2 * i + 0.07 * Math.Sin(3 * i))),
        });
        var got = Look(Mesh.Concat(Grid, UnderALid(places, post)));
        Assert.DoesNotContain(got.RoleOfShell, IsStrut);
        Assert.Equal(Role.Figure, got.RoleOfShell[0]);
    }

    /// <summary>A path that turns by any angle at each step, without coming near itself; no row, ring or mirror is in it.</summary>
    private static List<(double X, double Y)> Wandering(Random random, Func<double> step)
    {
        while (true)
        {
            var places = new List<(double X, double Y)> { (0, 0) };
            var heading = 0.0;
            for (var i = 0; i < 13; i++)
            {
                heading += 2.2 * random.NextDouble() - 1.1;
                var (s, c) = Math.SinCos(heading);
                var length = step();
                places.Add((places[^1].X + length * c, places[^1].Y + length * s));
            }
            if (Enumerable.Range(0, 14).All(i => Enumerable.Range(0, 14).All(k => Math.Abs(i - k) < 2 || Math.Abs(places[i].X - places[k].X) + Math.Abs(places[i].Y - places[k].Y) > 5))) return places;
        }
    }

    [Fact]
    public void Bars_at_even_steps_along_any_path_stand_in_an_order_and_at_any_steps_in_none()
    {
        var random = new Random(17);
        int even = 0, uneven = 0;
        for (var i = 0; i < 40; i++)
        {
            if (PlanOrder.Ordered(Wandering(random, () => 3))) even++;
            if (PlanOrder.Ordered(Wandering(random, () => 2 + 2.5 * random.NextDouble()))) uneven++;
        }
        Assert.Equal(40, even);
        Assert.True(uneven <= 8, $"{uneven} of 40 paths at uneven steps");
    }

    [Theory]
    [InlineData(1)]
    [InlineData(2)]
    [InlineData(3)]
    [InlineData(4)]
    [InlineData(5)]
    public void Props_of_one_section_that_stand_about_under_the_figure_are_struts(int seed)
    {
        var random = new Random(seed);
        var places = new List<(double X, double Y)>();
        while (places.Count < 12)
        {
            double x = 30 * random.NextDouble() - 15, y = 30 * random.NextDouble() - 15;
            if (places.TrueForAll(p => Math.Abs(p.X - x) + Math.Abs(p.Y - y) > 4)) places.Add((x, y));
        }
        var got = Look(Mesh.Concat(Grid, UnderALid(places, false)));
        for (var i = 2; i < 14; i++) Assert.True(IsStrut(got.RoleOfShell[i]), $"prop {i}: {got.RoleOfShell[i]}, {got.WhyOfShell[i]}");
    }

    [Theory]
    [InlineData(1)]
    [InlineData(2)]
    public void One_or_two_struts_that_end_at_one_height_are_no_columns_under_a_roof(int struts)
    {
        var parts = new List<Mesh> { Primitives.Sphere(Grid, new Vec3(0, 0, 20), 8, 24), Primitives.Box(Grid, new Vec3(-10, -10, 0), new Vec3(10, 10, 1.2)) };
        for (var i = 0; i < struts; i++)
        {
            var x = i == 0 ? -3.0 : 3;
            var under = 20 - Math.Sqrt(64 - 9) + 0.3;
            parts.Add(StrutTube.Build(Grid, [new Vec3(x, 0, 1), new Vec3(x, 0, 2.2), new Vec3(x, 0, under - 2), new Vec3(x, 0, under)], [0.5, 0.5, 0.5, 0.36], 8));
        }
        var got = Look(Mesh.Concat(Grid, parts));
        for (var i = 2; i < parts.Count; i++) Assert.Equal(Role.Unsure, got.RoleOfShell[i]);
    }

    [Fact]
    public void The_ground_of_a_scene_with_a_house_on_it_is_not_taken_for_a_raft()
    {
        var parts = new List<Mesh>
        {
            Primitives.Box(Grid, new Vec3(-20, -15, 0), new Vec3(20, 15, 3)),
            Primitives.Box(Grid, new Vec3(-8, -6, 2.9), new Vec3(8, 6, 16)),
            Primitives.Box(Grid, new Vec3(-14, -11, 15.5), new Vec3(14, 11, 18)),
        };
        foreach (var (x, y) in new[] { (-12.0, -9.0), (-12, 0), (-12, 9), (12, -9), (12, 0), (12, 9), (-4, 9.5), (3, 9.5), (-5, -9.5), (4, -9.5) })
            parts.Add(StrutTube.Build(Grid, [new Vec3(x, y, 2.9), new Vec3(x, y, 4.1), new Vec3(x, y, 13.6), new Vec3(x, y, 15.7)], [1, 0.5, 0.45, 0.18], 8));
        var got = Look(Mesh.Concat(Grid, parts));
        Assert.NotEqual(Role.Raft, got.RoleOfShell[0]);
        Assert.False(IsStrut(got.RoleOfShell[0]));
        for (var i = 1; i < 3; i++) Assert.Equal(Role.Figure, got.RoleOfShell[i]);
    }

    /// <summary>A coin that lies as low as a raft, in one surface with the short struts under it.</summary>
    private static Mesh Coin(int struts)
    {
        var coin = Primitives.Frustum(Grid, new Vec3(0, 0, 1.6), new Vec3(0, 0, 3.6), 12, 12, 48);
        for (var i = 0; i < struts; i++)
        {
            double x = (2.5 + 0.55 * i) * Math.Cos(2.4 * i), y = (2.5 + 0.55 * i) * Math.Sin(2.4 * i);
            coin = MeshBoolean.Union(coin, StrutTube.Build(Grid, [new Vec3(x, y, 0), new Vec3(x, y, 0.3), new Vec3(x, y, 1), new Vec3(x, y, 1.65)], [0.5, 0.2, 0.18, 0.1], 8));
        }
        return coin;
    }

    [Fact]
    public void A_coin_that_lies_as_low_as_a_raft_stays_figure_and_its_contacts_are_told()
    {
        var coin = Coin(14);
        var shells = ShellFinder.Find(coin);
        var all = Recognition.Recognise(coin, shells, new RecognitionSettings(), CancellationToken.None) with { MaybeMerged = [0], Merged = [0] };
        var got = FusedSeparation.Try(coin, shells, all, new RecognitionSettings(), CancellationToken.None);
        Assert.True(got.Source is not null, got.Why);
        var source = got.Source;
        var disc = Enumerable.Range(0, source.Shells.Shells.Count).MaxBy(i => source.Shells.Shells[i].SignedVolumeMm3);
        Assert.Equal(Role.Figure, source.Recognised.RoleOfShell[disc]);
        Assert.True(source.Contacts.Count >= 12, $"{source.Contacts.Count} contacts");
    }

    [Fact]
    public void A_shell_that_lies_below_all_levels_looked_at_is_not_called_struts_only()
    {
        var mesh = Mesh.Concat(Grid, [Coin(14), Primitives.Sphere(Grid, new Vec3(0, 0, 24), 9, 16)]);
        var scene = Scene.Read(mesh, ShellFinder.Find(mesh), new RecognitionSettings(), CancellationToken.None);
        Assert.DoesNotContain(0, FusedSigns.Look(scene, true, CancellationToken.None).Maybe);
    }

    [Fact]
    public void A_figure_with_worn_struts_in_it_stays_unsure_where_other_struts_beside_it_come_apart()
    {
        var scene = new StrutsFusedScene(2);
        var struts = scene.StrutParts.Aggregate((a, b) => StrutsFusedScene.United(a, b, 11));
        // Rods of no drawn section from the platform into a shell of its own: as files have them that were made coarser.
        var worn = Primitives.Box(Grid, new Vec3(11, -9, 20), new Vec3(24, 9, 30));
        for (var i = 0; i < 9; i++)
        {
            double x = 13 + 4 * (i / 3), y = -6 + 6 * (i % 3);
            worn = MeshBoolean.Union(worn, Worn(new Vec3(x, y, 0), 20.4, i));
        }
        var mesh = Mesh.Concat(Grid, [struts, scene.Figure, worn]);
        var shells = ShellFinder.Find(mesh);
        var first = Recognition.Recognise(mesh, shells, new RecognitionSettings(), CancellationToken.None);
        var wornShell = shells.OfTriangle[struts.TriangleCount + scene.Figure.TriangleCount];
        Assert.True(first.Fused);
        Assert.Equal(Role.Unsure, first.RoleOfShell[wornShell]);
        var got = FusedSeparation.Try(mesh, shells, first, new RecognitionSettings(), CancellationToken.None);
        Assert.True(got.Source is not null, got.Why);
        var after = got.Source.OfTriangle[struts.TriangleCount + scene.Figure.TriangleCount];
        Assert.Equal(Role.Unsure, got.Source.Recognised.RoleOfShell[after]);
        Assert.Contains("rods", got.Source.Recognised.WhyOfShell[after], StringComparison.Ordinal);
        Assert.Contains(Role.Figure, got.Source.Recognised.RoleOfShell);
    }

    /// <summary>An upright rod of seven uneven sides.</summary>
    private static Mesh Worn(Vec3 foot, double height, int seed)
    {
        var random = new Random(seed);
        var rod = Primitives.Prism(Grid, foot, foot + Vec3.Up * height, 0.5, 7);
        var off = Enumerable.Range(0, 7).Select(_ => 0.85 + 0.3 * random.NextDouble()).ToArray();
        var xyz = new int[3 * rod.VertexCount];
        for (var v = 0; v < rod.VertexCount; v++)
        {
            var p = rod.Vertex(v);
            var (dx, dy) = (p.X - foot.X, p.Y - foot.Y);
            var k = ((int)Math.Round(7 * Math.Atan2(dy, dx) / (2 * Math.PI)) + 14) % 7;
            xyz[3 * v] = Grid.Round(foot.X + 1.15 * off[k] * dx);
            xyz[3 * v + 1] = Grid.Round(foot.Y + off[k] * dy);
            xyz[3 * v + 2] = Grid.Round(p.Z);
        }
        return new Mesh(Grid, xyz, rod.CornersArray);
    }

    [Fact]
    public void A_source_that_was_written_with_two_decimals_is_refused_with_that_reason()
    {
        var whole = new StrutsFusedScene(1).Mesh;
        var xyz = Array.ConvertAll(whole.XyzArray, c => Grid.Round(Math.Round(Grid.ToMm(c) * 100) / 100));
        var mesh = Repair.Safe(new Mesh(Grid, xyz, whole.CornersArray)).Mesh;
        Assert.Equal(1e-2, RoundedCoordinates.StepMm(mesh));
        var got = FusedSeparation.Try(mesh, ShellFinder.Find(mesh), new RecognitionSettings(), CancellationToken.None);
        Assert.Null(got.Source);
        Assert.Contains("rounded to 0.01 mm", got.Why, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData(true)]
    [InlineData(false)]
    public void Two_rods_in_line_are_one_prism_only_where_they_are_one_shell(bool oneShell)
    {
        // A ball hides the middle of a rod that is one with it; or two rods of two shells end near each other.
        Vec3 At(double z) => new(0, 0, z);
        var mesh = oneShell ? MeshBoolean.Union(Primitives.Sphere(Grid, At(6), 1, 12), Primitives.Prism(Grid, At(0), At(12), 0.5, 8))
            : Mesh.Concat(Grid, [Primitives.Prism(Grid, At(0), At(5.2), 0.5, 8), Primitives.Prism(Grid, At(6.8), At(12), 0.5, 8)]);
        var shells = ShellFinder.Find(mesh);
        var twin = EdgePairing.Build(mesh).TwinArray;
        var found = PrismFinder.Find(mesh, twin, FlatRegions.Find(mesh, twin, 0, CancellationToken.None), 2, 0, t => shells.OfTriangle[t], CancellationToken.None)
            .Where(p => p.Sides == 8 && Math.Abs(p.Axis.Z) > 0.999 && p.Size < 0.6).ToList();
        Assert.Equal(oneShell ? 1 : 2, found.Count);
    }
}
