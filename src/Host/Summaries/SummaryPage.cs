using Stiltwright.Sdk;

namespace Stiltwright.Host.Summaries;

/// <summary>
/// The summary for people: one HTML file that opens from a share by double click, without network, scripts or fonts of
/// its own. Small pictures are inside it; the large ones lie in <c>pictures/</c> beside it. Prints on A4.
/// </summary>
public static class SummaryPage
{
    /// <summary>The page. A refused job (no pieces) gives a page with what is known, and no empty tables.</summary>
    public static string Html(Summary summary, PageMaterial? material = null)
    {
        var m = material ?? PageMaterial.None;
        var w = new HtmlWriter();
        w.Add($"<!DOCTYPE html>\n<html lang=\"en-GB\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">");
        w.Add($"<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data: 'self' file:; style-src 'unsafe-inline'\">");
        w.Add($"<title>{Words.OneLine(summary.Source.File)}: {Words.Of(summary.Outcome)}</title><style>");
        AddStyle(w);
        w.Add($"</style></head>\n<body><main>\n");
        Top(w, summary);
        SummaryFindings.Add(w, summary, m);
        if (!Headline.Refused(summary))
        {
            SummaryPictures.Add(w, summary, m);
            SummaryFigures.Ways(w, summary);
            SummaryFigures.Layers(w, summary, m);
            SummaryStruts.Add(w, summary, m);
            SummaryFigures.Cavities(w, summary);
            SummaryFigures.Pieces(w, summary, m);
            SummaryFigures.Runs(w, summary);
        }
        SummaryFigures.Stages(w, summary, m);
        TrayCard.Add(w, summary);
        w.Add($"\n</main></body></html>\n");
        return w.ToString();
    }

    internal static void AddStyle(HtmlWriter w)
    {
        // The style sheet is our own constant and holds no text from outside; it goes in as it is.
        var h = new HtmlWriter.Handler(0, 0, w);
        h.AppendLiteral(PageStyle.Css);
    }

    private static void Top(HtmlWriter w, Summary s)
    {
        w.Add($"<h1><bdi>{Words.OneLine(s.Source.File)}</bdi></h1>\n<p class=\"lead\" id=\"outcome\">{Headline.Of(s)}</p>\n");
        foreach (var q in Quick(s)) w.Add($"<p>{q}</p>\n");
        w.Add($"<div class=\"block\">");
        Cell(w, "Set number", s.Number);
        w.Add($"<div><div class=\"k\">Outcome</div><div class=\"v\"><span class=\"word {Words.Of(s.Outcome)}\">{Words.Of(s.Outcome)}</span></div></div>");
        Cell(w, "Folder", s.Folder);
        Cell(w, "Recipe", s.Recipe);
        if (s.Scale is { } k) Cell(w, "Scale", Words.Scale(k));
        if (s.Height is { } h)
        {
            Cell(w, "Figure standing", Words.Mm(h.StandingMm));
            Cell(w, "Print height", Words.Mm(h.PrintMm));
        }
        if (s.Printer is { Length: > 0 } p) Cell(w, "Printer", p);
        if (s.Resin is { Length: > 0 } r) Cell(w, "Resin", r);
        if (s.Estimate is { } e)
        {
            Cell(w, "Cured mass", Words.Grams(e.MassG));
            Cell(w, "Resin drawn", Words.Ml(e.ResinMl));
            Cell(w, "Print time", Words.Time(e.PrintS));
            Cell(w, "Cost", $"{Words.Number(e.Cost.Amount, 2)} {e.Cost.Currency}");
        }
        if (s.Source.Triangles is { } t) Cell(w, "Source", Words.Count(t, "triangle"));
        if (s.Source.SizeMm is { } size) Cell(w, "Source size", Words.Size(size));
        Cell(w, "Source, SHA-256", s.Source.Sha256.Length > 16 ? s.Source.Sha256[..16] + "…" : s.Source.Sha256);
        w.Add($"</div>\n");
    }

    /// <summary>What a person does next, in a sentence each.</summary>
    private static IEnumerable<string> Quick(Summary s)
    {
        if (Headline.Refused(s))
        {
            yield return "The source was left as it was. Put it right, or change the recipe or its slip, and drop it again.";
            yield break;
        }
        if (s.Outcome == Outcome.Check)
            yield return $"When you have looked and it may print: stiltwright record {Words.OneLine(s.Number)} --accepted";
        if (s.Estimate is { } e && s.Ways.FirstOrDefault(x => x.Way == "thinned-hollowed") is { } way)
            yield return $"It takes {Words.Grams(way.MassG)} of cured resin, {Words.Percent(way.SavedShare)} less than plain enlarging, "
                + $"and costs about {Words.Number(e.Cost.Amount, 2)} {e.Cost.Currency}.";
        if (s.Cavities.Count > 0)
        {
            var holes = s.Cavities.Sum(c => c.Holes.Count);
            var still = s.Cavities.Count(c => !c.Drains);
            yield return $"It is hollow: {Words.Count(s.Cavities.Count, "cavity", "cavities")} with {Words.Count(holes, "hole")}; "
                + (still == 0 ? "flooding showed that every one empties." : $"flooding showed that {Words.Count(still, "cavity", "cavities")} may not empty.");
        }
    }

    private static void Cell(HtmlWriter w, string what, string value) =>
        w.Add($"<div><div class=\"k\">{what}</div><div class=\"v\">{value}</div></div>");
}

/// <summary>The list of findings, worst first.</summary>
internal static class SummaryFindings
{
    public static void Add(HtmlWriter w, Summary s, PageMaterial m)
    {
        w.Add($"<h2 id=\"findings\">What you should know</h2>\n");
        if (s.Findings.Count == 0)
        {
            w.Add($"<p>Nothing to report.</p>\n");
        }
        else
        {
            w.Add($"<ol class=\"findings\">\n");
            var n = 0;
            foreach (var f in s.Findings.OrderByDescending(f => f.Level))
            {
                w.Add($"<li id=\"finding-{++n}\"><div><span class=\"word {Words.Of(f.Level)}\">{Words.Of(f.Level)}</span></div><div><p>{Words.Prose(f.Text)}</p>");
                if (f.Advice.Length > 0) w.Add($"<p class=\"advice\">{Words.Prose(f.Advice)}</p>");
                w.Add($"<p class=\"small\">{f.Id}");
                if (f.Piece is { Length: > 0 } piece) w.Add($" · piece {piece}");
                if (f.Layer is { } layer) w.Add($" · layer {Words.Number(layer)}");
                if (f.AtMm is { } at) w.Add($" · at {Words.Place(at)}");
                if (f.Picture is { Length: > 0 } picture) w.Add($" · <a href=\"{HtmlWriter.Link(picture)}\">picture</a>");
                w.Add($"</p></div></li>\n");
            }
            w.Add($"</ol>\n");
        }
        Sentences(w, "What changed since the last set of this figure", m.ChangedSinceLast);
        Sentences(w, "Where a stage was asked to do it again", m.WentBack);
    }

