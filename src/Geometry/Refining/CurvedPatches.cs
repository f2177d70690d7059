namespace Stiltwright.Geometry.Refining;

/// <summary>
/// A curved triangle over every flat one: cubic in its barycentric coordinates, with the corners and the edges' tangents of the smooth
/// surface (curved point-normal triangles: Vlachos, Peters, Boyd, Mitchell 2001). Both triangles of an edge have the same curve over
/// it. Unlike there, the tangents are long enough for the curve to follow a circle: chord / (3 cos^2(a/2)), where a is the
/// angle between chord and tangent (from the textbook length 4/3 tan(arc/4) of a circle's radius).
/// </summary>
internal sealed class CurvedPatches
{
    private readonly Vec3[] _lift; // of each half-edge: how far its control point near its start lies from the flat edge's
    private readonly int[] _twin;
    private readonly double _mostMove;

    /// <param name="mesh">The flat triangles.</param>
    /// <param name="twin">Half-edge on the other side, -1 for none.</param>
    /// <param name="straight">Half-edges that stay as they are; changed: those join whose curve would go too far.</param>
    /// <param name="normals">Normals at the corners.</param>
    /// <param name="mostMove">Most that any point of a patch lies from its place on the flat triangle, mm.</param>
    internal CurvedPatches(Mesh mesh, int[] twin, bool[] straight, SmoothNormals normals, double mostMove)
    {
        (_twin, _mostMove) = (twin, mostMove);
        var corners = mesh.CornersArray;
        _lift = new Vec3[corners.Length];
        Ranges.For(corners.Length, (_, from, to) =>
        {
            for (var h = from; h < to; h++)
            {
                var g = twin[h];
                if (straight[h] || g < h) continue;
                Vec3 a = mesh.Vertex(corners[h]), b = mesh.Vertex(corners[EdgePairing.Next(h)]);
                Vec3 atA = Lift(b - a, normals.At(h, h / 3, g / 3)), atB = Lift(a - b, normals.At(g, g / 3, h / 3));
                // Half-way the curve lies 3/8 of both off the chord. Over an eighth of the edge the arc is wider than any crease left.
                var off = (atA + atB).Length * 3 / 8;
                if (off > mostMove || off > a.DistanceTo(b) / 8) straight[h] = straight[g] = true;
                else (_lift[h], _lift[g]) = (atA, atB);
            }
        });
    }

    // Control point near an end of a chord less the flat one, a third along the chord.
    private static Vec3 Lift(Vec3 chord, Vec3 normal)
    {
        var tangent = chord - normal * chord.Dot(normal);
        double length = chord.Length, along = tangent.Length;
        if (!(along > 0.5 * length)) return Vec3.Zero; // the edge stands on the surface: no curve
        var cosine = along / length; // of the angle a; cos^2(a/2) = (1 + cos a) / 2
        return tangent / along * (length * 2 / (3 * (1 + cosine))) - chord / 3;
    }

    /// <summary>How far the patch of a triangle lies from its flat place, mm, at weights of its corners that add up to 1.</summary>
    internal Vec3 Lift(int triangle, double u, double v, double w)
    {
        int h = 3 * triangle;
        Vec3 a = _lift[h], b = Far(h), c = _lift[h + 1], d = Far(h + 1), e = _lift[h + 2], f = Far(h + 2);
        var lift = (a * u + b * v) * (3 * u * v) + (c * v + d * w) * (3 * v * w) + (e * w + f * u) * (3 * w * u)
            + (a + b + c + d + e + f) * (1.5 * u * v * w); // the middle control point is lifted a quarter of their sum
        var length = lift.Length;
        return length > _mostMove ? lift * (_mostMove / length) : lift;

        Vec3 Far(int k) => _twin[k] < 0 ? Vec3.Zero : _lift[_twin[k]];
    }
}
