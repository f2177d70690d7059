using Stiltwright.Geometry;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Tests;

public class StrutsShapesTests
{
    private static readonly Lattice Grid = new(14);

    private static StrutGraph Enlarged(int seed, double scale = 3)
    {
        var (mesh, shells, _) = new StrutsScene(seed).Source();
        return Recognition.Recognise(mesh, shells, new RecognitionSettings(), CancellationToken.None).Graph.Placed(Affine.Scaling(scale), Grid);
    }

    private static List<SegmentSize> Sizes(StrutGraph graph, double k) => [.. graph.Segments.Select(s => new SegmentSize(s.Id, s.RadiusFrom * k, s.RadiusTo * k))];

    private static void AssertClosed(Mesh mesh)
    {
        var shells = ShellFinder.Find(mesh);
        Assert.All(shells.Shells, s => Assert.True(s.Closed && s.SignedVolumeMm3 > 0));
    }

    [Fact]
    public void Equal_sizes_give_back_the_very_same_shells()
    {
        var graph = Enlarged(1);
        var same = StrutShapes.Resize(graph, Sizes(graph, 1), Grid);
        Assert.Empty(same.Left);
        for (var h = 0; h < graph.Shells.Count; h++) Assert.Same(graph.Shells[h].Shape, same.Graph.Shells[h].Shape);
    }

    [Theory]
    [InlineData(0.7)]
    [InlineData(0.4)]
    [InlineData(1.25)]
    public void A_radius_times_k_makes_the_volume_of_a_straight_strut_k_squared(double k)
    {
        for (var seed = 1; seed <= 3; seed++)
        {
            var graph = Enlarged(seed);
            var thin = StrutShapes.Resize(graph, Sizes(graph, k), Grid);
            Assert.Empty(thin.Left);
            for (var h = 0; h < graph.Shells.Count; h++)
            {
                AssertClosed(thin.Graph.Shells[h].Shape);
                if (graph.Shells[h].Segments.Count == 0) continue;
                var moved = graph.Shells[h].Segments.Any(i => thin.Graph.Segments[i].From != graph.Segments[i].From || thin.Graph.Segments[i].To != graph.Segments[i].To);
                var share = thin.Graph.Shells[h].Shape.SignedVolumeMm3() / graph.Shells[h].Shape.SignedVolumeMm3();
                if (!moved) Assert.InRange(share, k * k * 0.995, k * k * 1.005);
            }
        }
    }

    [Fact]
    public void Contacts_stay_where_they_are_and_feet_stay_flat_on_their_level()
    {
        var graph = Enlarged(2);
        var thin = StrutShapes.Resize(graph, Sizes(graph, 0.5), Grid).Graph;
        foreach (var s in thin.Segments)
        {
            var was = graph.Segments[s.Id];
            Assert.Equal(was.Contact, s.Contact);
            if (s.ToHeldBy == EndHeldBy.Figure) Assert.Equal(graph.Shells[s.Shell].Shape.Bounds.Max.Z, thin.Shells[s.Shell].Shape.Bounds.Max.Z, 4);
            if (s.FromHeldBy is EndHeldBy.Raft or EndHeldBy.Platform)
                Assert.Equal(graph.Shells[s.Shell].Shape.Bounds.Min.Z, thin.Shells[s.Shell].Shape.Bounds.Min.Z);
        }
    }

