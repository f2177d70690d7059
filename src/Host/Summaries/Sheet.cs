using Stiltwright.Geometry;
using Stiltwright.Geometry.Rendering;

namespace Stiltwright.Host.Summaries;

/// <summary>One picture on paper: parts, camera, marks with their words, a measure of length at the foot.</summary>
internal sealed class Sheet
{
    internal const double Letters = 21;
    private const int MostWidth = 1600, MostHeight = 1400, LeastWidth = 800, LeastHeight = 600;
    private const double Foot = 66;

    private readonly List<Mark> _marks = [];
    private readonly List<string> _told = [];

    private Sheet(Image image, Camera camera)
    {
        Image = image;
        Camera = camera;
        Canvas = new Canvas(image);
    }

    internal Image Image { get; }

    internal Camera Camera { get; }

    internal Canvas Canvas { get; }

    /// <summary>What the marks stand for, mark 1 first.</summary>
    internal IReadOnlyList<string> Told => _told;

    /// <summary>
    /// Draws parts on paper trimmed to them, with room at the sides for marks with these words. <paramref name="share"/> is
    /// the part of the largest paper's sides that may be used.
    /// </summary>
    internal static Sheet Draw(IReadOnlyList<RenderPart> parts, (Vec3 Right, Vec3 Up, Vec3 Toward) frame, IReadOnlyList<string> words, double? cutDepth, CancellationToken cancel, double share = 1)
    {
        var meshes = parts.Select(p => p.Mesh).ToList();
        var seen = Camera.Extent(meshes, frame).Size;
        var margin = words.Count == 0 ? 50 : Math.Min(360, Marks.MarginFor(words, Letters));
        // As large as fits, then the paper is trimmed to what is on it; even sides, so that the small copy is exactly half.
        double mostWidth = share * MostWidth, mostHeight = share * MostHeight;
        var scale = Math.Min((mostWidth - 2 * margin) / Math.Max(seen.X, 1e-6), (mostHeight - 2 * Foot) / Math.Max(seen.Y, 1e-6));
        var w = (int)Math.Clamp(seen.X * scale + 2 * margin, LeastWidth, mostWidth) & ~1;
        var h = (int)Math.Clamp(seen.Y * scale + 2 * Foot, LeastHeight, mostHeight) & ~1;
        var camera = Camera.Fit(meshes, frame, w, h, margin, Foot) with { CutDepth = cutDepth };
        var sheet = new Sheet(Rasteriser.Render(parts, camera, w, h, cancel), camera);
        sheet.Measure();
        return sheet;
    }

    /// <summary>
    /// Marks a place. <paramref name="word"/> is drawn beside the number, <paramref name="told"/> goes under the picture. A place
    /// that lies behind something gets a dashed line.
    /// </summary>
    internal void Mark(Vec3 at, string word, string told)
    {
        var (x, y, depth) = Camera.Project(at, Image.Width, Image.Height);
        _marks.Add(new Mark(_marks.Count + 1, word, x, y, Hides(x, y, depth)));
        _told.Add(told);
    }

    /// <summary>A small cross without a number, unless the place is hidden. Returns whether it was drawn.</summary>
    internal bool Cross(Vec3 at, double arm)
    {
        var (x, y, depth) = Camera.Project(at, Image.Width, Image.Height);
        if (Hides(x, y, depth)) return false;
        Marks.Cross(Canvas, x, y, arm, Tone.InkLine);
        return true;
    }

    /// <summary>True if a place is seen from here.</summary>
    internal bool Sees(Vec3 at)
    {
        var (x, y, depth) = Camera.Project(at, Image.Width, Image.Height);
        return !Hides(x, y, depth);
    }

    /// <summary>Words at the head of the picture, in the middle.</summary>
    internal void HeadLine(string text) =>
        Canvas.Text((Image.Width - Canvas.TextWidth(text, 0.8 * Letters)) / 2, 0.5 * Foot, text, 0.8 * Letters, Tone.InkLine);

    /// <summary>Draws the marks; after this the picture is done and what was seen at each sample is forgotten.</summary>
    internal Sheet Finish()
    {
        Marks.Draw(Canvas, _marks, Letters);
        Image.Samples!.Release();
        return this;
    }

    private bool Hides(double x, double y, double depth)
    {
        var s = Image.Samples!;
        int sx = (int)Math.Floor(2 * x), sy = (int)Math.Floor(2 * y);
        if ((uint)sx >= (uint)s.Width || (uint)sy >= (uint)s.Height) return false;
        // A place on the surface is known to a few pixels at best; the allowance is for slanting surfaces too.
        var allowance = Math.Max(1.0, 8 / Camera.PixelsPerMm);
        return s.Depth[sy * s.Width + sx] > depth + allowance;
    }

    /// <summary>A length at the foot of the picture: the largest round one under a fifth of the width.</summary>
    private void Measure()
    {
        var most = Image.Width / 5.0 / Camera.PixelsPerMm;
        var mm = 1000.0;
        foreach (var round in (ReadOnlySpan<double>)[500, 200, 100, 50, 20, 10, 5, 2, 1])
            if (mm > most) mm = round;
        double length = mm * Camera.PixelsPerMm, x = 40, y = Image.Height - 26;
        Canvas.Line(x, y, x + length, y, 2.4, Tone.InkLine);
        Canvas.Line(x, y - 7, x, y + 7, 2.4, Tone.InkLine);
        Canvas.Line(x + length, y - 7, x + length, y + 7, 2.4, Tone.InkLine);
        Canvas.Text(x + length + 12, y + 7, $"{mm:0} mm", 15, Tone.InkLine);
    }
}
