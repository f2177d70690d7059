namespace Stiltwright.Geometry;

/// <summary>
/// Simple bodies as closed meshes on a lattice, turned outwards. Every vertex is rounded once to the lattice (half a unit an
/// axis at most); no two triangles share more than an edge or a corner. Round bodies are inscribed: their corners lie on
/// the round surface, so their volume is a little below the round body's (see <see cref="EqualAreaRadius"/>).
/// All throw <see cref="ArgumentException"/> where a length is not positive, or so small that corners fall together on the lattice.
/// </summary>
public static class Primitives
{
    /// <summary>A box with edges along the axes, from its least to its greatest corner, mm.</summary>
    public static Mesh Box(Lattice lattice, Vec3 min, Vec3 max)
    {
        if (!(min.X < max.X && min.Y < max.Y && min.Z < max.Z)) throw new ArgumentException($"A box from {min} to {max} mm has no volume.", nameof(max));
        var points = new Vec3[8];
        for (var i = 0; i < 8; i++) points[i] = new((i & 1) == 0 ? min.X : max.X, (i & 2) == 0 ? min.Y : max.Y, (i & 4) == 0 ? min.Z : max.Z);
        return Build(lattice, points, [0, 2, 1, 1, 2, 3, 4, 5, 6, 5, 7, 6, 0, 1, 4, 1, 5, 4, 2, 6, 3, 3, 6, 7, 0, 4, 2, 2, 4, 6, 1, 3, 5, 3, 7, 5]);
    }

    /// <summary>A prism over a regular polygon from one point to another; the corners lie at the radius, mm.</summary>
    public static Mesh Prism(Lattice lattice, Vec3 from, Vec3 to, double radiusMm, int sides) => Frustum(lattice, from, to, radiusMm, radiusMm, sides);

    /// <summary>A round cylinder as a prism with corners on the round surface.</summary>
    public static Mesh Cylinder(Lattice lattice, Vec3 from, Vec3 to, double radiusMm, int sides = 32) => Frustum(lattice, from, to, radiusMm, radiusMm, sides);

    /// <summary>A cone from its round base to its point.</summary>
    public static Mesh Cone(Lattice lattice, Vec3 from, Vec3 tip, double radiusMm, int sides = 32) => Frustum(lattice, from, tip, radiusMm, 0, sides);

    /// <summary>A frustum of a cone (regular polygons, corners at the radii, mm). One radius may be zero: a cone.</summary>
    public static Mesh Frustum(Lattice lattice, Vec3 from, Vec3 to, double radiusFromMm, double radiusToMm, int sides = 32)
    {
        if (radiusFromMm < 0 || radiusToMm < 0) throw new ArgumentException("A radius below zero.");
        return Revolved(lattice, from, to, [(radiusFromMm, 0), (radiusToMm, 1)], sides);
    }

    /// <summary>
    /// A body of revolution about the axis from one point to another. The profile gives radius (mm) and place along the axis (0 at
    /// <paramref name="from"/>, 1 at <paramref name="to"/>; beyond is allowed), in rising order of place where it is to be embedded.
    /// Ends with a radius above zero are closed by flat polygons.
    /// </summary>
    public static Mesh Revolved(Lattice lattice, Vec3 from, Vec3 to, ReadOnlySpan<(double RadiusMm, double Along)> profile, int sides)
    {
        ArgumentOutOfRangeException.ThrowIfLessThan(sides, 3);
        if (profile.Length < 2) throw new ArgumentException("A profile needs two points.", nameof(profile));
        var axis = to - from;
        if (!(axis.Length > 0)) throw new ArgumentException($"The axis from {from} to {to} mm has no length.", nameof(to));
        var u = axis.AnyPerpendicular();
        var v = axis.Unit().Cross(u);
        var points = new List<Vec3>();
        var corners = new List<int>();
        var first = new int[profile.Length];
        for (var i = 0; i < profile.Length; i++)
        {
            first[i] = points.Count;
            var (r, at) = profile[i];
            var centre = from + axis * at;
            if (r > 0)
                for (var k = 0; k < sides; k++)
                {
                    var (s, c) = Math.SinCos(2 * Math.PI * k / sides);
                    points.Add(centre + u * (r * c) + v * (r * s));
                }
            else if (r == 0 && i != 0 && i != profile.Length - 1) throw new ArgumentException("Only the ends of a profile may have radius 0.", nameof(profile));
            else if (r == 0) points.Add(centre);
            else throw new ArgumentException("A radius below zero.", nameof(profile));
        }
        for (var i = 0; i + 1 < profile.Length; i++)
            for (var k = 0; k < sides; k++)
            {
                var n = (k + 1) % sides;
                bool lower = profile[i].RadiusMm > 0, upper = profile[i + 1].RadiusMm > 0;
                if (!lower && !upper) throw new ArgumentException("Two ends with radius 0 make no body.", nameof(profile));
                if (lower) corners.AddRange([first[i] + k, first[i] + n, upper ? first[i + 1] + n : first[i + 1]]);
                if (upper) corners.AddRange([lower ? first[i] + k : first[i], first[i + 1] + n, first[i + 1] + k]);
            }
        if (profile[0].RadiusMm > 0) Fan(corners, first[0], sides, true);
        if (profile[^1].RadiusMm > 0) Fan(corners, first[^1], sides, false);
        return Build(lattice, points, corners.ToArray());
    }

