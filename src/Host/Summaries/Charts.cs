namespace Stiltwright.Host.Summaries;

/// <summary>Charts as SVG inside the page: ink on paper, patterns instead of colours that must be told apart.</summary>
internal static class Charts
{
    private const int Buckets = 720;

    /// <summary>The ways of enlarging as lying bars.</summary>
    public static void Ways(HtmlWriter w, IReadOnlyList<WayFacts> ways)
    {
        var largest = ways.Max(x => x.VolumeMm3);
        if (!(largest > 0)) return;
        const int left = 230, right = 190, row = 34, width = 960;
        var height = ways.Count * row + 12;
        w.Add($"<svg viewBox=\"0 0 {width} {height}\" role=\"img\" aria-label=\"Volume of each way of enlarging\"><defs>{""}");
        w.Add($"<pattern id=\"strokes\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\"><rect width=\"7\" height=\"7\" fill=\"#e9d9c6\"/><line x1=\"0\" y1=\"0\" x2=\"0\" y2=\"7\" stroke=\"#8d6440\" stroke-width=\"2\"/></pattern></defs>");
        for (var i = 0; i < ways.Count; i++)
        {
            var y = 8 + i * row;
            var length = (width - left - right) * ways[i].VolumeMm3 / largest;
            var fill = i == ways.Count - 1 ? "#b98a63" : i == 0 ? "#ece4d4" : "url(#strokes)";
            w.Add($"<text x=\"{left - 10}\" y=\"{y + 16}\" text-anchor=\"end\">{Words.Way(ways[i].Way)}</text><rect x=\"{left}\" y=\"{y}\" width=\"{length}\" height=\"22\" fill=\"{fill}\" stroke=\"#26323c\"/>");
            w.Add($"<text x=\"{left + length + 8}\" y=\"{y + 16}\">{Words.Volume(ways[i].VolumeMm3)}, {Words.Grams(ways[i].MassG)}{(ways[i].SavedShare > 0.0005 ? $", {Words.Percent(ways[i].SavedShare)} saved" : "")}</text>");
        }
        w.Add($"</svg>\n");
    }

    /// <summary>Area and pull over the layers of a piece, lying down: the platform at the left end.</summary>
    public static void Layers(HtmlWriter w, LayerCurve curve, IReadOnlyList<FindingFacts> findings)
    {
        var title = curve.Piece.Length == 0 ? "Layers, from the platform (left) upwards" : $"Piece {curve.Piece}: layers, from the platform (left) upwards";
        var pull = curve.SeparationN is { Count: > 0 } n ? n : null;
        var height = pull is null ? 210 : 370;
        w.Add($"<h3>{title}</h3>\n<svg viewBox=\"0 0 960 {height}\" role=\"img\" aria-label=\"{title}\">");
        Panel(w, curve.AreaMm2, curve.LayerMm, 24, "area, mm²", filled: true);
        if (pull is not null) Panel(w, pull, curve.LayerMm, 184, "pull of the film, N", filled: false);
        Marks(w, curve, findings, height);
        w.Add($"</svg>\n");
    }

    private const double Left = 70, Right = 24, Width = 960, PanelHeight = 118;

    private static void Panel(HtmlWriter w, IReadOnlyList<double> values, double layerMm, double top, string unit, bool filled)
    {
        var largest = values.Max();
        if (!(largest > 0)) largest = 1;
        var step = NiceStep(largest / 3);
        var ceiling = Math.Ceiling(largest / step - 1e-9) * step;
        var bottom = top + PanelHeight;
        double Y(double v) => bottom - PanelHeight * v / ceiling;
        double X(double layer) => Left + (Width - Left - Right) * layer / values.Count;
        w.Add($"<text x=\"{Left}\" y=\"{top - 8}\">{unit}</text>");
        for (var v = 0.0; v <= ceiling * 1.0001; v += step)
            w.Add($"<line x1=\"{Left}\" y1=\"{Y(v)}\" x2=\"{Width - Right}\" y2=\"{Y(v)}\" stroke=\"#d9d1bf\"/><text x=\"{Left - 8}\" y=\"{Y(v) + 4}\" text-anchor=\"end\">{Words.Short(v)}</text>");
        // Each bucket shows its largest layer, so that no peak is lost where there are more layers than columns.
        var buckets = Math.Min(Buckets, values.Count);
        w.Add($"<path d=\"M{Left} {bottom}");
        for (var b = 0; b < buckets; b++)
        {
            int a = (int)((long)values.Count * b / buckets), e = (int)((long)values.Count * (b + 1) / buckets);
            var most = 0.0;
            for (var i = a; i < e; i++) most = Math.Max(most, values[i]);
            if (b == 0 && !filled) w.Add($"M{X(a)} {Y(most)}");
            w.Add($"L{X(a)} {Y(most)}L{X(e)} {Y(most)}");
        }
        if (filled) w.Add($"L{X(values.Count)} {bottom}Z\" fill=\"#dcc3a9\" stroke=\"#8d6440\" stroke-width=\"1\"/>");
        else w.Add($"\" fill=\"none\" stroke=\"#2f5d7c\" stroke-width=\"1.6\"/>");
        w.Add($"<line x1=\"{Left}\" y1=\"{bottom}\" x2=\"{Width - Right}\" y2=\"{bottom}\" stroke=\"#26323c\"/>");
        var tick = Math.Max(1, (int)NiceStep(values.Count / 8.0));
        for (var l = 0; l <= values.Count; l += tick)
        {
            w.Add($"<line x1=\"{X(l)}\" y1=\"{bottom}\" x2=\"{X(l)}\" y2=\"{bottom + 5}\" stroke=\"#26323c\"/><text x=\"{X(l)}\" y=\"{bottom + 18}\" text-anchor=\"middle\">{(l == 0 ? "0" : $"{Words.Number(l)} ({Words.Number(l * layerMm, l * layerMm < 10 ? 1 : 0)} mm)")}</text>");
        }
    }

    private static void Marks(HtmlWriter w, LayerCurve curve, IReadOnlyList<FindingFacts> findings, int height)
    {
        var worst = findings.Where(f => f.Layer is > 0 && f.Layer <= curve.AreaMm2.Count).OrderByDescending(f => f.Level).ThenBy(f => f.Layer).Take(6);
        var n = 0;
        foreach (var f in worst.OrderBy(f => f.Layer))
        {
            var x = Left + (Width - Left - Right) * (f.Layer!.Value - 0.5) / curve.AreaMm2.Count;
            var y = height - 38 - 14 * (n++ % 2);
            w.Add($"<line x1=\"{x}\" y1=\"24\" x2=\"{x}\" y2=\"{height - 56}\" stroke=\"#26323c\" stroke-dasharray=\"3 3\"/>");
            w.Add($"<text x=\"{x}\" y=\"{y + 26}\" text-anchor=\"{(x > Width - 160 ? "end" : x < 180 ? "start" : "middle")}\">{f.Id}, layer {Words.Number(f.Layer.Value)}</text>");
        }
    }

    private static double NiceStep(double rough)
    {
        if (!(rough > 0)) return 1;
        var power = Math.Pow(10, Math.Floor(Math.Log10(rough)));
        var m = rough / power;
        return power * (m <= 1 ? 1 : m <= 2 ? 2 : m <= 5 ? 5 : 10);
    }
}
