using System.Numerics;
using System.Runtime.CompilerServices;

namespace Stiltwright.Geometry.Rendering;

/// <summary>
/// Colours from what the samples hold: half light from above (hemisphere), half from a lamp at the upper left, both fixed
/// to the viewer, darker where the surface is hollow, ink where depth jumps.
/// </summary>
internal static class Shading
{
    private const int Steps = 256;
    private static readonly Vector3 Lamp = Vector3.Normalize(new Vector3(-0.42f, 0.56f, 0.72f));

    internal static void Paint(Image image, Camera camera, Layer solid, Layer? over, ParallelOptions options)
    {
        var hollow = Obscurance.Of(solid.Samples, camera.PixelsPerMm, options);
        var solidInk = new Brush(solid, camera);
        var clearInk = over is null ? null : new Brush(over, camera);
        int h = image.Height, blocks = (h + 7) / 8;
        var jump = JumpMm(camera);
        Parallel.For(0, blocks, options, block =>
        {
            for (var y = 8 * block; y < Math.Min(h, 8 * block + 8); y++)
                Row(image, solid, over, solidInk, clearInk, hollow, jump, y);
        });
    }

    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private static void Row(Image image, Layer solid, Layer? over, Brush solidInk, Brush? clearInk, float[] hollow, float jump, int y)
    {
        var w = image.Width;
        for (var x = 0; x < w; x++)
        {
            var first = 2 * y * solid.Samples.Width + 2 * x;
            if (Blank(solid.Samples, first) && (over is null || Blank(over.Samples, first))) continue;
            int r = 0, g = 0, b = 0;
            var near = new Reuse();
            var glaze = new Reuse();
            for (var k = 0; k < 4; k++)
            {
                int sx = 2 * x + (k & 1), sy = 2 * y + (k >> 1);
                var c = Solid(solid, solidInk, sx, sy, hollow[y * w + x], jump, ref near);
                if (over is not null && clearInk is not null) c = Over(c, over, solid, clearInk, sx, sy, jump, ref glaze);
                r += c.R;
                g += c.G;
                b += c.B;
            }
            var at = 3 * (y * w + x);
            image.Rgb[at] = (byte)((r + 2) / 4);
            image.Rgb[at + 1] = (byte)((g + 2) / 4);
            image.Rgb[at + 2] = (byte)((b + 2) / 4);
        }
    }

    /// <summary>True if the four samples of a pixel hold paper.</summary>
    private static bool Blank(SampleBuffer s, int first) =>
        (s.IdArray[first] & s.IdArray[first + 1] & s.IdArray[first + s.Width] & s.IdArray[first + s.Width + 1]) == -1;

    /// <summary>
    /// The last colour worked out in a pixel: samples of one part at nearly one depth share it. What is smooth needs no four
    /// colours; borders and outlines keep their four samples.
    /// </summary>
    private struct Reuse
    {
        internal bool Set;
        internal int Part;
        internal float Depth, Facing;
        internal Rgb Colour;
    }

    /// <summary>A step in depth that is drawn as an outline: five pixels' worth.</summary>
    private static float JumpMm(Camera camera) => (float)(5 / camera.PixelsPerMm);

    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private static Rgb Solid(Layer layer, Brush brush, int sx, int sy, float hollow, float jump, ref Reuse last)
    {
        var s = layer.Samples;
        var at = sy * s.Width + sx;
        var id = s.IdArray[at];
        if (id == -1) return Tone.Paper;
        if (id <= -2) return Edge(s, sx, sy, jump) > 0 || CutBorder(s, sx, sy) ? Tone.InkLine : brush.Cut(-2 - id, sx, sy);
        var c = brush.Colour(id, s.DepthArray[at], sx, sy, hollow, jump, ref last);
        var e = Edge(s, sx, sy, jump);
        return e > 0 ? Rgb.Mix(c, Tone.InkLine, 0.8 * e) : c;
    }

