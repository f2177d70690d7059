namespace Stiltwright.Geometry.Refining;

/// <summary>
/// Normals of the smooth surface at the corners of a coarse one: the facets' normals weighted by their angles (Thurmer, Wuthrich
/// 1998), one for each side of a crease. Beside a flat part the normal is the flat part's, so that what bends meets it without a kink.
/// Where a vertex is the point of something (a cone) there is no such normal.
/// </summary>
internal sealed class SmoothNormals
{
    // Height through longest side below which a triangle counts less.
    private const double NeedleShape = 0.1;

    private readonly Vec3[] _facets;
    private readonly Vec3[] _ofCorner; // zero at a point

    internal SmoothNormals(Mesh mesh, int[] twin, bool[] sharp, Vec3[] facets, int[] flat, double creaseDegrees)
    {
        _facets = facets;
        var corners = mesh.CornersArray;
        _ofCorner = new Vec3[corners.Length];
        var done = new bool[corners.Length];
        var least = Math.Cos(creaseDegrees * Math.PI / 180);
        var sector = new List<int>();
        for (var c = 0; c < corners.Length; c++)
        {
            if (done[c]) continue;
            // Back to the crease at which the sector begins, or once around.
            var first = c;
            while (!sharp[Before(first)])
            {
                var previous = twin[Before(first)];
                if (previous == c) { first = c; break; }
                first = previous;
            }
            sector.Clear();
            for (var at = first; ;)
            {
                done[at] = true;
                sector.Add(at);
                if (sharp[at]) break;
                var next = EdgePairing.Next(twin[at]);
                if (next == first) break;
                at = next;
            }
            Vec3 sum = Vec3.Zero, flats = Vec3.Zero;
            var here = mesh.Vertex(corners[c]);
            foreach (var k in sector)
            {
                Vec3 a = mesh.Vertex(corners[EdgePairing.Next(k)]) - here, b = mesh.Vertex(corners[Before(k)]) - here;
                var cross = a.Cross(b).Length;
                // A needle's own direction hangs on the last digits of its corners.
                var longest2 = Math.Max((a - b).LengthSquared, Math.Max(a.LengthSquared, b.LengthSquared));
                var weighed = facets[k / 3] * (Math.Atan2(cross, a.Dot(b)) * Math.Min(1, cross / (NeedleShape * longest2)));
                sum += weighed;
                if (flat[k / 3] >= 0) flats += weighed;
            }
            var normal = (flats.LengthSquared > 0 ? flats : sum).Unit();
            foreach (var k in sector)
                if (facets[k / 3].Dot(normal) < least && facets[k / 3].LengthSquared > 0) normal = Vec3.Zero;
            foreach (var k in sector) _ofCorner[k] = normal;
        }

        // Corners walk around their vertex over the edges that begin there: the half-edge before a corner ends in it.
        static int Before(int h) => EdgePairing.Next(EdgePairing.Next(h));
    }

    /// <summary>Mean of the normals at a triangle's corners, a unit vector or zero.</summary>
    internal Vec3 Mean(int triangle) => (_ofCorner[3 * triangle] + _ofCorner[3 * triangle + 1] + _ofCorner[3 * triangle + 2]).Unit();

    /// <summary>The normal at a corner for an edge between two triangles: at a point of the surface the edge's own.</summary>
    internal Vec3 At(int corner, int triangle, int other)
    {
        var n = _ofCorner[corner];
        return n.LengthSquared > 0 ? n : (_facets[triangle] + _facets[other]).Unit();
    }
}
