using System.Runtime.CompilerServices;

namespace Stiltwright.Geometry.Simplifying;

/// <summary>
/// The sum of squared distances of a point to planes, weighted by the areas of the facets that span them (Garland, Heckbert 1997):
/// x'Ax + 2 b'x + c, mm4.
/// </summary>
internal struct Quadric
{
    internal double Xx, Xy, Xz, Yy, Yz, Zz, Bx, By, Bz, C;

    /// <summary>Adds the plane of a facet.</summary>
    internal void Add(Vec3 a, Vec3 b, Vec3 c)
    {
        var n = (b - a).Cross(c - a);
        var twice = n.Length;
        if (!(twice > 0)) return;
        n /= twice;
        double w = 0.5 * twice, d = -n.Dot(a);
        Xx += w * n.X * n.X; Xy += w * n.X * n.Y; Xz += w * n.X * n.Z;
        Yy += w * n.Y * n.Y; Yz += w * n.Y * n.Z; Zz += w * n.Z * n.Z;
        Bx += w * n.X * d; By += w * n.Y * d; Bz += w * n.Z * d;
        C += w * d * d;
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    internal static void Sum(in Quadric p, in Quadric q, out Quadric sum)
    {
        sum.Xx = p.Xx + q.Xx; sum.Xy = p.Xy + q.Xy; sum.Xz = p.Xz + q.Xz;
        sum.Yy = p.Yy + q.Yy; sum.Yz = p.Yz + q.Yz; sum.Zz = p.Zz + q.Zz;
        sum.Bx = p.Bx + q.Bx; sum.By = p.By + q.By; sum.Bz = p.Bz + q.Bz;
        sum.C = p.C + q.C;
    }

    /// <summary>Sum of the areas.</summary>
    internal readonly double Weight => Xx + Yy + Zz;

    internal readonly double At(Vec3 p) =>
        p.X * (Xx * p.X + 2 * (Xy * p.Y + Xz * p.Z + Bx)) + p.Y * (Yy * p.Y + 2 * (Yz * p.Z + By)) + p.Z * (Zz * p.Z + 2 * Bz) + C;

    /// <summary>
    /// The point with the least sum, drawn a little towards a given one, so that it stays there along directions in which the
    /// sum does not change (on a plane, along a straight edge).
    /// </summary>
    internal readonly Vec3 LeastNear(Vec3 m)
    {
        var pull = 1e-3 * Weight;
        double a = Xx + pull, b = Yy + pull, c = Zz + pull;
        double rx = -(Xx * m.X + Xy * m.Y + Xz * m.Z + Bx), ry = -(Xy * m.X + Yy * m.Y + Yz * m.Z + By), rz = -(Xz * m.X + Yz * m.Y + Zz * m.Z + Bz);
        // Cofactors of the symmetric matrix; the pull keeps it positive definite.
        double c00 = b * c - Yz * Yz, c01 = Xz * Yz - Xy * c, c02 = Xy * Yz - Xz * b;
        double c11 = a * c - Xz * Xz, c12 = Xy * Xz - a * Yz, c22 = a * b - Xy * Xy;
        var det = a * c00 + Xy * c01 + Xz * c02;
        if (!(det > 0)) return m;
        return new Vec3(m.X + (c00 * rx + c01 * ry + c02 * rz) / det, m.Y + (c01 * rx + c11 * ry + c12 * rz) / det, m.Z + (c02 * rx + c12 * ry + c22 * rz) / det);
    }
}
