namespace Stiltwright.Geometry.Rendering;

/// <summary>Draws lines and letters into a picture, with smooth edges. Places are pixels from the top left, not rounded.</summary>
/// <param name="image">The picture.</param>
public sealed class Canvas(Image image)
{
    /// <summary>Width of a letter's strokes as a share of its height.</summary>
    private const double StrokeShare = 0.13;

    /// <summary>The picture.</summary>
    public Image Image { get; } = image;

    /// <summary>A straight stroke with round ends.</summary>
    public void Line(double x0, double y0, double x1, double y1, double width, Rgb colour)
    {
        var r = width / 2;
        int left = Math.Max(0, (int)Math.Floor(Math.Min(x0, x1) - r - 1)), right = Math.Min(Image.Width - 1, (int)Math.Ceiling(Math.Max(x0, x1) + r + 1));
        int top = Math.Max(0, (int)Math.Floor(Math.Min(y0, y1) - r - 1)), bottom = Math.Min(Image.Height - 1, (int)Math.Ceiling(Math.Max(y0, y1) + r + 1));
        double dx = x1 - x0, dy = y1 - y0, length2 = dx * dx + dy * dy;
        for (var y = top; y <= bottom; y++)
        {
            var (from, to) = (left, right);
            if (Math.Abs(dy) > 1)
            {
                // Of a long slanting stroke only a few pixels a row are near it.
                double c = x0 + dx * (y + 0.5 - y0) / dy, reach = (r + 1.5) * Math.Sqrt(length2) / Math.Abs(dy) + 1;
                from = Math.Max(left, (int)Math.Floor(Math.Max(c - reach, left)));
                to = Math.Min(right, (int)Math.Ceiling(Math.Min(c + reach, right)));
            }
            for (var x = from; x <= to; x++)
            {
                double px = x + 0.5 - x0, py = y + 0.5 - y0;
                var t = length2 > 0 ? Math.Clamp((px * dx + py * dy) / length2, 0, 1) : 0;
                var d = Math.Sqrt((px - t * dx) * (px - t * dx) + (py - t * dy) * (py - t * dy));
                Blend(x, y, colour, Math.Clamp(r + 0.5 - d, 0, 1));
            }
        }
    }

    /// <summary>A straight line of dashes.</summary>
    public void Dashes(double x0, double y0, double x1, double y1, double width, double dash, Rgb colour)
    {
        var length = Math.Sqrt((x1 - x0) * (x1 - x0) + (y1 - y0) * (y1 - y0));
        for (var at = 0.0; at < length; at += 2 * dash)
        {
            double a = at / length, b = Math.Min(at + dash, length) / length;
            Line(x0 + (x1 - x0) * a, y0 + (y1 - y0) * a, x0 + (x1 - x0) * b, y0 + (y1 - y0) * b, width, colour);
        }
    }

    /// <summary>A filled rectangle.</summary>
    public void Fill(double left, double top, double width, double height, Rgb colour, double cover = 1)
    {
        for (var y = Math.Max(0, (int)Math.Round(top)); y < Math.Min(Image.Height, (int)Math.Round(top + height)); y++)
            for (var x = Math.Max(0, (int)Math.Round(left)); x < Math.Min(Image.Width, (int)Math.Round(left + width)); x++)
                Blend(x, y, colour, cover);
    }

    /// <summary>
    /// A line of text in our stroke letters (capitals, digits and common signs; small letters are drawn as capitals), with
    /// its left end at x and its base line at y. What has no letter is drawn as an empty box.
    /// </summary>
    public void Text(double x, double y, string text, double height, Rgb colour)
    {
        var unit = height / StrokeLetters.Height;
        foreach (var c in text)
        {
            foreach (var stroke in StrokeLetters.Of(c))
                for (var i = 0; i + 1 < stroke.Length; i++)
                    Line(x + stroke[i].X * unit, y - height + stroke[i].Y * unit, x + stroke[i + 1].X * unit, y - height + stroke[i + 1].Y * unit, height * StrokeShare, colour);
            x += StrokeLetters.Advance(c) * unit;
        }
    }

    /// <summary>Width of a line of text, pixels.</summary>
    public static double TextWidth(string text, double height)
    {
        double sum = 0;
        foreach (var c in text) sum += StrokeLetters.Advance(c);
        return Math.Max(0, sum - StrokeLetters.Gap) * height / StrokeLetters.Height;
    }

