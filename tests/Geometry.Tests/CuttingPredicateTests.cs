using System.Numerics;
using CsCheck;
using Stiltwright.Geometry.Exact;

namespace Stiltwright.Geometry.Tests;

/// <summary>Signs against the same determinants in arbitrary-precision integers (System.Numerics.BigInteger).</summary>
public class CuttingPredicateTests
{
    private static readonly Gen<int[]> Far = Gen.Int[-(1 << 24), 1 << 24].Array[12];
    private static readonly Gen<int[]> Near = Gen.Int[-3, 3].Array[12];

    private static BigInteger Determinant(int[] p)
    {
        BigInteger D(int i, int k) => (BigInteger)p[3 * i + k] - p[k];
        return D(1, 0) * (D(2, 1) * D(3, 2) - D(2, 2) * D(3, 1)) - D(1, 1) * (D(2, 0) * D(3, 2) - D(2, 2) * D(3, 0)) + D(1, 2) * (D(2, 0) * D(3, 1) - D(2, 1) * D(3, 0));
    }

    private static void Same(int[] p)
    {
        var d = Determinant(p);
        Assert.Equal(d.Sign, Predicates.Orient3D(p, 9, p, 0, 3, 6));
        Assert.Equal(d, (BigInteger)Predicates.Height(p, 9, p, 0, 3, 6));
        Assert.Equal(d.Sign, Predicates.OrientLines(p, 0, 3, p, 6, 9));
        BigInteger two = ((BigInteger)p[3] - p[0]) * ((BigInteger)p[7] - p[1]) - ((BigInteger)p[4] - p[1]) * ((BigInteger)p[6] - p[0]);
        Assert.Equal(two.Sign, Predicates.Orient2D(p[0], p[1], p[3], p[4], p[6], p[7]));
    }

    [Fact]
    public void Signs_are_those_of_big_integers_for_far_points() => Far.Sample(Same, iter: 20000);

    [Fact]
    public void Signs_are_those_of_big_integers_for_points_that_nearly_share_a_plane() =>
        Gen.Select(Far, Near, Gen.Int[-2, 2], Gen.Int[-2, 2]).Sample((p, n, i, j) =>
        {
            // The fourth point a whole-number sum of the others' sides, moved by a few units.
            var q = (int[])p.Clone();
            for (var k = 0; k < 12; k++) q[k] /= 8;
            for (var k = 0; k < 3; k++) q[9 + k] = q[k] + i * (q[3 + k] - q[k]) + j * (q[6 + k] - q[k]) + n[k] / 2;
            Same(q);
            Same(n);
        }, iter: 20000);
}
