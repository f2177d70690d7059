using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;

namespace Stiltwright.Geometry.Rendering;

/// <summary>
/// How hidden from the light each pixel is, from depth alone. Samples come in opposite pairs, so that a tilted plane gives
/// nothing and only hollows count (pairing after Loos and Sloan 2010, Volumetric Obscurance). The pattern is the same at
/// each pixel: no noise, and pictures that pack well.
/// </summary>
internal static class Obscurance
{
    private const int Pairs = 12;

    /// <summary>0 (open) to 1 (hidden) for each pixel of the picture.</summary>
    internal static float[] Of(SampleBuffer s, double pixelsPerMm, ParallelOptions options)
    {
        int w = s.Width / 2, h = s.Height / 2;
        var depth = new float[w * h];
        Parallel.For(0, h, options, y =>
        {
            for (var x = 0; x < w; x++) depth[y * w + x] = s.DepthArray[2 * y * s.Width + 2 * x];
        });
        var reach = Math.Max(6, Math.Min(w, h) / 28.0);
        var offsets = Spiral(reach);
        var perPixel = (float)pixelsPerMm;
        var most = (float)(1.2 * reach / pixelsPerMm);
        var result = new float[w * h];
        Parallel.For(0, (h + 7) / 8, options, block =>
        {
            for (var y = 8 * block; y < Math.Min(h, 8 * block + 8); y++) Row(depth, w, h, y, offsets, perPixel, most, result);
        });
        return result;
    }

    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private static void Row(float[] depth, int w, int h, int y, (int X, int Y, float Length)[] offsets, float perPixel, float most, float[] result)
    {
        var reach = 0;
        foreach (var (dx, dy, _) in offsets) reach = Math.Max(reach, Math.Max(Math.Abs(dx), Math.Abs(dy)));
        // Away from the borders eight pixels at a time: the same sums in the same order.
        var done = 0;
        if (y >= reach && y + reach < h)
            for (var x = reach; x + 8 + reach <= w; x += 8, done = x) Eight(depth, w, y * w + x, offsets, perPixel, most, result);
        for (var x = 0; x < w; x++)
        {
            if (x == reach && done > x) x = done;
            var d = depth[y * w + x];
            if (float.IsNegativeInfinity(d)) continue;
            var sum = 0f;
            foreach (var (dx, dy, length) in offsets)
            {
                var one = Rise(depth, w, h, x + dx, y + dy, d, most);
                var two = Rise(depth, w, h, x - dx, y - dy, d, most);
                var slope = (one + two) * perPixel / (2 * length);
                if (slope > 0.04f) sum += Math.Min(1, 0.9f * (slope - 0.04f));
            }
            result[y * w + x] = Math.Min(1, 1.5f * sum / Pairs);
        }
    }

    private static void Eight(float[] depth, int w, int at, (int X, int Y, float Length)[] offsets, float perPixel, float most, float[] result)
    {
        ref var first = ref depth[at];
        var d = Vector256.LoadUnsafe(ref first);
        var open = Vector256.Equals(d, Vector256.Create(float.NegativeInfinity));
        if (open.ExtractMostSignificantBits() == 0xFF) return;
        Vector256<float> sum = Vector256<float>.Zero, least = Vector256.Create(0.04f), scale = Vector256.Create(perPixel);
        foreach (var (dx, dy, length) in offsets)
        {
            var one = Rise(Vector256.LoadUnsafe(ref Unsafe.Add(ref first, dy * w + dx)) - d, most);
            var two = Rise(Vector256.LoadUnsafe(ref Unsafe.Add(ref first, -dy * w - dx)) - d, most);
            var slope = (one + two) * scale / Vector256.Create(2 * length);
            var shade = Vector256.Min(Vector256<float>.One, Vector256.Create(0.9f) * (slope - least));
            sum += Vector256.ConditionalSelect(Vector256.GreaterThan(slope, least), shade, Vector256<float>.Zero);
        }
        var hidden = Vector256.Min(Vector256<float>.One, Vector256.Create(1.5f) * sum / Vector256.Create((float)Pairs));
        Vector256.ConditionalSelect(open, Vector256<float>.Zero, hidden).StoreUnsafe(ref result[at]);
    }

    private static Vector256<float> Rise(Vector256<float> rise, float most) => Vector256.ConditionalSelect(
        Vector256.GreaterThan(rise, Vector256.Create(most)),
        Vector256.Max(Vector256<float>.Zero, Vector256.Create(2 * most) - rise),
        Vector256.Max(rise, Vector256.Create(-most)));

    /// <summary>How much nearer to the viewer a neighbour is; far behind or beyond the border it counts as a fall that bounds the pair.</summary>
    private static float Rise(float[] depth, int w, int h, int x, int y, float d, float most)
    {
        if ((uint)x >= (uint)w || (uint)y >= (uint)h) return -most;
        var rise = depth[y * w + x] - d;
        // Something far in front (a strut before the figure) throws no shade on what lies well behind it.
        return rise > most ? Math.Max(0, 2 * most - rise) : Math.Max(rise, -most);
    }

    private static (int X, int Y, float Length)[] Spiral(double reach)
    {
        var o = new (int, int, float)[Pairs];
        for (var i = 0; i < Pairs; i++)
        {
            // Angles by the golden section over half a turn: the opposite sample covers the other half.
            var angle = Math.PI * (i * 0.6180339887498949 % 1);
            var r = reach * (0.18 + 0.82 * (i + 0.5) / Pairs);
            int x = (int)Math.Round(r * Math.Cos(angle)), y = (int)Math.Round(r * Math.Sin(angle));
            o[i] = (x, y, (float)Math.Sqrt(x * x + y * y));
        }
        return o;
    }
}
