using System.Buffers;
using System.Runtime.CompilerServices;

namespace Stiltwright.Geometry.Rendering;

/// <summary>
/// Parts as they land on the picture: vertices in fixed point (1/256 of a sample, so that two triangles that share an edge
/// agree exactly which samples are whose) and triangles sorted into bands of rows, in their order.
/// </summary>
internal sealed class Projected
{
    internal const int SubBits = 8, Sub = 1 << SubBits, BandRows = 32;
    private const int Chunks = 32;
    private const double MostFixed = 1 << 29;

    // A first band behind the last.
    private const int None = 1;

    private readonly int _width, _height;

    /// <summary>First triangle number of each part, and the sum at the end.</summary>
    internal readonly int[] Start;
    internal readonly int[][] X, Y;

    /// <summary>Corners of the triangles of each part.</summary>
    internal readonly int[][] Corners;
    internal readonly float[][] Depth;
    internal readonly IReadOnlyList<RenderPart> Parts;
    internal readonly int Bands;

    /// <summary>Triangles of band b: <see cref="BandTriangles"/> from BandStart[b] to BandStart[b + 1].</summary>
    internal readonly int[] BandStart;
    internal readonly int[] BandTriangles;

    internal Projected(IReadOnlyList<RenderPart> parts, Camera camera, int sampleWidth, int sampleHeight, ParallelOptions options)
    {
        Parts = parts;
        _width = sampleWidth;
        _height = sampleHeight;
        Bands = (sampleHeight + BandRows - 1) / BandRows;
        Start = new int[parts.Count + 1];
        Corners = [.. parts.Select(p => p.Mesh.CornersArray)];
        X = new int[parts.Count][];
        Y = new int[parts.Count][];
        Depth = new float[parts.Count][];
        for (var p = 0; p < parts.Count; p++)
        {
            Start[p + 1] = Start[p] + parts[p].Mesh.TriangleCount;
            Place(p, camera, options);
        }
        (BandStart, BandTriangles) = SortIntoBands(options);
    }

    /// <summary>The part that a triangle number belongs to, searching upwards from <paramref name="hint"/>.</summary>
    internal int PartOf(int triangle, int hint)
    {
        while (triangle >= Start[hint + 1]) hint++;
        return hint;
    }

    private void Place(int p, Camera camera, ParallelOptions options)
    {
        var mesh = Parts[p].Mesh;
        int n = mesh.VertexCount;
        int[] x = new int[n], y = new int[n];
        var depth = new float[n];
        var xyz = mesh.XyzArray;
        // One affine map from lattice units to fixed point: Sub x 2 samples a pixel.
        double k = 2.0 * Sub * camera.PixelsPerMm, u = mesh.Lattice.UnitMm;
        Vec3 r = camera.Right * (k * u), up = camera.Up * (-k * u), t = camera.Toward * u;
        double x0 = _width * (Sub / 2) - camera.Centre.Dot(camera.Right) * k, y0 = _height * (Sub / 2) + camera.Centre.Dot(camera.Up) * k;
        Parallel.For(0, (n + 65535) / 65536, options, block =>
        {
            for (var v = block * 65536; v < Math.Min(n, block * 65536 + 65536); v++)
            {
                double vx = xyz[3 * v], vy = xyz[3 * v + 1], vz = xyz[3 * v + 2];
                double fx = x0 + vx * r.X + vy * r.Y + vz * r.Z, fy = y0 + vx * up.X + vy * up.Y + vz * up.Z;
                if (!(Math.Abs(fx) < MostFixed && Math.Abs(fy) < MostFixed))
                    throw new ArgumentException($"Vertex {v} lands too far beside the picture; the camera is too near.", nameof(camera));
                x[v] = (int)Math.Round(fx);
                y[v] = (int)Math.Round(fy);
                depth[v] = (float)(vx * t.X + vy * t.Y + vz * t.Z);
            }
        });
        (X[p], Y[p], Depth[p]) = (x, y, depth);
    }

    private (int[] Start, int[] Triangles) SortIntoBands(ParallelOptions options)
    {
        var total = Start[^1];
        var counts = new int[Chunks][];
        var bandsOf = ArrayPool<int>.Shared.Rent(Math.Max(1, total));
        Parallel.For(0, Chunks, options, c =>
        {
            counts[c] = new int[Bands];
            FindBands(From(c), From(c + 1), bandsOf, counts[c]);
        });
        var start = new int[Bands + 1];
        var at = new int[Chunks][];
        for (var c = 0; c < Chunks; c++) at[c] = new int[Bands];
        var sum = 0;
        for (var b = 0; b < Bands; b++)
        {
            start[b] = sum;
            for (var c = 0; c < Chunks; c++)
            {
                at[c][b] = sum;
                sum = checked(sum + counts[c][b]);
            }
        }
        start[Bands] = sum;
        var triangles = new int[sum];
        Parallel.For(0, Chunks, options, c =>
        {
            var next = at[c];
            for (var t = From(c); t < From(c + 1); t++)
                for (var b = bandsOf[t] & 0xFFFF; b <= bandsOf[t] >> 16; b++) triangles[next[b]++] = t;
        });
        ArrayPool<int>.Shared.Return(bandsOf);
        return (start, triangles);

        int From(int chunk) => (int)((long)total * chunk / Chunks);
    }

    /// <summary>First band of each triangle, and the last one times 2^16 (<see cref="None"/> where it cannot cover a sample), and how many each band gets.</summary>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private void FindBands(int from, int to, int[] bandsOf, int[] count)
    {
        if (from >= to) return;
        var p = PartOf(from, 0);
        for (var t = from; t < to; t++)
        {
            p = PartOf(t, p);
            bandsOf[t] = None;
            var corners = Corners[p];
            var i = 3 * (t - Start[p]);
            int[] x = X[p], y = Y[p];
            int a = corners[i], b = corners[i + 1], c = corners[i + 2];
            // First and last sample (centres at half a sample) within the box; none means nothing can be covered.
            int yLow = FirstSample(Math.Min(y[a], Math.Min(y[b], y[c]))), yHigh = LastSample(Math.Max(y[a], Math.Max(y[b], y[c])));
            if (yLow > yHigh || yHigh < 0 || yLow >= _height) continue;
            int xLow = FirstSample(Math.Min(x[a], Math.Min(x[b], x[c]))), xHigh = LastSample(Math.Max(x[a], Math.Max(x[b], x[c])));
            if (xLow > xHigh || xHigh < 0 || xLow >= _width) continue;
            int first = Math.Max(yLow, 0) / BandRows, last = Math.Min(yHigh, _height - 1) / BandRows;
            bandsOf[t] = last << 16 | first;
            for (var band = first; band <= last; band++) count[band]++;
        }
    }

    /// <summary>First sample whose centre is at or after a fixed-point coordinate.</summary>
    internal static int FirstSample(int f) => (f - Sub / 2 + Sub - 1) >> SubBits;

    /// <summary>Last sample whose centre is at or before a fixed-point coordinate.</summary>
    internal static int LastSample(int f) => (f - Sub / 2) >> SubBits;
}
