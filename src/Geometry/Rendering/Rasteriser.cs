namespace Stiltwright.Geometry.Rendering;

/// <summary>
/// Draws meshes into pictures, in software: nearest surface at 2 x 2 samples a pixel, then shading, obscurance in creases
/// and ink outlines from what the samples hold. The same parts and camera give the same bytes on any number of threads.
/// </summary>
public static class Rasteriser
{
    /// <summary>Most pixels of a picture on a side.</summary>
    public const int MostPixels = 8192;

    /// <summary>
    /// Draws parts. Solid parts hide each other; see-through ones are laid over them, the nearest see-through surface only.
    /// Takes any mesh; a section (<see cref="Camera.CutDepth"/>) is filled rightly where the meshes of each group are closed. <paramref name="mostThreads"/> -1 takes all cores.
    /// </summary>
    /// <exception cref="ArgumentException">The size is beyond <see cref="MostPixels"/>, or the camera is absurdly near.</exception>
    public static Image Render(IReadOnlyList<RenderPart> parts, Camera camera, int width, int height, CancellationToken cancel = default, int mostThreads = -1)
    {
        ArgumentOutOfRangeException.ThrowIfGreaterThan(width, MostPixels);
        ArgumentOutOfRangeException.ThrowIfGreaterThan(height, MostPixels);
        foreach (var p in parts)
            if (p.CutGroup is < 0 or > 3) throw new ArgumentException("Cut groups are 0 to 3.", nameof(parts));
        var options = new ParallelOptions { CancellationToken = cancel, MaxDegreeOfParallelism = mostThreads };
        var solid = Layer([.. parts.Where(p => p.Opacity >= 1)], camera, width, height, camera.CutDepth, options);
        var clear = parts.Where(p => p.Opacity < 1).ToList();
        var over = clear.Count == 0 ? null : Layer(clear, camera, width, height, null, options);
        var image = new Image(width, height) { Samples = solid.Samples };
        Shading.Paint(image, camera, solid, over, options);
        over?.Samples.Release();
        return image;
    }

    private static Layer Layer(IReadOnlyList<RenderPart> parts, Camera camera, int width, int height, double? cut, ParallelOptions options)
    {
        options.CancellationToken.ThrowIfCancellationRequested();
        var scene = new Projected(parts, camera, 2 * width, 2 * height, options);
        var samples = new SampleBuffer(2 * width, 2 * height);
        SampleFiller.Fill(scene, samples, cut, options);
        return new Layer(scene, samples);
    }
}

/// <summary>Parts and what is seen of them.</summary>
internal sealed record Layer(Projected Scene, SampleBuffer Samples);
