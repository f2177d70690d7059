namespace Stiltwright.Geometry.Tests;

public class NullEdgesTests
{
    [Fact]
    public void A_box_with_a_corner_doubled_stays_closed_and_keeps_its_volume()
    {
        var l = new Lattice(16);
        var box = Primitives.Box(l, new(0, 0, 0), new(2, 3, 4));
        // Doubles corner 0 for one triangle and bridges the gap with two triangles of no area.
        var xyz = box.XyzArray.Concat(box.XyzArray[..3]).ToArray();
        var corners = box.CornersArray.ToList();
        var twin = box.VertexCount;
        var t = corners.IndexOf(0) / 3;
        int k = corners.IndexOf(0, 3 * t) - 3 * t, next = corners[3 * t + (k + 1) % 3], before = corners[3 * t + (k + 2) % 3];
        corners[3 * t + k] = twin;
        corners.AddRange([0, next, twin, 0, twin, before]);
        var split = new Mesh(l, xyz, [.. corners]);
        Assert.True(Closedness.IsClosed(split));
        var whole = NullEdges.Collapse(split);
        Assert.Equal(box.TriangleCount, whole.TriangleCount);
        Assert.True(Closedness.IsClosed(whole));
        Assert.Equal(24, whole.SignedVolumeMm3(), 9);
        Assert.Same(box, NullEdges.Collapse(box));
    }
}
