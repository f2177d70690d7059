namespace Stiltwright.Geometry.Layers;

/// <summary>A region of a layer under which the layer below has no solid pixel.</summary>
/// <param name="Layer">Layer number from 0.</param>
/// <param name="Pixels">Its pixels.</param>
/// <param name="At">Middle of its first run on the layer's plane, mm.</param>
public readonly record struct ScanIsland(int Layer, int Pixels, Vec3 At);

/// <summary>
/// All layers of a part at the printer's own pixels, straight from its triangles: solid pixels, regions and islands of each. Layer k is the
/// solid at z = z0 + (k + 1/2) LayerMm, pixel (i, j) is solid where the shells wind once or more around its centre
/// (x0 + (i + 1/2) PixelMm, y0 + (j + 1/2) PixelMm); the origin is the least corner of the part's box. Regions hold together over sides and
/// corners of pixels. <see cref="LayerStack"/> knows more (bodies, voids, cups) of coarser columns; this is the fast check at full sharpness.
/// <para>How: each triangle is run through its layers; where its section passes a row of pixel centres, the row gets a crossing. Two triangles with a
/// common edge reckon its places from the same end, bit for bit alike, so every closed shell enters a row as often as it leaves it. Layers
/// are independent but for the islands, so both cores work on blocks of layers, and the result does not depend on their number.</para>
/// </summary>
public sealed class LayerScan
{
    private LayerScan(double layerMm, double pixelMm, int nx, int ny, long[] pixels, int[] regions, IReadOnlyList<ScanIsland> islands) =>
        (LayerMm, PixelMm, Nx, Ny, Pixels, Regions, Islands) = (layerMm, pixelMm, nx, ny, pixels, regions, islands);

    /// <summary>Thickness of a layer, mm.</summary>
    public double LayerMm { get; }

    /// <summary>Edge of a pixel, mm.</summary>
    public double PixelMm { get; }

    /// <summary>Pixels along x.</summary>
    public int Nx { get; }

    /// <summary>Pixels along y.</summary>
    public int Ny { get; }

    /// <summary>Number of layers.</summary>
    public int Count => Pixels.Length;

    /// <summary>Solid pixels of each layer. Never write to it.</summary>
    public long[] Pixels { get; }

    /// <summary>Regions of each layer. Never write to it.</summary>
    public int[] Regions { get; }

    /// <summary>Regions that begin in mid-air, by layer; those of layer 0 stand on the platform and are none.</summary>
    public IReadOnlyList<ScanIsland> Islands { get; }

    /// <summary>Solid area of a layer, mm2.</summary>
    public double AreaMm2(int layer) => Pixels[layer] * PixelMm * PixelMm;

    /// <summary>Volume of all layers, mm3.</summary>
    public double VolumeMm3 => Pixels.Sum() * PixelMm * PixelMm * LayerMm;

    // Layers of one block.
    private const int BlockLayers = 32;

