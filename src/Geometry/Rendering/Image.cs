using System.Buffers;
using System.Runtime.CompilerServices;

namespace Stiltwright.Geometry.Rendering;

/// <summary>A picture: rows from the top, three bytes (red, green, blue) a pixel.</summary>
public sealed class Image
{
    /// <summary>An empty sheet of paper.</summary>
    public Image(int width, int height)
    {
        ArgumentOutOfRangeException.ThrowIfNegativeOrZero(width);
        ArgumentOutOfRangeException.ThrowIfNegativeOrZero(height);
        Width = width;
        Height = height;
        Rgb = new byte[3 * width * height];
        for (var i = 0; i < Rgb.Length; i += 3) (Rgb[i], Rgb[i + 1], Rgb[i + 2]) = (Tone.Paper.R, Tone.Paper.G, Tone.Paper.B);
    }

    /// <summary>Pixels in a row.</summary>
    public int Width { get; }

    /// <summary>Rows.</summary>
    public int Height { get; }

    /// <summary>The bytes.</summary>
    public byte[] Rgb { get; }

    /// <summary>What is seen at each of the 2 x 2 samples of a pixel; null for a picture that was not rendered.</summary>
    public SampleBuffer? Samples { get; internal init; }

    /// <summary>The picture made smaller by a whole factor, each pixel the mean of those it stands for.</summary>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    public Image Smaller(int factor)
    {
        ArgumentOutOfRangeException.ThrowIfLessThan(factor, 1);
        var small = new Image(Math.Max(1, Width / factor), Math.Max(1, Height / factor));
        for (var y = 0; y < small.Height; y++)
            for (var x = 0; x < small.Width; x++)
                for (var c = 0; c < 3; c++)
                {
                    int sum = 0, n = 0;
                    for (var dy = 0; dy < factor && y * factor + dy < Height; dy++)
                        for (var dx = 0; dx < factor && x * factor + dx < Width; dx++, n++)
                            sum += Rgb[3 * ((y * factor + dy) * Width + x * factor + dx) + c];
                    small.Rgb[3 * (y * small.Width + x) + c] = (byte)((sum + n / 2) / n);
                }
        return small;
    }

    /// <summary>Copies a picture into this one with its top left corner at a pixel; what sticks out is left off.</summary>
    public void Paste(Image other, int left, int top)
    {
        for (var y = Math.Max(0, -top); y < other.Height && y + top < Height; y++)
        {
            int x0 = Math.Max(0, -left), x1 = Math.Min(other.Width, Width - left);
            if (x1 > x0) other.Rgb.AsSpan(3 * (y * other.Width + x0), 3 * (x1 - x0)).CopyTo(Rgb.AsSpan(3 * ((y + top) * Width + left + x0)));
        }
    }
}

/// <summary>
/// What the nearest solid surface is at each sample; sample (i, j) of a w x h picture lies at pixel ((i + 0.5) / 2, (j + 0.5) / 2).
/// The arrays are large and lent by a pool: <see cref="Release"/> gives them back, after which there is nothing to read.
/// </summary>
public sealed class SampleBuffer
{
    private float[] _depth;
    private int[] _id;

    internal SampleBuffer(int width, int height)
    {
        Width = width;
        Height = height;
        _depth = ArrayPool<float>.Shared.Rent(width * height);
        _id = ArrayPool<int>.Shared.Rent(width * height);
    }

    /// <summary>Samples in a row: twice the picture's width.</summary>
    public int Width { get; private set; }

    /// <summary>Rows of samples.</summary>
    public int Height { get; private set; }

    /// <summary>Depth towards the viewer, mm; minus infinity for paper.</summary>
    public ReadOnlySpan<float> Depth => _depth.AsSpan(0, Width * Height);

    /// <summary>
    /// Triangle, counted through the solid parts in their order; -1 for paper; -2 - g where a section cuts the solid of group g.
    /// </summary>
    public ReadOnlySpan<int> Id => _id.AsSpan(0, Width * Height);

    /// <summary>The lent array itself, longer than what is used of it.</summary>
    internal float[] DepthArray => _depth;

    /// <summary>The lent array itself, longer than what is used of it.</summary>
    internal int[] IdArray => _id;

    /// <summary>Empties rows (paper everywhere), so that they can be filled.</summary>
    internal void Clear(int firstRow, int rows)
    {
        _depth.AsSpan(firstRow * Width, rows * Width).Fill(float.NegativeInfinity);
        _id.AsSpan(firstRow * Width, rows * Width).Fill(-1);
    }

    /// <summary>Gives the arrays back to the pool; the buffer is empty afterwards. Calling it again does nothing.</summary>
    public void Release()
    {
        if (Width == 0) return;
        ArrayPool<float>.Shared.Return(_depth);
        ArrayPool<int>.Shared.Return(_id);
        (_depth, _id, Width, Height) = ([], [], 0, 0);
    }
}