    /// <summary>Lays the nearest see-through surface over a colour, more of it where it is seen at a slant.</summary>
    private static Rgb Over(Rgb c, Layer over, Layer solid, Brush brush, int sx, int sy, float jump, ref Reuse last)
    {
        var s = over.Samples;
        var at = sy * s.Width + sx;
        var id = s.IdArray[at];
        if (id < 0 || s.DepthArray[at] <= solid.Samples.DepthArray[at]) return c;
        var glaze = brush.Colour(id, s.DepthArray[at], sx, sy, 0, jump, ref last);
        var slant = 1 - last.Facing;
        var mixed = Rgb.Mix(c, glaze, Math.Min(0.92, brush.Opacity(last.Part) * (0.45 + 1.6 * slant * slant)));
        var e = Edge(s, sx, sy, jump);
        return e > 0 ? Rgb.Mix(mixed, Tone.InkLine, 0.7 * e) : mixed;
    }

    /// <summary>
    /// How much of an outline a sample carries: it is drawn on the nearer side of a jump in depth, where the surface's own
    /// slope (taken from the other side) does not explain it. Lines are two samples wide: one pixel.
    /// </summary>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private static float Edge(SampleBuffer s, int sx, int sy, float jump)
    {
        var strongest = 0f;
        for (var k = 0; k < 2; k++)
        {
            int dx = k == 0 ? 2 : 0, dy = 2 - dx;
            var d = s.DepthArray[sy * s.Width + sx];
            var before = At(s, sx - dx, sy - dy, d);
            var after = At(s, sx + dx, sy + dy, d);
            float fallBefore = d - before, fallAfter = d - after;
            if (fallBefore <= jump && fallAfter <= jump) continue;
            strongest = Math.Max(strongest, Strength(fallBefore, fallAfter, jump));
            strongest = Math.Max(strongest, Strength(fallAfter, fallBefore, jump));
        }
        return strongest;

        static float Strength(float fall, float opposite, float jump)
        {
            if (float.IsPositiveInfinity(fall)) return 1;
            var slope = float.IsInfinity(opposite) ? 0 : Math.Abs(opposite);
            var over = fall - 2.5f * slope - jump;
            return over <= 0 ? 0 : Math.Min(1, over / (3 * jump));
        }
    }

    private static float At(SampleBuffer s, int x, int y, float outside) =>
        (uint)x < (uint)s.Width && (uint)y < (uint)s.Height ? s.DepthArray[y * s.Width + x] : outside;

    /// <summary>True where a cut face meets anything else: its border is drawn in ink.</summary>
    private static bool CutBorder(SampleBuffer s, int sx, int sy)
    {
        var id = s.IdArray[sy * s.Width + sx];
        for (var k = 0; k < 4; k++)
        {
            int x = sx + (k == 0 ? 2 : k == 1 ? -2 : 0), y = sy + (k == 2 ? 2 : k == 3 ? -2 : 0);
            if ((uint)x < (uint)s.Width && (uint)y < (uint)s.Height && s.IdArray[y * s.Width + x] != id) return true;
        }
        return false;
    }

    /// <summary>Colours of the parts of a layer.</summary>
    private sealed class Brush
    {
        private readonly Projected _scene;
        private readonly Vector3 _right, _up, _toward;
        private readonly Rgb[][] _ramps;
        private readonly Rgb[] _cuts = new Rgb[4];

        internal Brush(Layer layer, Camera camera)
        {
            _scene = layer.Scene;
            (_right, _up, _toward) = (Single(camera.Right), Single(camera.Up), Single(camera.Toward));
            _ramps = new Rgb[_scene.Parts.Count][];
            for (var p = _scene.Parts.Count - 1; p >= 0; p--)
            {
                var part = _scene.Parts[p];
                _ramps[p] = Ramp(part.Tone);
                _cuts[part.CutGroup] = part.Tone.Cut;
                if (part.Smooth) _ = part.VertexNormals;
            }
        }

        internal double Opacity(int part) => _scene.Parts[part].Opacity;

