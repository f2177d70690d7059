using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;
using Stiltwright.Printing.Growing;
using Stiltwright.Printing.Strength;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Tests;

/// <summary>Flat undersides whose first layers reach out too far from what holds them (physics table 3.8).</summary>
public class FlatOverhangsTests
{
    private const double Layer = 0.05;
    private static readonly Lattice Grid = new(16);

    // Four layers as a cantilever: 0.2 sqrt(20/(3 * 2.15 * 0.02)) mm (handbook beam under an even load, first principles).
    private static readonly double Reach = Spacing.FreeLip(4 * Layer, 20, 2.15, 0.020);

    private static StrutGraph Contacts(params (double X, double Y, double Z)[] at) => new([.. at.Select((p, i) => new StrutSegment
    {
        Id = i, Role = Role.Tip, From = new Vec3(p.X, p.Y, p.Z - 3), To = new Vec3(p.X, p.Y, p.Z), RadiusFrom = 0.8, RadiusTo = 0.3, Sides = 8, AreaShare = 0.9,
        InertiaShare = 0.8, Confidence = 1, Chain = i, Shell = 0, Contact = new Vec3(p.X, p.Y, p.Z), ContactNormal = new Vec3(0, 0, -1),
    })], []);

    private static IReadOnlyList<GrowthSpot> Spots(Mesh figure, StrutGraph struts, double ground = 0) =>
        FlatOverhangs.Find(Columns.Build([new ColumnPart(figure, 0)], ColumnGrid.Covering(figure.Bounds, 0.125), default).Runs(), struts, Layer, Reach, ground, 1000, default);

    private static Mesh Plate(double tilt = 0) => Primitives.Box(Grid, new Vec3(-15, -10, 0), new Vec3(15, 10, 3))
        .Placed(Affine.Turn(new Vec3(0, 1, 0), tilt * Math.PI / 180).Then(Affine.Translation(new Vec3(0, 0, 20))), Grid);

    [Fact]
    public void Every_place_of_a_flat_plate_is_within_reach_of_a_contact_afterwards()
    {
        Assert.Equal(2.4904, Reach, 3);
        (double, double, double)[] corners = [(-13, -8, 20), (13, -8, 20), (13, 8, 20), (-13, 8, 20)];
        var spots = Spots(Plate(), Contacts(corners));
        Assert.NotEmpty(spots);
        var all = spots.Select(s => s.At).Concat(corners.Select(c => new Vec3(c.Item1, c.Item2, c.Item3))).ToList();
        for (var x = -14.9; x < 15; x += 0.3)
            for (var y = -9.9; y < 10; y += 0.3)
                Assert.True(all.Min(p => Math.Sqrt((p.X - x) * (p.X - x) + (p.Y - y) * (p.Y - y))) <= Reach + 0.3 + 0.6, $"({x:0.0}, {y:0.0}) is too far from every contact");
        // Not wasteful: no cover of circles needs fewer than area/(pi r^2), and a hexagonal one takes 2 pi/(3 sqrt 3) times that (Kershner 1939).
        Assert.InRange(spots.Count, 600 / (Math.PI * Reach * Reach) - 4, 2.2 * 600 / (Math.PI * Reach * Reach));
        Assert.All(spots, s => Assert.Equal(20, s.At.Z, 3));
        Assert.Empty(Spots(Plate(), Contacts([.. all.Select(p => (p.X, p.Y, p.Z))])));
    }

    [Theory]
    [InlineData(3, true)]
    [InlineData(8, false)]
    public void A_plate_tilted_enough_carries_itself_from_layer_to_layer(double degrees, bool wants)
    {
        // Four layers reach out by 0.2/tan(angle): 3.8 mm at 3 degrees, 1.4 mm at 8 (Spacing.OverhangPerLayer).
        Assert.Equal(wants, 4 * Spacing.OverhangPerLayer(Layer, degrees * Math.PI / 180) > Reach);
        var plate = Plate(degrees);
        var low = plate.Bounds.Min;
        // Its lowest edge is held all along.
        var edge = Contacts([.. Enumerable.Range(0, 11).Select(k => (degrees > 0 ? plate.Bounds.Max.X - 3 * Math.Sin(degrees * Math.PI / 180) : 0, -10.0 + 2 * k, low.Z))]);
        Assert.Equal(wants, Spots(plate, edge).Count > 0);
    }

    [Fact]
    public void The_underside_of_a_ball_wants_contacts_only_where_it_is_as_flat_as_a_plate()
    {
        // Within 0.2 mm of its lowest point a ball is sqrt(2 R 0.2) mm wide: 2.0 mm for R 10, 6.3 mm for R 100.
        foreach (var (radius, wants) in ((double, bool)[])[(10, false), (100, true)])
            Assert.Equal(wants, Spots(Primitives.Sphere(Grid, new Vec3(0, 0, radius + 10), radius, 90), Contacts((0, 0, 10))).Count > 0);
    }

    [Fact]
    public void What_lies_on_raft_or_platform_is_held_by_it() => Assert.Empty(Spots(Plate(), StrutGraph.None, ground: 20));

    [Fact]
    public void A_narrow_bar_that_sticks_out_is_held_along_its_length_and_at_its_free_end()
    {
        // A wall with a bar 0.6 mm wide and 20 mm long: over its edges is nothing but air.
        var bar = Mesh.Concat(Grid, [Primitives.Box(Grid, new Vec3(-5, -5, 0), new Vec3(0, 5, 30)), Primitives.Box(Grid, new Vec3(-1, -0.3, 20), new Vec3(20, 0.3, 24))]);
        var spots = Spots(bar, StrutGraph.None).Select(s => s.At.X).Append(0).Order().ToList();
        Assert.InRange(spots.Count - 1, 4, 9);
        for (var i = 1; i < spots.Count; i++) Assert.True(spots[i] - spots[i - 1] <= 2 * Reach + 0.4, $"nothing between {spots[i - 1]:0.0} and {spots[i]:0.0} mm");
        Assert.InRange(20 - spots[^1], 0, Reach + 0.4);
    }

    [Fact]
    public void A_leg_beside_an_underside_that_it_does_not_touch_holds_nothing()
    {
        Mesh Legs(double from, double to) => Mesh.Concat(Grid, [Primitives.Box(Grid, new Vec3(-3, -10, from), new Vec3(-1, 10, to)), Primitives.Box(Grid, new Vec3(-1.5, -1, 20), new Vec3(1.5, 1, 24))]);
        Assert.NotEmpty(Spots(Mesh.Concat(Grid, [Primitives.Box(Grid, new Vec3(-4, -10, 0), new Vec3(-2, 10, 30)), Primitives.Box(Grid, new Vec3(-1.5, -1, 20), new Vec3(1.5, 1, 24))]), StrutGraph.None));
        Assert.Empty(Spots(Legs(0, 30), StrutGraph.None)); // this one it does touch
    }
}
