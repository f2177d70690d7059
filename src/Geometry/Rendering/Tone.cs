using System.Runtime.CompilerServices;

namespace Stiltwright.Geometry.Rendering;

/// <summary>A colour, 0..255 each, sRGB.</summary>
public readonly record struct Rgb(byte R, byte G, byte B)
{
    /// <summary>Between two colours: 0 is <paramref name="a"/>, 1 is <paramref name="b"/>.</summary>
    public static Rgb Mix(Rgb a, Rgb b, double t)
    {
        t = Math.Clamp(t, 0, 1);
        return new((byte)(a.R + (b.R - a.R) * t + 0.5), (byte)(a.G + (b.G - a.G) * t + 0.5), (byte)(a.B + (b.B - a.B) * t + 0.5));
    }
}

/// <summary>
/// How a surface looks from shadow to light, and in a section. The tones differ in lightness first, so that they stay
/// apart for a person who does not see all colours, and on a black-and-white print.
/// </summary>
/// <param name="Dark">In shadow.</param>
/// <param name="Mid">Half lit.</param>
/// <param name="Light">In full light.</param>
/// <param name="Cut">Where a section cuts the solid.</param>
public sealed record Tone(Rgb Dark, Rgb Mid, Rgb Light, Rgb Cut)
{
    /// <summary>The ground of all pictures.</summary>
    public static readonly Rgb Paper = new(0xFD, 0xFB, 0xF5);

    /// <summary>Lines and letters.</summary>
    public static readonly Rgb InkLine = new(0x26, 0x32, 0x3C);

    /// <summary>Plain clay.</summary>
    public static readonly Tone Clay = new(new(0x66, 0x48, 0x35), new(0xC2, 0x9B, 0x78), new(0xF1, 0xE0, 0xCB), new(0xA8, 0x76, 0x4C));

    /// <summary>Ink, for thin things that must stand out.</summary>
    public static readonly Tone Ink = new(new(0x17, 0x22, 0x2D), new(0x3C, 0x4E, 0x60), new(0x8B, 0x9A, 0xA8), new(0x20, 0x2B, 0x36));

    /// <summary>Grey of thick paper.</summary>
    public static readonly Tone Card = new(new(0x86, 0x82, 0x78), new(0xB6, 0xB1, 0xA5), new(0xDF, 0xDA, 0xCE), new(0x97, 0x92, 0x86));

    /// <summary>Clear blue, for hollows.</summary>
    public static readonly Tone Water = new(new(0x1B, 0x47, 0x66), new(0x4F, 0x8D, 0xB4), new(0xB5, 0xD5, 0xE6), new(0x4F, 0x8D, 0xB4));
}

/// <summary>
/// One thing in a picture. Corner normals are worked out once and kept, so several pictures of a part cost little more
/// than one.
/// </summary>
public sealed class RenderPart
{
    private readonly Lazy<float[]> _normals;

    /// <summary>Describes a part.</summary>
    /// <param name="mesh">Its surface; corners counter-clockwise from outside.</param>
    /// <param name="tone">Its colours.</param>
    public RenderPart(Mesh mesh, Tone tone)
    {
        Mesh = mesh;
        Tone = tone;
        _normals = new Lazy<float[]>(() => CornerNormals.OfVertices(mesh));
    }

    /// <summary>The surface.</summary>
    public Mesh Mesh { get; }

    /// <summary>The colours.</summary>
    public Tone Tone { get; }

    /// <summary>1 is solid; less lets what lies behind shine through (more so where it is seen square on).</summary>
    public double Opacity { get; init; } = 1;

    /// <summary>
    /// Parts of one group are one solid for a section: what is filled is where their winding numbers add up to 1 or more. 0..3;
    /// where groups overlap the lower number shows.
    /// </summary>
    public int CutGroup { get; init; }

    /// <summary>True to shade by smooth normals that break at creases; false for plain facets.</summary>
    public bool Smooth { get; init; } = true;

    internal float[] VertexNormals => _normals.Value;
}

/// <summary>Normals for shading.</summary>
internal static class CornerNormals
{
    /// <summary>Cosine of the angle (34 degrees) beyond which a corner keeps its facet's own normal: a crease.</summary>
    internal const float CreaseCosine = 0.83f;

    /// <summary>Sums of the area vectors around each vertex, as unit vectors: x, y, z each.</summary>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    internal static float[] OfVertices(Mesh mesh)
    {
        var n = new float[3 * mesh.VertexCount];
        var xyz = mesh.XyzArray;
        var corners = mesh.CornersArray;
        for (var i = 0; i < corners.Length; i += 3)
        {
            int a = 3 * corners[i], b = 3 * corners[i + 1], c = 3 * corners[i + 2];
            float ux = xyz[b] - xyz[a], uy = xyz[b + 1] - xyz[a + 1], uz = xyz[b + 2] - xyz[a + 2];
            float vx = xyz[c] - xyz[a], vy = xyz[c + 1] - xyz[a + 1], vz = xyz[c + 2] - xyz[a + 2];
            float nx = uy * vz - uz * vy, ny = uz * vx - ux * vz, nz = ux * vy - uy * vx;
            n[a] += nx; n[a + 1] += ny; n[a + 2] += nz;
            n[b] += nx; n[b + 1] += ny; n[b + 2] += nz;
            n[c] += nx; n[c + 1] += ny; n[c + 2] += nz;
        }
        for (var i = 0; i < n.Length; i += 3)
        {
            var l = MathF.Sqrt(n[i] * n[i] + n[i + 1] * n[i + 1] + n[i + 2] * n[i + 2]);
            if (l > 0) { n[i] /= l; n[i + 1] /= l; n[i + 2] /= l; }
        }
        return n;
    }
}
