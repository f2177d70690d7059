namespace Stiltwright.Geometry.Tests;

/// <summary>Small closed meshes for the layer tests, on the finest lattice.</summary>
internal static class LayersScenes
{
    public static readonly Lattice Fine = new(16);

    public static Mesh Box(double x0, double y0, double z0, double x1, double y1, double z1)
    {
        var xyz = new List<int>();
        for (var k = 0; k < 8; k++)
        {
            xyz.Add(Fine.Round((k & 1) == 0 ? x0 : x1));
            xyz.Add(Fine.Round((k & 2) == 0 ? y0 : y1));
            xyz.Add(Fine.Round((k & 4) == 0 ? z0 : z1));
        }
        return new Mesh(Fine, [.. xyz],
            [0, 2, 1, 1, 2, 3, 4, 5, 6, 5, 7, 6, 0, 1, 4, 1, 5, 4, 2, 6, 3, 3, 6, 7, 0, 4, 2, 2, 4, 6, 1, 3, 5, 3, 7, 5]);
    }

    /// <summary>A body of revolution about a vertical axis: a closed polygon of (radius, z), counter-clockwise with z up and radius to the right; radius 0 is a pole.</summary>
    public static Mesh Turned(double x, double y, int sides, params (double R, double Z)[] profile)
    {
        var xyz = new List<int>();
        var at = new int[profile.Length, sides];
        for (var p = 0; p < profile.Length; p++)
            for (var s = 0; s < sides; s++)
            {
                if (profile[p].R == 0 && s > 0) { at[p, s] = at[p, 0]; continue; }
                at[p, s] = xyz.Count / 3;
                var (sin, cos) = Math.SinCos(2 * Math.PI * s / sides);
                xyz.Add(Fine.Round(x + profile[p].R * cos));
                xyz.Add(Fine.Round(y + profile[p].R * sin));
                xyz.Add(Fine.Round(profile[p].Z));
            }
        var corners = new List<int>();
        void Add(int a, int b, int c)
        {
            if (a != b && b != c && c != a) corners.AddRange([a, b, c]);
        }
        for (var p = 0; p < profile.Length; p++)
        {
            var q = (p + 1) % profile.Length;
            for (var s = 0; s < sides; s++)
            {
                var t = (s + 1) % sides;
                if (profile[p].R == 0 && profile[q].R == 0) continue;
                Add(at[p, s], at[p, t], at[q, t]);
                Add(at[p, s], at[q, t], at[q, s]);
            }
        }
        return new Mesh(Fine, [.. xyz], [.. corners]);
    }

    public static Mesh Cylinder(double x, double y, double z0, double z1, double r, int sides = 96) =>
        Turned(x, y, sides, (0, z0), (r, z0), (r, z1), (0, z1));

    public static Mesh Sphere(Vec3 at, double r, int rings = 64, int sides = 128)
    {
        var profile = new (double, double)[rings + 1];
        for (var k = 0; k <= rings; k++)
        {
            var (s, c) = Math.SinCos(Math.PI * k / rings);
            profile[k] = (k == 0 || k == rings ? 0 : r * s, at.Z - r * c);
        }
        return Turned(at.X, at.Y, sides, profile);
    }

    /// <summary>Turns a mesh by some angles about its box's centre, to take it off every grid line.</summary>
    public static Mesh Tilted(Mesh m, double about1, double about2)
    {
        var c = m.Bounds.Center;
        return m.Placed(Affine.Translation(-c).Then(Affine.Turn(new Vec3(1, 0.3, 0), about1)).Then(Affine.Turn(new Vec3(0, 0.2, 1), about2)).Then(Affine.Translation(c)), Fine);
    }

    public static Box3 BoundsOf(IEnumerable<Mesh> meshes) => meshes.Aggregate(Box3.Empty, (b, m) => b.With(m.Bounds));
}