    /// <summary>A ball: an icosahedron with each edge cut into <paramref name="cuts"/> parts, 20 cuts^2 triangles, corners on the round surface.</summary>
    public static Mesh Sphere(Lattice lattice, Vec3 centre, double radiusMm, int cuts = 16)
    {
        ArgumentOutOfRangeException.ThrowIfLessThan(cuts, 1);
        if (!(radiusMm > 0)) throw new ArgumentException("A ball needs a radius above zero.", nameof(radiusMm));
        const double g = 1.6180339887498949; // golden ratio: corners of the icosahedron are the even shifts of (0, +-1, +-g)
        Vec3[] ico = [new(-1, g, 0), new(1, g, 0), new(-1, -g, 0), new(1, -g, 0), new(0, -1, g), new(0, 1, g), new(0, -1, -g), new(0, 1, -g), new(g, 0, -1), new(g, 0, 1), new(-g, 0, -1), new(-g, 0, 1)];
        int[] faces = [0, 11, 5, 0, 5, 1, 0, 1, 7, 0, 7, 10, 0, 10, 11, 1, 5, 9, 5, 11, 4, 11, 10, 2, 10, 7, 6, 7, 1, 8, 3, 9, 4, 3, 4, 2, 3, 2, 6, 3, 6, 8, 3, 8, 9, 4, 9, 5, 2, 4, 11, 6, 2, 10, 8, 6, 7, 9, 8, 1];
        var points = new List<Vec3>();
        var known = new Dictionary<(int, int, int, int, int), int>();
        var corners = new List<int>(60 * cuts * cuts);
        for (var f = 0; f < 60; f += 3)
        {
            int a = faces[f], b = faces[f + 1], c = faces[f + 2];
            for (var j = 0; j < cuts; j++)
                for (var i = 0; i < cuts - j; i++)
                {
                    corners.AddRange([At(i, j), At(i + 1, j), At(i, j + 1)]);
                    if (i + j + 1 < cuts) corners.AddRange([At(i + 1, j), At(i + 1, j + 1), At(i, j + 1)]);
                }
            int At(int i, int j)
            {
                // Weighted corners in rising order, so that both faces of an edge reckon the very same point.
                Span<(int Corner, int Weight)> w = [(a, cuts - i - j), (b, i), (c, j)];
                w.Sort((p, q) => (p.Weight == 0, p.Corner).CompareTo((q.Weight == 0, q.Corner)));
                var key = (w[0].Corner, w[0].Weight, w[1].Weight > 0 ? w[1].Corner : -1, w[1].Weight, w[2].Weight > 0 ? w[2].Corner : -1);
                if (known.TryGetValue(key, out var at)) return at;
                var p = ico[w[0].Corner] * w[0].Weight + ico[w[1].Corner] * w[1].Weight + ico[w[2].Corner] * w[2].Weight;
                points.Add(centre + p.Unit() * radiusMm);
                return known[key] = points.Count - 1;
            }
        }
        return Build(lattice, points, corners.ToArray());
    }

