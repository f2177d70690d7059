using Stiltwright.Geometry;

namespace Stiltwright.Geometry.Tests;

public class MeshTests
{
    [Fact]
    public void A_unit_tetrahedron_has_a_sixth_of_the_cube()
    {
        var l = new Lattice(16);
        var u = l.UnitsPerMm;
        var m = new Mesh(l, [0, 0, 0, u, 0, 0, 0, u, 0, 0, 0, u], [0, 2, 1, 0, 1, 3, 0, 3, 2, 1, 2, 3]);
        Assert.Equal(1.0 / 6, m.SignedVolumeMm3(), 12);
        Assert.Equal(-1.0 / 6, m.Turned().SignedVolumeMm3(), 12);
        Assert.Equal(8.0 / 6, m.Placed(Affine.Scaling(2), l).SignedVolumeMm3(), 12);
    }
}
