using Stiltwright.Geometry;
using Stiltwright.Printing.Estimates;
using Stiltwright.Printing.Placing;

namespace Stiltwright.Printing.Tests;

/// <summary>
/// Smoothing an enlarged coarse figure: a ball of 320 facets, 60 mm across, against the ball's formula (elementary geometry) and
/// against what holds it, which must not lose its hold.
/// </summary>
public class FacetSmoothingTests
{
    private static readonly Lattice L = Lattice.For(100);
    private static readonly Mesh Ball = Primitives.Sphere(L, new(0, 0, 40), 30, 4);
    private static readonly SmoothingLimits Limits = new(0.05, 0.05, 1, 1_000_000);

    [Fact]
    public void Facets_of_a_coarse_ball_show_before_and_no_more_after()
    {
        var done = FacetSmoothing.Run(Ball, Mesh.Empty(L), [], Limits, default);
        Assert.Equal(1, done.Before.ShownShare, 1e-9);
        Assert.Equal(0, done.After.ShownShare);
        var volume = 4 * Math.PI / 3 * 27000;
        Assert.InRange(Math.Abs(done.Outer.SignedVolumeMm3() / volume - 1), 0, 0.1 * Math.Abs(Ball.SignedVolumeMm3() / volume - 1));
        // A facet's middle lies below the ball by no more than the sagitta of its circle, and so far it moves.
        Assert.InRange(done.LargestMoveMm, 0.3, 1);
    }

    [Fact]
    public void What_a_strut_meets_stays_as_it_is()
    {
        // A strut whose tip ends 0.05 mm inside the flat facet under the ball.
        var under = Enumerable.Range(0, Ball.TriangleCount).MinBy(t => Ball.AreaVector(t).Unit().Z);
        var (a, b, c) = Ball.Triangle(under);
        var contact = (a + b + c) / 3;
        var strut = Primitives.Frustum(L, new(contact.X, contact.Y, 0), contact + new Vec3(0, 0, 0.05), 0.8, 0.3, 8);
        var done = FacetSmoothing.Run(Ball, strut, [(contact, 0.3)], Limits, default);
        Assert.InRange(done.After.ShownShare, 0, 0.1);
        // Every facet that the strut's tip lies in or beside is there still, corner for corner.
        var kept = Triangles(done.Outer).ToHashSet();
        Assert.Contains((a, b, c), kept);
        Assert.InRange(Triangles(Ball).Count(kept.Contains), 1, 20);
        Assert.Equal(SelfCrossings.Find(Mesh.Concat(L, [Ball, strut])).Count, SelfCrossings.Find(Mesh.Concat(L, [done.Outer, strut])).Count);
    }

    [Fact]
    public void Nothing_is_done_where_no_facet_shows_and_nothing_below_the_platform()
    {
        var fine = Primitives.Sphere(L, new(0, 0, 40), 30, 60);
        Assert.Same(fine, FacetSmoothing.Run(fine, Mesh.Empty(L), [], Limits, default).Outer);
        var low = Ball.Placed(Affine.Translation(new Vec3(0, 0, -Ball.Bounds.Min.Z)), L);
        Assert.Equal(0, FacetSmoothing.Run(low, Mesh.Empty(L), [], Limits, default).Outer.Bounds.Min.Z);
    }

    private static IEnumerable<(Vec3, Vec3, Vec3)> Triangles(Mesh m) => Enumerable.Range(0, m.TriangleCount).Select(m.Triangle);
}