    internal static void Sentences(HtmlWriter w, string title, IReadOnlyList<string> sentences)
    {
        if (sentences.Count == 0) return;
        w.Add($"<h3>{title}</h3>\n");
        foreach (var t in sentences) w.Add($"<p>{t}</p>\n");
    }
}

/// <summary>The pictures: small ones inside the page, each a link to the large one beside it.</summary>
internal static class SummaryPictures
{
    public static void Add(HtmlWriter w, Summary s, PageMaterial m)
    {
        _ = s;
        if (m.Pictures.Count == 0) return;
        w.Add($"<h2 id=\"pictures\">Pictures</h2>\n<p class=\"small\">The figure is clay, struts are ink, the raft is grey. A picture opens large on a click.</p>\n<div class=\"gallery\">\n");
        foreach (var p in m.Pictures)
        {
            w.Add($"<figure class=\"{(p.PreviewWidth > 1.45 * p.PreviewHeight || p.Marks.Count > 8 ? "wide" : "")}\"><a href=\"{HtmlWriter.Link(p.File)}\"><img alt=\"{p.Caption}\" width=\"{p.PreviewWidth}\" height=\"{p.PreviewHeight}\" src=\"");
            w.AddPngUri(p.Preview);
            w.Add($"\"></a><figcaption>{p.Caption}");
            if (p.Marks.Count > 0)
            {
                w.Add($"<ol>");
                foreach (var mark in p.Marks) w.Add($"<li>{mark}</li>");
                w.Add($"</ol>");
            }
            w.Add($"</figcaption></figure>\n");
        }
        w.Add($"</div>\n");
    }
}
