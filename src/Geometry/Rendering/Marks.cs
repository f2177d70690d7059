namespace Stiltwright.Geometry.Rendering;

/// <summary>A place in a picture that is pointed at.</summary>
/// <param name="Number">Its number.</param>
/// <param name="Word">What it is, in a word or two.</param>
/// <param name="X">Pixels from the left.</param>
/// <param name="Y">Pixels from the top.</param>
/// <param name="Hidden">True if something lies before it; its line is dashed.</param>
public sealed record Mark(int Number, string Word, double X, double Y, bool Hidden);

/// <summary>
/// Numbered marks on leader lines, as drawings have them: number and word stand on a shoulder in the margin, a line leads
/// from there to a small cross at the place. Marks right of the middle go to the right margin, others to the left, in
/// the order of their height, so that lines of one side hardly cross.
/// </summary>
public static class Marks
{
    /// <summary>Room that the marks want at the left and right of a picture, pixels.</summary>
    public static double MarginFor(IEnumerable<string> words, double letterHeight) =>
        words.Select(w => Canvas.TextWidth("00 " + w, letterHeight)).DefaultIfEmpty(0).Max() + 3.2 * letterHeight;

    /// <summary>Draws marks.</summary>
    public static void Draw(Canvas canvas, IReadOnlyList<Mark> marks, double letterHeight)
    {
        var middle = marks.Count == 0 ? 0 : (marks.Min(m => m.X) + marks.Max(m => m.X)) / 2;
        Side(canvas, [.. marks.Where(m => m.X < middle)], letterHeight, right: false);
        Side(canvas, [.. marks.Where(m => m.X >= middle)], letterHeight, right: true);
    }

    /// <summary>A small cross at a place, with a rim of paper so that it shows on any ground.</summary>
    public static void Cross(Canvas canvas, double x, double y, double arm, Rgb colour)
    {
        for (var pass = 0; pass < 2; pass++)
        {
            var (width, c) = pass == 0 ? (arm * 0.75 + 2, Tone.Paper) : (arm * 0.38, colour);
            canvas.Line(x - arm, y - arm, x + arm, y + arm, width, c);
            canvas.Line(x - arm, y + arm, x + arm, y - arm, width, c);
        }
    }

    private static void Side(Canvas canvas, List<Mark> marks, double h, bool right)
    {
        if (marks.Count == 0) return;
        marks.Sort((a, b) => a.Y != b.Y ? a.Y.CompareTo(b.Y) : a.Number.CompareTo(b.Number));
        var ys = Spread(marks, 2.3 * h, 2.2 * h, canvas.Image.Height - 1.2 * h);
        for (var i = 0; i < marks.Count; i++)
        {
            var m = marks[i];
            var text = $"{m.Number} {m.Word}";
            var width = Canvas.TextWidth(text, h);
            double edge = 0.7 * h, textX = right ? canvas.Image.Width - edge - width : edge;
            double outer = right ? canvas.Image.Width - edge : edge, inner = right ? textX - 0.5 * h : textX + width + 0.5 * h, y = ys[i] + 0.5 * h;
            canvas.Fill(Math.Min(outer, inner) - 3, ys[i] - h - 5, Math.Abs(outer - inner) + 6, 1.5 * h + 9, Tone.Paper, 0.9);
            Leader(canvas, m, inner, y, h);
            canvas.Line(outer, y, inner, y, 0.12 * h, Tone.InkLine);
            canvas.Text(textX, ys[i], text, h, Tone.InkLine);
            Cross(canvas, m.X, m.Y, 0.34 * h, Tone.InkLine);
        }
    }

    private static void Leader(Canvas canvas, Mark m, double x, double y, double h)
    {
        canvas.Line(x, y, m.X, m.Y, 0.34 * h, Tone.Paper);
        if (m.Hidden) canvas.Dashes(x, y, m.X, m.Y, 0.12 * h, 0.5 * h, Tone.InkLine);
        else canvas.Line(x, y, m.X, m.Y, 0.12 * h, Tone.InkLine);
    }

    /// <summary>Heights near the wanted ones, in order, at least a step apart, between top and bottom where there is room.</summary>
    private static double[] Spread(List<Mark> marks, double step, double top, double bottom)
    {
        var y = new double[marks.Count];
        for (var i = 0; i < y.Length; i++) y[i] = Math.Max(i == 0 ? top : y[i - 1] + step, Math.Clamp(marks[i].Y, top, bottom));
        if (y[^1] <= bottom) return y;
        y[^1] = bottom;
        for (var i = y.Length - 2; i >= 0; i--) y[i] = Math.Min(y[i], y[i + 1] - step);
        return y;
    }
}
