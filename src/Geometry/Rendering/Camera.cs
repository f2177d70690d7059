using System.Runtime.CompilerServices;

namespace Stiltwright.Geometry.Rendering;

/// <summary>From where a model is looked at. The front is towards -y, the right towards +x, up is +z.</summary>
public enum View
{
    /// <summary>From -y.</summary>
    Front,

    /// <summary>From +y.</summary>
    Back,

    /// <summary>From -x.</summary>
    Left,

    /// <summary>From +x.</summary>
    Right,

    /// <summary>From -z, with the front towards the top of the picture.</summary>
    Below,

    /// <summary>From +z, with the front towards the bottom of the picture.</summary>
    Above,

    /// <summary>From the front, a little from the right and from above.</summary>
    ThreeQuarter,

    /// <summary>From the front, a little from the right and from below.</summary>
    ThreeQuarterBelow,
}

/// <summary>
/// An orthographic camera: a turned frame, the place in the middle of the picture, and a scale. Pixel (0, 0) is at the top
/// left; pixel x covers x..x+1. Depth grows towards the viewer, mm.
/// </summary>
/// <param name="Right">Unit vector to the picture's right.</param>
/// <param name="Up">Unit vector to the picture's top.</param>
/// <param name="Toward">Unit vector from the model to the viewer; <c>Right x Up</c>.</param>
/// <param name="Centre">Place in the middle of the picture, mm.</param>
/// <param name="PixelsPerMm">Scale.</param>
public sealed record Camera(Vec3 Right, Vec3 Up, Vec3 Toward, Vec3 Centre, double PixelsPerMm)
{
    /// <summary>Everything nearer to the viewer than this depth (mm) is cut away and the cut filled; null for no cut.</summary>
    public double? CutDepth { get; init; }

    /// <summary>The frame of one of the usual views: right, up, toward.</summary>
    public static (Vec3 Right, Vec3 Up, Vec3 Toward) Frame(View view) => view switch
    {
        View.Front => Upright(new Vec3(0, -1, 0)),
        View.Back => Upright(new Vec3(0, 1, 0)),
        View.Left => Upright(new Vec3(-1, 0, 0)),
        View.Right => Upright(new Vec3(1, 0, 0)),
        View.Below => (new Vec3(1, 0, 0), new Vec3(0, -1, 0), new Vec3(0, 0, -1)),
        View.Above => (new Vec3(1, 0, 0), new Vec3(0, 1, 0), new Vec3(0, 0, 1)),
        View.ThreeQuarter => Upright(new Vec3(0.50, -0.80, 0.34)),
        _ => Upright(new Vec3(0.50, -0.80, -0.42)),
    };

    /// <summary>The frame of a viewer in a direction who stands upright. The direction must not be vertical.</summary>
    public static (Vec3 Right, Vec3 Up, Vec3 Toward) Upright(Vec3 toward)
    {
        var t = toward.Unit();
        var r = Vec3.Up.Cross(t).Unit();
        if (r == Vec3.Zero) throw new ArgumentException("An upright viewer cannot look straight up or down.", nameof(toward));
        return (r, t.Cross(r), t);
    }

    /// <summary>A camera that shows all meshes within a margin (pixels) on every side.</summary>
    /// <exception cref="ArgumentException">No mesh has a triangle, or the margin leaves no room.</exception>
    public static Camera Fit(IEnumerable<Mesh> meshes, View view, int width, int height, double margin) =>
        Fit(meshes, Frame(view), width, height, margin, margin);

    /// <summary>A camera in a frame of its own that shows all meshes within margins (pixels) left and right, top and bottom.</summary>
    /// <exception cref="ArgumentException">No mesh has a triangle, or the margins leave no room.</exception>
    public static Camera Fit(IEnumerable<Mesh> meshes, (Vec3 Right, Vec3 Up, Vec3 Toward) frame, int width, int height, double marginX, double marginY)
    {
        var seen = Extent(meshes, frame);
        double w = width - 2 * marginX, h = height - 2 * marginY;
        if (w <= 0 || h <= 0) throw new ArgumentException("The margins leave no room for the picture.");
        var scale = Math.Min(w / Math.Max(seen.Max.X - seen.Min.X, 1e-6), h / Math.Max(seen.Max.Y - seen.Min.Y, 1e-6));
        var m = (seen.Min + seen.Max) * 0.5;
        return new Camera(frame.Right, frame.Up, frame.Toward, frame.Right * m.X + frame.Up * m.Y + frame.Toward * m.Z, scale);
    }

    /// <summary>Box of the meshes in a frame: x to the right, y up, z towards the viewer, mm.</summary>
    /// <exception cref="ArgumentException">No mesh has a triangle.</exception>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    public static Box3 Extent(IEnumerable<Mesh> meshes, (Vec3 Right, Vec3 Up, Vec3 Toward) frame)
    {
        Vec3 lo = new(double.PositiveInfinity, double.PositiveInfinity, double.PositiveInfinity), hi = -lo;
        foreach (var mesh in meshes)
        {
            if (mesh.TriangleCount == 0) continue;
            for (var v = 0; v < mesh.VertexCount; v++)
            {
                var p = mesh.Vertex(v);
                var q = new Vec3(p.Dot(frame.Right), p.Dot(frame.Up), p.Dot(frame.Toward));
                lo = Vec3.Min(lo, q);
                hi = Vec3.Max(hi, q);
            }
        }
        return lo.X <= hi.X ? new Box3(lo, hi) : throw new ArgumentException("There is nothing to look at: no mesh has a triangle.", nameof(meshes));
    }

    /// <summary>Where a place lands in a picture of that size: pixels from the left and from the top, and depth (mm) towards the viewer.</summary>
    public (double X, double Y, double Depth) Project(Vec3 p, int width, int height)
    {
        var d = p - Centre;
        return (width * 0.5 + d.Dot(Right) * PixelsPerMm, height * 0.5 - d.Dot(Up) * PixelsPerMm, p.Dot(Toward));
    }
}