    private void Blend(int x, int y, Rgb colour, double cover)
    {
        if (cover <= 0) return;
        var at = 3 * (y * Image.Width + x);
        var c = Rgb.Mix(new Rgb(Image.Rgb[at], Image.Rgb[at + 1], Image.Rgb[at + 2]), colour, cover);
        (Image.Rgb[at], Image.Rgb[at + 1], Image.Rgb[at + 2]) = (c.R, c.G, c.B);
    }
}

/// <summary>Our own letters, drawn with a pen on a grid four wide and six high; the base line is at six.</summary>
internal static class StrokeLetters
{
    internal const double Height = 6, Gap = 2;

    // Each stroke is a run of points "xy"; strokes of a letter are parted by commas.
    private static readonly Dictionary<char, string> Strokes = new()
    {
        ['A'] = "06 20 46,14 34",
        ['B'] = "00 06 36 45 44 33 03,00 30 41 42 33",
        ['C'] = "41 30 10 01 05 16 36 45",
        ['D'] = "00 06 26 44 42 20 00",
        ['E'] = "40 00 06 46,03 33",
        ['F'] = "40 00 06,03 33",
        ['G'] = "41 30 10 01 05 16 36 45 43 23",
        ['H'] = "00 06,40 46,03 43",
        ['I'] = "10 30,20 26,16 36",
        ['J'] = "40 45 36 16 05",
        ['K'] = "00 06,40 03 46",
        ['L'] = "00 06 46",
        ['M'] = "06 00 23 40 46",
        ['N'] = "06 00 46 40",
        ['O'] = "10 30 41 45 36 16 05 01 10",
        ['P'] = "06 00 30 41 42 33 03",
        ['Q'] = "10 30 41 45 36 16 05 01 10,24 46",
        ['R'] = "06 00 30 41 42 33 03,23 46",
        ['S'] = "41 30 10 01 02 13 33 44 45 36 16 05",
        ['T'] = "00 40,20 26",
        ['U'] = "00 05 16 36 45 40",
        ['V'] = "00 26 40",
        ['W'] = "00 16 23 36 40",
        ['X'] = "00 46,40 06",
        ['Y'] = "00 23 40,23 26",
        ['Z'] = "00 40 06 46",
        ['0'] = "10 30 41 45 36 16 05 01 10",
        ['1'] = "11 20 26,16 36",
        ['2'] = "01 10 30 41 42 06 46",
        ['3'] = "01 10 30 41 42 33 44 45 36 16 05,13 33",
        ['4'] = "36 30 04 44",
        ['5'] = "40 00 02 32 43 45 36 16 05",
        ['6'] = "30 10 01 05 16 36 45 44 33 03",
        ['7'] = "00 40 16",
        ['8'] = "13 02 01 10 30 41 42 33 13 04 05 16 36 45 44 33",
        ['9'] = "43 13 02 01 10 30 41 45 36 16",
        ['.'] = "26 26",
        [','] = "26 17",
        ['-'] = "13 33",
        [':'] = "22 22,25 25",
        ['/'] = "06 40",
        ['%'] = "06 40,01 01,45 45",
        ['('] = "30 11 15 36",
        [')'] = "10 31 35 16",
        ['+'] = "03 43,21 25",
        ['='] = "02 42,04 44",
        ['\''] = "20 21",
        ['<'] = "41 03 45",
        ['>'] = "01 43 05",
    };

    private static readonly Dictionary<char, (double X, double Y)[][]> Parsed = Strokes.ToDictionary(s => s.Key, s => Parse(s.Value));
    private static readonly (double X, double Y)[][] Box = Parse("00 40 46 06 00");

    internal static (double X, double Y)[][] Of(char c)
    {
        c = char.ToUpperInvariant(c);
        return c == ' ' ? [] : Parsed.GetValueOrDefault(c, Box);
    }

    internal static double Advance(char c) => c switch { ' ' => 3.4, '.' or ',' or ':' or '\'' => 4, _ => 4 + Gap };

    private static (double X, double Y)[][] Parse(string letter) =>
        [.. letter.Split(',').Select(s => s.Split(' ').Select(p => ((double)(p[0] - '0'), (double)(p[1] - '0'))).ToArray())];
}
