using System.Runtime.CompilerServices;

namespace Stiltwright.Geometry.Rendering;

/// <summary>
/// Fills depth and triangle number of every sample: edge functions on fixed-point corners (Pineda 1988), exact in 64-bit
/// integers, with a tie rule that gives a sample on a shared edge to one triangle. Bands of rows are independent, and
/// within a band triangles come in their order, so any number of threads gives the same buffer.
/// </summary>
internal static class SampleFiller
{
    private const int Groups = 4;
    private const int Narrow = 8;

    internal static void Fill(Projected scene, SampleBuffer buffer, double? cutDepth, ParallelOptions options)
    {
        Parallel.For(0, scene.Bands, options, band =>
        {
            buffer.Clear(band * Projected.BandRows, Math.Min(Projected.BandRows, buffer.Height - band * Projected.BandRows));
            // In a section the winding number at the cut follows from counting: every surface beyond the cut that faces
            // away adds one, every one that faces the viewer takes one, and far behind everything it is zero.
            var winding = cutDepth is null ? null : new short[Groups * Projected.BandRows * buffer.Width];
            var p = 0;
            for (var k = scene.BandStart[band]; k < scene.BandStart[band + 1]; k++)
            {
                var t = scene.BandTriangles[k];
                p = scene.PartOf(t, p);
                Triangle(scene, buffer, band, p, t, (float)(cutDepth ?? double.PositiveInfinity), winding);
            }
            if (winding is not null) FillCut(buffer, band, (float)cutDepth!.Value, winding);
        });
    }

    private static void FillCut(SampleBuffer buffer, int band, float cut, short[] winding)
    {
        var cells = Projected.BandRows * buffer.Width;
        int first = band * cells, n = Math.Min(cells, buffer.Width * buffer.Height - first);
        for (var i = 0; i < n; i++)
            for (var g = 0; g < Groups; g++)
                if (winding[g * cells + i] > 0)
                {
                    buffer.IdArray[first + i] = -2 - g;
                    buffer.DepthArray[first + i] = cut;
                    break;
                }
    }