        /// <summary>A cut face: its solid tone with a hatch, as drawings of sections have.</summary>
        internal Rgb Cut(int group, int sx, int sy)
        {
            var tone = _cuts[group];
            return (sx + sy + 4096) % 18 < 3 ? Rgb.Mix(tone, Tone.InkLine, 0.45) : tone;
        }

        [MethodImpl(MethodImplOptions.AggressiveOptimization)]
        internal Rgb Colour(int id, float depth, int sx, int sy, float hollow, float same, ref Reuse last)
        {
            var p = _scene.PartOf(id, 0);
            if (last.Set && last.Part == p && Math.Abs(depth - last.Depth) < same) return last.Colour;
            var n = Normal(p, id - _scene.Start[p], sx, sy);
            float nx = Vector3.Dot(n, _right), ny = Vector3.Dot(n, _up), nz = Vector3.Dot(n, _toward);
            if (nz < 0) (nx, ny, nz) = (-nx, -ny, -nz);
            var lamp = Math.Max(0, nx * Lamp.X + ny * Lamp.Y + nz * Lamp.Z);
            var light = (0.14f + 0.22f * (0.5f + 0.5f * ny) + 0.66f * lamp) * (1 - 0.72f * hollow);
            var colour = _ramps[p][Math.Clamp((int)(light * (Steps - 1)), 0, Steps - 1)];
            last = new Reuse { Set = true, Part = p, Depth = depth, Facing = nz, Colour = colour };
            return colour;
        }

        [MethodImpl(MethodImplOptions.AggressiveOptimization)]
        private Vector3 Normal(int p, int t, int sx, int sy)
        {
            var part = _scene.Parts[p];
            var corners = part.Mesh.CornersArray;
            int a = corners[3 * t], b = corners[3 * t + 1], c = corners[3 * t + 2];
            var xyz = part.Mesh.XyzArray;
            var u = new Vector3(xyz[3 * b] - xyz[3 * a], xyz[3 * b + 1] - xyz[3 * a + 1], xyz[3 * b + 2] - xyz[3 * a + 2]);
            var v = new Vector3(xyz[3 * c] - xyz[3 * a], xyz[3 * c + 1] - xyz[3 * a + 1], xyz[3 * c + 2] - xyz[3 * a + 2]);
            var face = Vector3.Normalize(Vector3.Cross(u, v));
            if (!part.Smooth) return face;
            int[] x = _scene.X[p], y = _scene.Y[p];
            double px = sx * (double)Projected.Sub + Projected.Sub / 2, py = sy * (double)Projected.Sub + Projected.Sub / 2;
            double bx = x[b] - x[a], by = y[b] - y[a], cx = x[c] - x[a], cy = y[c] - y[a], area = bx * cy - cx * by;
            if (area == 0) return face;
            float wb = (float)(((px - x[a]) * cy - cx * (py - y[a])) / area), wc = (float)((bx * (py - y[a]) - (px - x[a]) * by) / area);
            var normals = part.VertexNormals;
            return Vector3.Normalize(Corner(normals, a, face) * (1 - wb - wc) + Corner(normals, b, face) * wb + Corner(normals, c, face) * wc);
        }

        private static Vector3 Corner(float[] normals, int v, Vector3 face)
        {
            var n = new Vector3(normals[3 * v], normals[3 * v + 1], normals[3 * v + 2]);
            return Vector3.Dot(n, face) >= CornerNormals.CreaseCosine ? n : face;
        }

        private static Vector3 Single(Vec3 v) => new((float)v.X, (float)v.Y, (float)v.Z);

        private static Rgb[] Ramp(Tone tone)
        {
            var ramp = new Rgb[Steps];
            for (var i = 0; i < Steps; i++)
            {
                var t = i / (Steps - 1.0);
                ramp[i] = t < 0.5 ? Rgb.Mix(tone.Dark, tone.Mid, 2 * t) : Rgb.Mix(tone.Mid, tone.Light, 2 * t - 1);
            }
            return ramp;
        }
    }
}
