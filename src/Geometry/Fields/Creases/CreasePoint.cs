namespace Stiltwright.Geometry.Fields.Creases;

/// <summary>
/// Finds the place on a sharp inner edge, or in a corner, that belongs to a point of the blunted surface: the nearest point at which
/// the planes at the asked depth below the obstacles around meet (least squares, after the quadratic error functions of Ju, Losasso,
/// Schaefer, Warren 2002). Where they meet nowhere near, the place where a straight way towards it first falls to the asked depth.
/// Whether the triangles there keep the wall is asked of <see cref="CreaseJudge"/>.
/// </summary>
internal sealed class CreasePoint(CreaseJudge judge, double depth, double farthest)
{
    private const double SameDirection = 0.985;
    private const double Settled = 0.003;

    /// <summary>Finds it; false where the surface passes there already.</summary>
    /// <param name="own">A point of the surface, deeper than asked.</param>
    /// <param name="around">Points of the surface around it: their obstacles count.</param>
    /// <param name="kept">Places that stay solid near here.</param>
    /// <param name="place">Where the surface should pass instead.</param>
    internal bool Find(in KnownPoint own, ReadOnlySpan<KnownPoint> around, KeptSolid kept, out Vec3 place)
    {
        var x = place = own.At;
        if (own.Depth <= depth + Settled) return false;
        // Each obstacle as a plane at the asked depth: its normal and how far x lies above it.
        Span<Vec3> normals = stackalloc Vec3[8];
        Span<double> above = stackalloc double[8];
        var count = 0;
        Add(normals, above, ref count, own.Away, own.Depth - depth);
        foreach (var p in around) Add(normals, above, ref count, p.Away, p.Depth - depth + p.Away.Dot(x - p.At));
        var way = Meeting(normals[..count], above[..count]);
        for (var turn = 0; turn < 3; turn++)
        {
            var length = way.Length;
            if (length > farthest) way *= farthest / length;
            var there = judge.Known(x + way, kept, own.Facet);
            if (there.Depth > depth - Settled && there.Depth < depth + 0.02)
            {
                place = x + way;
                return true;
            }
            if (!Add(normals, above, ref count, there.Away, there.Depth - depth - there.Away.Dot(way))) break;
            way = Meeting(normals[..count], above[..count]);
        }
        return Walk(own, way, kept, out place);
    }

    // A step as long as what the depth has in hand cannot fall below it: a distance changes by at most the way walked.
    private bool Walk(in KnownPoint own, Vec3 way, KeptSolid kept, out Vec3 place)
    {
        var length = way.Length;
        place = own.At;
        if (!(length > Settled)) return false;
        way /= length;
        length = Math.Min(length, farthest);
        double at = 0, spare = own.Depth - depth;
        for (var step = 0; step < 12 && at < length && spare > Settled; step++)
        {
            at = Math.Min(length, at + spare);
            spare = judge.Known(own.At + way * at, kept, own.Facet).Depth - depth;
        }
        place = own.At + way * at;
        return at > Settled;
    }

    private static bool Add(Span<Vec3> normals, Span<double> above, ref int count, Vec3 normal, double height)
    {
        for (var i = 0; i < count; i++)
        {
            if (normals[i].Dot(normal) < SameDirection) continue;
            if (height >= above[i]) return false;
            (normals[i], above[i]) = (normal, height);
            return true;
        }
        if (count == normals.Length) return false;
        (normals[count], above[count++]) = (normal, height);
        return true;
    }

    // The shortest way that comes nearest to all planes: (sum n n^T + e) way = - sum n height.
    private static Vec3 Meeting(ReadOnlySpan<Vec3> normals, ReadOnlySpan<double> above)
    {
        const double e = 2e-3;
        double xx = e, yy = e, zz = e, xy = 0, xz = 0, yz = 0;
        var b = Vec3.Zero;
        for (var i = 0; i < normals.Length; i++)
        {
            var n = normals[i];
            xx += n.X * n.X;
            yy += n.Y * n.Y;
            zz += n.Z * n.Z;
            xy += n.X * n.Y;
            xz += n.X * n.Z;
            yz += n.Y * n.Z;
            b -= n * above[i];
        }
        Vec3 r1 = new(yy * zz - yz * yz, xz * yz - xy * zz, xy * yz - xz * yy), r2 = new(r1.Y, xx * zz - xz * xz, xy * xz - xx * yz), r3 = new(r1.Z, r2.Z, xx * yy - xy * xy);
        var determinant = xx * r1.X + xy * r1.Y + xz * r1.Z;
        return new Vec3(r1.Dot(b), r2.Dot(b), r3.Dot(b)) / determinant;
    }
}