    [Fact]
    public void A_brace_that_ended_at_the_skin_of_a_pillar_is_led_on_into_the_thinner_one()
    {
        Mesh Tube(Vec3 a, Vec3 b, double r) => Primitives.Prism(Grid, a, b, r, 8);
        StrutSegment Segment(int id, Role role, Vec3 a, Vec3 b, double r, EndHeldBy from, EndHeldBy to, int[] fromJoins, int[] toJoins) => new()
        {
            Id = id,
            Chain = id,
            Role = role,
            From = a,
            To = b,
            RadiusFrom = r,
            RadiusTo = r,
            Sides = 8,
            Confidence = 1,
            Shell = id,
            FromHeldBy = from,
            ToHeldBy = to,
            FromJoins = fromJoins,
            ToJoins = toJoins,
        };
        Vec3 p0 = new(0, 0, 0), p1 = new(0, 0, 30), q0 = new(10, 0, 0), q1 = new(10, 0, 30), a = new(1.9, 0, 8), b = new(8.1, 0, 20);
        var graph = new StrutGraph(
            [
                Segment(0, Role.Pillar, p0, p1, 2, EndHeldBy.Platform, EndHeldBy.Figure, [], []),
                Segment(1, Role.Pillar, q0, q1, 2, EndHeldBy.Platform, EndHeldBy.Figure, [], []),
                Segment(2, Role.Brace, a, b, 1, EndHeldBy.Strut, EndHeldBy.Strut, [0], [1]),
            ],
            [new StrutShell(Tube(p0, p1, 2), [0], []), new StrutShell(Tube(q0, q1, 2), [1], []), new StrutShell(Tube(a, b, 1), [2], [])]);
        var thin = StrutShapes.Resize(graph, Sizes(graph, 0.5), Grid);
        Assert.Empty(thin.Left);
        var brace = thin.Graph.Segments[2];
        Assert.True(Math.Abs(brace.From.X) <= 0.6 && Math.Abs(brace.To.X - 10) <= 0.6, $"{brace.From} to {brace.To}");
        AssertClosed(thin.Graph.Shells[2].Shape);
        // And where nothing grows thinner nothing moves.
        Assert.Equal(a, StrutShapes.Resize(graph, Sizes(graph, 1.2), Grid).Graph.Segments[2].From);
    }

    [Fact]
    public void A_size_that_is_none_is_refused_with_the_segment_named()
    {
        var graph = Enlarged(1);
        var error = Assert.Throws<ArgumentException>(() => StrutShapes.Resize(graph, [new SegmentSize(3, -1, 1)], Grid));
        Assert.Contains("Segment 3", error.Message, StringComparison.Ordinal);
    }

    [Fact]
    public void Cutting_struts_off_leaves_flat_closed_bottoms_and_the_volume_above()
    {
        for (var seed = 1; seed <= 3; seed++)
        {
            var graph = Enlarged(seed);
            const double Level = 9.3;
            var cut = StrutShapes.CutBelow(graph, Level);
            foreach (var shell in cut.Shells) AssertClosed(shell.Shape);
            Assert.All(cut.Shells, s => Assert.True(s.Shape.Bounds.Min.Z >= Level - Grid.UnitMm));
            for (var i = 0; i < cut.Segments.Count; i++)
            {
                var s = cut.Segments[i];
                Assert.Equal(i, s.Id);
                Assert.Contains(i, cut.Shells[s.Shell].Segments);
                Assert.True(Math.Min(s.From.Z, s.To.Z) >= Level - 1e-9);
                Assert.All(s.FromJoins.Concat(s.ToJoins), j => Assert.InRange(j, 0, cut.Segments.Count - 1));
            }
            Assert.Contains(cut.Segments, s => s.FromHeldBy == EndHeldBy.Platform);
        }
        // A prism cut in the middle: half its volume (A times h).
        Vec3 a = new(0, 0, 0), b = new(0, 0, 10);
        var one = new StrutGraph(
            [new StrutSegment { Id = 0, Chain = 0, Role = Role.Pillar, From = a, To = b, RadiusFrom = 1, RadiusTo = 1, Sides = 6, Confidence = 1, Shell = 0 }],
            [new StrutShell(Primitives.Prism(Grid, a, b, 1, 6), [0], [])]);
        var half = StrutShapes.CutBelow(one, 5);
        Assert.Equal(one.Shells[0].Shape.SignedVolumeMm3() / 2, half.Shells[0].Shape.SignedVolumeMm3(), 3);
        Assert.Equal(5, half.Segments[0].From.Z, 9);
    }
}