    /// <summary>A capsule: a cylinder from one point to another with half balls at its ends.</summary>
    public static Mesh Capsule(Lattice lattice, Vec3 from, Vec3 to, double radiusMm, int sides = 32)
    {
        var length = from.DistanceTo(to);
        if (!(length > 0)) throw new ArgumentException("A capsule needs two points; use a ball.", nameof(to));
        var quarter = Math.Max(2, sides / 4);
        var profile = new (double, double)[2 * quarter + 2];
        for (var i = 0; i <= quarter; i++)
        {
            var (s, c) = Math.SinCos(Math.PI / 2 * i / quarter);
            var r = i == 0 ? 0 : radiusMm * s;
            profile[i] = (r, -c * radiusMm / length);
            profile[^(i + 1)] = (r, 1 + c * radiusMm / length);
        }
        return Revolved(lattice, from, to, profile, sides);
    }

    /// <summary>A ring (torus) about an axis through its centre: radius to the middle of the tube and radius of the tube, mm.</summary>
    public static Mesh Torus(Lattice lattice, Vec3 centre, Vec3 axis, double ringRadiusMm, double tubeRadiusMm, int around = 48, int aroundTube = 24)
    {
        ArgumentOutOfRangeException.ThrowIfLessThan(around, 3);
        ArgumentOutOfRangeException.ThrowIfLessThan(aroundTube, 3);
        if (!(tubeRadiusMm > 0 && ringRadiusMm > tubeRadiusMm)) throw new ArgumentException("A ring needs a tube thinner than its own radius.", nameof(tubeRadiusMm));
        var w = axis.Unit();
        var u = w.AnyPerpendicular();
        var v = w.Cross(u);
        var points = new Vec3[around * aroundTube];
        var corners = new int[6 * around * aroundTube];
        for (var i = 0; i < around; i++)
            for (var j = 0; j < aroundTube; j++)
            {
                var (s, c) = Math.SinCos(2 * Math.PI * i / around);
                var (st, ct) = Math.SinCos(2 * Math.PI * j / aroundTube);
                var outwards = u * c + v * s;
                points[i * aroundTube + j] = centre + outwards * (ringRadiusMm + tubeRadiusMm * ct) + w * (tubeRadiusMm * st);
                int i2 = (i + 1) % around * aroundTube, j2 = (j + 1) % aroundTube, at = 6 * (i * aroundTube + j);
                int p = i * aroundTube + j, q = i2 + j, r = i2 + j2, t = i * aroundTube + j2;
                (corners[at], corners[at + 1], corners[at + 2], corners[at + 3], corners[at + 4], corners[at + 5]) = (p, q, r, p, r, t);
            }
        return Build(lattice, points, corners);
    }

    /// <summary>Radius to the corners of a regular polygon whose area is that of a circle: pi r^2 = (n/2) R^2 sin(2 pi/n).</summary>
    public static double EqualAreaRadius(double radiusMm, int sides) => radiusMm * Math.Sqrt(2 * Math.PI / (sides * Math.Sin(2 * Math.PI / sides)));

    // A flat polygon: triangles between its two chains of corners, so that none is needlessly thin.
    private static void Fan(List<int> corners, int first, int sides, bool turned)
    {
        int low = 0, high = sides - 1;
        var fromLow = true;
        while (high - low > 1)
        {
            int a = low, b = fromLow ? low + 1 : high - 1, c = high;
            corners.AddRange(turned ? [first + a, first + c, first + b] : [first + a, first + b, first + c]);
            if (fromLow) low++;
            else high--;
            fromLow = !fromLow;
        }
    }

    private static Mesh Build(Lattice lattice, IReadOnlyList<Vec3> points, int[] corners)
    {
        var xyz = new int[3 * points.Count];
        var seen = new HashSet<(int, int, int)>(points.Count);
        for (var i = 0; i < points.Count; i++)
        {
            var p = points[i];
            if (!(Math.Max(Math.Abs(p.X), Math.Max(Math.Abs(p.Y), Math.Abs(p.Z))) * lattice.UnitsPerMm < Lattice.MaxUnits))
                throw new ArgumentException($"The body reaches {p} mm, beyond the lattice.");
            int x = lattice.Round(p.X), y = lattice.Round(p.Y), z = lattice.Round(p.Z);
            if (!seen.Add((x, y, z))) throw new ArgumentException($"The body is too small for the lattice: corners fall together at {p} mm.");
            (xyz[3 * i], xyz[3 * i + 1], xyz[3 * i + 2]) = (x, y, z);
        }
        return new Mesh(lattice, xyz, corners);
    }
}