    // A job draws a few pictures in a process of its own, so the hot loops here are compiled at their best at once.
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private static void Triangle(Projected scene, SampleBuffer buffer, int band, int p, int t, float cut, short[]? winding)
    {
        var corners = scene.Corners[p];
        int[] xs = scene.X[p], ys = scene.Y[p];
        var i = 3 * (t - scene.Start[p]);
        int a = corners[i], b = corners[i + 1], c = corners[i + 2];
        var area = (long)(xs[b] - xs[a]) * (ys[c] - ys[a]) - (long)(xs[c] - xs[a]) * (ys[b] - ys[a]);
        if (area == 0) return;
        // Rows grow downwards, so a triangle that faces the viewer has negative area here.
        var facing = area < 0;
        if (facing)
        {
            (b, c) = (c, b);
            area = -area;
        }
        long x0 = xs[a], y0 = ys[a], x1 = xs[b], y1 = ys[b], x2 = xs[c], y2 = ys[c];
        int top = band * Projected.BandRows, bottom = Math.Min(top + Projected.BandRows, buffer.Height) - 1;
        var yLow = Math.Max(top, Projected.FirstSample((int)Math.Min(y0, Math.Min(y1, y2))));
        var yHigh = Math.Min(bottom, Projected.LastSample((int)Math.Max(y0, Math.Max(y1, y2))));
        var xLow = Math.Max(0, Projected.FirstSample((int)Math.Min(x0, Math.Min(x1, x2))));
        var xHigh = Math.Min(buffer.Width - 1, Projected.LastSample((int)Math.Max(x0, Math.Max(x1, x2))));
        if (xLow > xHigh || yLow > yHigh) return;

        long px = ((long)xLow << Projected.SubBits) + Projected.Sub / 2, py = ((long)yLow << Projected.SubBits) + Projected.Sub / 2;
        var e0 = Edge(x1, y1, x2, y2, px, py);
        var e1 = Edge(x2, y2, x0, y0, px, py);
        var e2 = Edge(x0, y0, x1, y1, px, py);
        long dx0 = -(y2 - y1) * Projected.Sub, dx1 = -(y0 - y2) * Projected.Sub, dx2 = -(y1 - y0) * Projected.Sub;
        long dy0 = (x2 - x1) * Projected.Sub, dy1 = (x0 - x2) * Projected.Sub, dy2 = (x1 - x0) * Projected.Sub;

        var depth = buffer.DepthArray;
        var id = buffer.IdArray;
        var narrow = xHigh - xLow < Narrow;
        if (narrow && Missed(e0, e1, e2, dx0, dx1, dx2, dy0, dy1, dy2, xHigh - xLow, yHigh - yLow)) return;
        var depths = scene.Depth[p];
        double z0 = depths[a], inverse = 1.0 / area, za = depths[b] - z0, zb = depths[c] - z0;
        var slopeX = (za * (y2 - y0) - zb * (y1 - y0)) * inverse;
        var slopeY = (zb * (x1 - x0) - za * (x2 - x0)) * inverse;
        var zRow = z0 + slopeX * (px - x0) + slopeY * (py - y0);
        double stepX = slopeX * Projected.Sub, stepY = slopeY * Projected.Sub;

        var group = winding is null ? 0 : scene.Parts[p].CutGroup * Projected.BandRows * buffer.Width - top * buffer.Width;
        for (var y = yLow; y <= yHigh; y++, e0 += dy0, e1 += dy1, e2 += dy2, zRow += stepY)
        {
            int from = 0, to = xHigh - xLow;
            if (narrow)
            {
                // Few samples are tried one by one faster than the ends of their run are worked out.
                while (from <= to && (e0 + from * dx0 | e1 + from * dx1 | e2 + from * dx2) < 0) from++;
                while (to >= from && (e0 + to * dx0 | e1 + to * dx1 | e2 + to * dx2) < 0) to--;
            }
            else if (!Span(e0, dx0, ref from, ref to) || !Span(e1, dx1, ref from, ref to) || !Span(e2, dx2, ref from, ref to)) continue;
            var row = y * buffer.Width + xLow;
            for (var k = from; k <= to; k++)
            {
                var z = (float)(zRow + k * stepX);
                if (z > cut) continue;
                if (winding is not null) winding[group + row + k] += facing ? (short)-1 : (short)1;
                if (z <= depth[row + k]) continue;
                depth[row + k] = z;
                id[row + k] = t;
            }
        }
    }

    // True if no sample lies in the triangle: of small ones that is most.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static bool Missed(long e0, long e1, long e2, long dx0, long dx1, long dx2, long dy0, long dy1, long dy2, int columns, int rows)
    {
        if (rows >= Narrow) return false;
        for (var j = 0; j <= rows; j++, e0 += dy0, e1 += dy1, e2 += dy2)
        {
            long f0 = e0, f1 = e1, f2 = e2;
            for (var i = 0; i <= columns; i++, f0 += dx0, f1 += dx1, f2 += dx2)
                if ((f0 | f1 | f2) >= 0) return false;
        }
        return true;
    }

    /// <summary>Twice the signed area of an edge and a sample, made one less where a sample on the edge belongs to the neighbour.</summary>
    private static long Edge(long ax, long ay, long bx, long by, long px, long py)
    {
        long ex = bx - ax, ey = by - ay;
        var mine = ey < 0 || ey == 0 && ex > 0;
        return ex * (py - ay) - ey * (px - ax) - (mine ? 0 : 1);
    }

    /// <summary>Narrows a run of steps k to those with e + k d >= 0; false where none is left.</summary>
    private static bool Span(long e, long d, ref int from, ref int to)
    {
        if (d == 0) return e >= 0;
        if (d > 0)
        {
            if (e < 0)
            {
                var k = (-e + d - 1) / d;
                if (k > to) return false;
                if (k > from) from = (int)k;
            }
        }
        else
        {
            if (e < 0) return false;
            var k = e / -d;
            if (k < to) to = (int)k;
        }
        return from <= to;
    }
}
