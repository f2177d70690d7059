namespace Stiltwright.Geometry.Rendering;

/// <summary>
/// Colours from what the samples hold: half light from above (hemisphere), half from a lamp at the upper left, both fixed
/// to the viewer, darker where the surface is hollow, ink where depth jumps.
/// </summary>
internal static class Shading
{
    private const int Steps = 256;
    private static readonly Vec3 Lamp = new Vec3(-0.42, 0.56, 0.72).Unit();

    internal static void Paint(Image image, Camera camera, Layer solid, Layer? over, CancellationToken cancel)
    {
        var options = new ParallelOptions { CancellationToken = cancel };
        var hollow = Obscurance.Of(solid.Samples, camera.PixelsPerMm, options);
        var solidInk = new Brush(solid, camera);
        var clearInk = over is null ? null : new Brush(over, camera);
        int w = image.Width, h = image.Height, blocks = (h + 7) / 8;
        var jump = JumpMm(camera);
        Parallel.For(0, blocks, options, block =>
        {
            for (var y = 8 * block; y < Math.Min(h, 8 * block + 8); y++)
                for (var x = 0; x < w; x++)
                {
                    float r = 0, g = 0, b = 0;
                    for (var k = 0; k < 4; k++)
                    {
                        int sx = 2 * x + (k & 1), sy = 2 * y + (k >> 1);
                        var c = Solid(solid, solidInk, sx, sy, hollow[y * w + x], jump);
                        if (over is not null && clearInk is not null) c = Over(c, over, solid, clearInk, sx, sy, jump);
                        r += c.R;
                        g += c.G;
                        b += c.B;
                    }
                    var at = 3 * (y * w + x);
                    image.Rgb[at] = (byte)(r * 0.25f + 0.5f);
                    image.Rgb[at + 1] = (byte)(g * 0.25f + 0.5f);
                    image.Rgb[at + 2] = (byte)(b * 0.25f + 0.5f);
                }
        });
    }

    /// <summary>A step in depth that is drawn as an outline: five pixels' worth.</summary>
    private static float JumpMm(Camera camera) => (float)(5 / camera.PixelsPerMm);

    private static Rgb Solid(Layer layer, Brush brush, int sx, int sy, float hollow, float jump)
    {
        var s = layer.Samples;
        var at = sy * s.Width + sx;
        var id = s.Id[at];
        if (id == -1) return Tone.Paper;
        if (id <= -2) return Edge(s, sx, sy, jump) > 0 || CutBorder(s, sx, sy) ? Tone.InkLine : brush.Cut(-2 - id, sx, sy);
        var c = brush.Colour(id, sx, sy, hollow, out _);
        var e = Edge(s, sx, sy, jump);
        return e > 0 ? Rgb.Mix(c, Tone.InkLine, 0.8 * e) : c;
    }

    /// <summary>Lays the nearest see-through surface over a colour, more of it where it is seen at a slant.</summary>
    private static Rgb Over(Rgb c, Layer over, Layer solid, Brush brush, int sx, int sy, float jump)
    {
        var s = over.Samples;
        var at = sy * s.Width + sx;
        var id = s.Id[at];
        if (id < 0 || s.Depth[at] <= solid.Samples.Depth[at]) return c;
        var glaze = brush.Colour(id, sx, sy, 0, out var facing);
        var slant = 1 - Math.Abs(facing);
        var mixed = Rgb.Mix(c, glaze, Math.Min(0.92, brush.Opacity(id) * (0.45 + 1.6 * slant * slant)));
        var e = Edge(s, sx, sy, jump);
        return e > 0 ? Rgb.Mix(mixed, Tone.InkLine, 0.7 * e) : mixed;
    }