    /// <summary>Scans a part.</summary>
    /// <param name="mesh">Closed shells, outwards where solid.</param>
    /// <param name="layerMm">Thickness of a layer, mm.</param>
    /// <param name="pixelMm">Edge of a pixel, mm.</param>
    /// <param name="cancel">Stops the work.</param>
    /// <exception cref="ArgumentException">A length is not above zero, or there would be more than 16,384 pixels along a side or 1,000,000 layers.</exception>
    public static LayerScan Of(Mesh mesh, double layerMm, double pixelMm, CancellationToken cancel = default)
    {
        ArgumentNullException.ThrowIfNull(mesh);
        if (!(layerMm > 0) || !(pixelMm > 0)) throw new ArgumentException($"Layers of {layerMm} mm and pixels of {pixelMm} mm: both must be above zero.");
        if (mesh.TriangleCount == 0) return new LayerScan(layerMm, pixelMm, 0, 0, [], [], []);
        var box = mesh.Bounds;
        var (nx, ny, nz) = (Math.Ceiling(box.Size.X / pixelMm), Math.Ceiling(box.Size.Y / pixelMm), Math.Ceiling(box.Size.Z / layerMm));
        if (nx > 16_384 || ny > 16_384 || nz > 1_000_000)
            throw new ArgumentException($"{nx:0} x {ny:0} pixels in {nz:0} layers are too many; choose larger pixels or layers.", nameof(pixelMm));
        var layers = (int)nz;
        if (layers == 0) return new LayerScan(layerMm, pixelMm, (int)nx, (int)ny, [], [], []);

        // Vertices in pixels and layers, counted from centres and planes; first layer whose plane is not below the vertex.
        var u = mesh.Lattice.UnitMm;
        var places = GC.AllocateUninitializedArray<double>(3 * mesh.VertexCount);
        var layerOf = GC.AllocateUninitializedArray<int>(mesh.VertexCount);
        var xyz = mesh.XyzArray;
        Ranges.For(mesh.VertexCount, (_, from, to) =>
        {
            for (var v = from; v < to; v++)
            {
                places[3 * v] = (xyz[3 * v] * u - box.Min.X) / pixelMm - 0.5;
                places[3 * v + 1] = (xyz[3 * v + 1] * u - box.Min.Y) / pixelMm - 0.5;
                var z = (xyz[3 * v + 2] * u - box.Min.Z) / layerMm - 0.5;
                places[3 * v + 2] = z;
                layerOf[v] = (int)Math.Ceiling(z);
            }
        });

        var blocks = (layers + BlockLayers - 1) / BlockLayers;
        var (starts, triangles) = Sorted(mesh.CornersArray, layerOf, layers, blocks);
        var pixels = new long[layers];
        var regions = new int[layers];
        var islands = new List<(int Layer, int Pixels, int X, int Y)>[blocks];
        var spare = new System.Collections.Concurrent.ConcurrentBag<LayerRaster>();
        Parallel.For(0, blocks, new ParallelOptions { CancellationToken = cancel, MaxDegreeOfParallelism = Environment.ProcessorCount }, b =>
        {
            if (!spare.TryTake(out var raster)) raster = new LayerRaster(places, layerOf, mesh.CornersArray, (int)nx, (int)ny, BlockLayers + 1);
            var first = b * BlockLayers;
            islands[b] = raster.Scan(triangles.AsSpan(starts[b], starts[b + 1] - starts[b]), first, Math.Min(layers, first + BlockLayers), pixels, regions);
            spare.Add(raster);
        });
        return new LayerScan(layerMm, pixelMm, (int)nx, (int)ny, pixels, regions,
            [.. islands.SelectMany(i => i).Select(i => new ScanIsland(i.Layer, i.Pixels, new Vec3(box.Min.X + (i.X + 0.5) * pixelMm, box.Min.Y + (i.Y + 0.5) * pixelMm, box.Min.Z + (i.Layer + 0.5) * layerMm)))]);
    }

    // Triangles of each block, which also needs the layer below its first.
    private static (int[] Starts, int[] Triangles) Sorted(int[] corners, int[] layerOf, int layers, int blocks)
    {
        var n = corners.Length / 3;
        var ranges = Ranges.Count(n);
        var counts = new int[ranges * blocks];
        Ranges.For(n, (r, from, to) =>
        {
            for (var t = from; t < to; t++)
                if (Blocks(corners, layerOf, layers, t, out var first, out var last))
                    for (var b = first; b <= last; b++) counts[r * blocks + b]++;
        });
        var starts = new int[blocks + 1];
        var at = 0;
        for (var b = 0; b < blocks; b++)
        {
            starts[b] = at;
            for (var r = 0; r < ranges; r++) (counts[r * blocks + b], at) = (at, at + counts[r * blocks + b]);
        }
        starts[blocks] = at;
        var triangles = GC.AllocateUninitializedArray<int>(at);
        Ranges.For(n, (r, from, to) =>
        {
            for (var t = from; t < to; t++)
                if (Blocks(corners, layerOf, layers, t, out var first, out var last))
                    for (var b = first; b <= last; b++) triangles[counts[r * blocks + b]++] = t;
        });
        return (starts, triangles);
    }

    private static bool Blocks(int[] corners, int[] layerOf, int layers, int t, out int first, out int last)
    {
        int a = layerOf[corners[3 * t]], b = layerOf[corners[3 * t + 1]], c = layerOf[corners[3 * t + 2]];
        int low = Math.Max(0, Math.Min(a, Math.Min(b, c))), high = Math.Min(layers, Math.Max(a, Math.Max(b, c)));
        first = low / BlockLayers;
        last = Math.Min(high / BlockLayers, (layers - 1) / BlockLayers); // a layer that ends a block is also the one below the next
        return low < high;
    }
}
