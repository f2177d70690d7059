using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>Tells whether all corners of a shell lie on a sphere and its facets stay near it.</summary>
internal static class BallFit
{
    /// <summary>Departure of corners from the sphere, as a share of its radius.</summary>
    private const double OnSphere = 0.03;

    public static BallShape? Fit(LocalShell shell)
    {
        if (shell.TriangleCount < 20) return null;
        var box = Box3.Empty;
        foreach (var p in shell.Points) box = box.With(p);
        var s = box.Size;
        if (Math.Max(s.X, Math.Max(s.Y, s.Z)) > 1.5 * Math.Min(s.X, Math.Min(s.Y, s.Z))) return null;
        var centre = shell.Centre;
        double mean = 0, worst = 0;
        foreach (var p in shell.Points) mean += p.DistanceTo(centre) / shell.Points.Length;
        if (!(mean > 0)) return null;
        foreach (var p in shell.Points) worst = Math.Max(worst, Math.Abs(p.DistanceTo(centre) / mean - 1));
        if (worst > OnSphere) return null;
        for (var t = 0; t < shell.TriangleCount; t++)
            if ((shell.Points[shell.Corners[3 * t]] - centre).Dot(shell.Normals[t]) < 0.55 * mean) return null;
        // A short prism has its corners on a sphere too: two flat rings.
        foreach (var patch in shell.FlatPatches())
            if (patch.Area > 0.12 * shell.Area) return null;
        return new BallShape(centre, mean, worst);
    }
}