    /// <summary>
    /// How much of an outline a sample carries: it is drawn on the nearer side of a jump in depth, where the surface's own
    /// slope (taken from the other side) does not explain it. Lines are two samples wide: one pixel.
    /// </summary>
    private static float Edge(SampleBuffer s, int sx, int sy, float jump)
    {
        var strongest = 0f;
        for (var k = 0; k < 2; k++)
        {
            int dx = k == 0 ? 2 : 0, dy = 2 - dx;
            var d = s.Depth[sy * s.Width + sx];
            var before = At(s, sx - dx, sy - dy, d);
            var after = At(s, sx + dx, sy + dy, d);
            float fallBefore = d - before, fallAfter = d - after;
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
        (uint)x < (uint)s.Width && (uint)y < (uint)s.Height ? s.Depth[y * s.Width + x] : outside;

    /// <summary>True where a cut face meets anything else: its border is drawn in ink.</summary>
    private static bool CutBorder(SampleBuffer s, int sx, int sy)
    {
        var id = s.Id[sy * s.Width + sx];
        for (var k = 0; k < 4; k++)
        {
            int x = sx + (k == 0 ? 2 : k == 1 ? -2 : 0), y = sy + (k == 2 ? 2 : k == 3 ? -2 : 0);
            if ((uint)x < (uint)s.Width && (uint)y < (uint)s.Height && s.Id[y * s.Width + x] != id) return true;
        }
        return false;
    }

    /// <summary>Colours of the parts of a layer.</summary>
    private sealed class Brush
    {
        private readonly Projected _scene;
        private readonly Camera _camera;
        private readonly Rgb[][] _ramps;
        private readonly Rgb[] _cuts = new Rgb[4];

        internal Brush(Layer layer, Camera camera)
        {
            _scene = layer.Scene;
            _camera = camera;
            _ramps = new Rgb[_scene.Parts.Count][];
            for (var p = _scene.Parts.Count - 1; p >= 0; p--)
            {
                var part = _scene.Parts[p];
                _ramps[p] = Ramp(part.Tone);
                _cuts[part.CutGroup] = part.Tone.Cut;
                if (part.Smooth) _ = part.VertexNormals;
            }
        }

        internal double Opacity(int id) => _scene.Parts[Part(id)].Opacity;

        /// <summary>A cut face: its solid tone with a hatch, as drawings of sections have.</summary>
        internal Rgb Cut(int group, int sx, int sy)
        {
            var tone = _cuts[group];
            return (sx + sy + 4096) % 18 < 3 ? Rgb.Mix(tone, Tone.InkLine, 0.45) : tone;
        }

        internal Rgb Colour(int id, int sx, int sy, float hollow, out float facing)
        {
            var p = Part(id);
            var n = Normal(p, id - _scene.Start[p], sx, sy);
            float nx = (float)n.Dot(_camera.Right), ny = (float)n.Dot(_camera.Up), nz = (float)n.Dot(_camera.Toward);
            if (nz < 0) (nx, ny, nz) = (-nx, -ny, -nz);
            facing = nz;
            var lamp = Math.Max(0, nx * (float)Lamp.X + ny * (float)Lamp.Y + nz * (float)Lamp.Z);
            var light = (0.14f + 0.22f * (0.5f + 0.5f * ny) + 0.66f * lamp) * (1 - 0.72f * hollow);
            return _ramps[p][Math.Clamp((int)(light * (Steps - 1)), 0, Steps - 1)];
        }

        private int Part(int id)
        {
            var p = 0;
            while (id >= _scene.Start[p + 1]) p++;
            return p;
        }

        private Vec3 Normal(int p, int t, int sx, int sy)
        {
            var part = _scene.Parts[p];
            var corners = part.Mesh.CornersArray;
            int a = corners[3 * t], b = corners[3 * t + 1], c = corners[3 * t + 2];
            var xyz = part.Mesh.XyzArray;
            double ux = xyz[3 * b] - xyz[3 * a], uy = xyz[3 * b + 1] - xyz[3 * a + 1], uz = xyz[3 * b + 2] - xyz[3 * a + 2];
            double vx = xyz[3 * c] - xyz[3 * a], vy = xyz[3 * c + 1] - xyz[3 * a + 1], vz = xyz[3 * c + 2] - xyz[3 * a + 2];
            var face = new Vec3(uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx).Unit();
            if (!part.Smooth) return face;
            int[] x = _scene.X[p], y = _scene.Y[p];
            double px = sx * (double)Projected.Sub + Projected.Sub / 2, py = sy * (double)Projected.Sub + Projected.Sub / 2;
            double area = (double)(x[b] - x[a]) * (y[c] - y[a]) - (double)(x[c] - x[a]) * (y[b] - y[a]);
            if (area == 0) return face;
            var wb = ((px - x[a]) * (y[c] - y[a]) - (double)(x[c] - x[a]) * (py - y[a])) / area;
            var wc = ((double)(x[b] - x[a]) * (py - y[a]) - (px - x[a]) * (y[b] - y[a])) / area;
            return (Corner(part, a, face) * (1 - wb - wc) + Corner(part, b, face) * wb + Corner(part, c, face) * wc).Unit();
        }

        private static Vec3 Corner(RenderPart part, int v, Vec3 face)
        {
            var n = part.VertexNormals;
            var at = new Vec3(n[3 * v], n[3 * v + 1], n[3 * v + 2]);
            return at.Dot(face) >= CornerNormals.CreaseCosine ? at : face;
        }

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
