using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>Tells a hollow (a pocket for a magnet or a pin, a bore) from a rod that was drawn inside out.</summary>
internal static class Pockets
{
    private const int Samples = 8;

    /// <summary>
    /// True if the inner half of a closed shell lies wholly within one larger shell. Its ends may lie in that shell's surface or
    /// stand out a little, as those of a bore do; a strut whose end is sunk into the figure has its middle outside.
    /// </summary>
    public static bool WithinAnother(Mesh mesh, ShellSet shells, Shell shell)
    {
        if (shell.Triangles.Length == 0) return false;
        var centre = shell.Bounds.Center;
        var points = new Vec3[Samples];
        for (var i = 0; i < Samples; i++)
        {
            var (a, b, c) = mesh.Triangle(shell.Triangles[(int)((long)i * shell.Triangles.Length / Samples)]);
            points[i] = (centre + (a + b + c) / 3) / 2;
        }
        foreach (var other in shells.Shells)
            if (other.Index != shell.Index && other.SignedVolumeMm3 > -shell.SignedVolumeMm3 && Array.TrueForAll(points, other.Bounds.Holds) && Holds(mesh, other, points)) return true;
        return false;
    }

    private static bool Holds(Mesh mesh, Shell shell, Vec3[] points)
    {
        var winding = new int[points.Length];
        // Rays straight up; the slight tilt keeps them off edges of drawn grids.
        var up = new Vec3(1.3e-5, 2.1e-5, 1);
        var reach = 1e-4 * shell.Bounds.Size.Z;
        var box = Box3.Empty;
        foreach (var p in points) box = box.With(p);
        box = box.Grown(reach);
        foreach (var t in shell.Triangles)
        {
            var (a, b, c) = mesh.Triangle(t);
            if (Math.Max(a.Z, Math.Max(b.Z, c.Z)) < box.Min.Z || Math.Max(a.X, Math.Max(b.X, c.X)) < box.Min.X || Math.Min(a.X, Math.Min(b.X, c.X)) > box.Max.X
                || Math.Max(a.Y, Math.Max(b.Y, c.Y)) < box.Min.Y || Math.Min(a.Y, Math.Min(b.Y, c.Y)) > box.Max.Y) continue;
            var side = (b - a).Cross(c - a).Dot(up) > 0 ? 1 : -1;
            for (var i = 0; i < points.Length; i++)
                if (SurfaceProbe.Hit(points[i], up, a, b, c) > 0) winding[i] += side;
        }
        return Array.TrueForAll(winding, w => w > 0);
    }
}
