namespace Stiltwright.Host.Summaries;

/// <summary>The tables of the page: ways, layers, cavities, pieces, runs, stages.</summary>
internal static class SummaryFigures
{
    public static void Ways(HtmlWriter w, Summary s)
    {
        if (s.Ways.Count == 0) return;
        w.Add($"<h2 id=\"ways\">What each way would take</h2>\n");
        Charts.Ways(w, s.Ways);
        w.Add($"<table><caption>Volumes are those of the union: overlapping shells count once.</caption><tr><th>Way</th><th class=\"n\">Volume</th><th class=\"n\">Cured mass</th><th class=\"n\">Saved</th></tr>");
        foreach (var x in s.Ways)
            w.Add($"<tr><td>{Words.Way(x.Way)}</td><td class=\"n\">{Words.Volume(x.VolumeMm3)}</td><td class=\"n\">{Words.Grams(x.MassG)}</td><td class=\"n\">{Words.Percent(x.SavedShare)}</td></tr>");
        w.Add($"</table>\n");
    }

    public static void Layers(HtmlWriter w, Summary s, PageMaterial m)
    {
        if (s.Layers is not { } l) return;
        w.Add($"<h2 id=\"layers\">Layers</h2>\n<p>{Words.Count(l.Count, "layer")} of {Words.Mm(l.HeightMm)}, counted from the platform. The largest is layer {Words.Number(l.AreaMm2.AtLayer)} with {Words.Number(l.AreaMm2.Max)} mm².");
        if (l.SeparationN is { } pull) w.Add($" The film pulls hardest at layer {Words.Number(pull.AtLayer)}, with {Words.Number(pull.Max, 1)} N.");
        w.Add($" {(l.Islands == 0 ? "No layer starts in mid-air" : Words.Count(l.Islands, "island") + (l.Islands == 1 ? " starts" : " start") + " in mid-air")}; {(l.Cups == 0 ? "no cup" : Words.Count(l.Cups, "cup"))} open only towards the film.</p>\n");
        foreach (var curve in m.Layers)
        {
            if (curve.AreaMm2.Count == 0) continue;
            Charts.Layers(w, curve, [.. s.Findings.Where(f => f.Layer is not null && (f.Piece ?? "") == curve.Piece)]);
        }
    }

    public static void Cavities(HtmlWriter w, Summary s)
    {
        if (s.Cavities.Count == 0) return;
        w.Add($"<h2 id=\"cavities\">Cavities and holes</h2>\n<table><tr><th>Cavity</th><th class=\"n\">Volume</th><th class=\"n\">Wall asked</th><th class=\"n\">least</th><th class=\"n\">mean</th><th class=\"n\">99 % below</th><th>Empties</th></tr>");
        var n = 0;
        foreach (var c in s.Cavities)
        {
            w.Add($"<tr><td>{++n}{(c.Piece is { Length: > 0 } p ? ", piece " + p : "")}</td><td class=\"n\">{Words.Volume(c.VolumeMm3)}</td><td class=\"n\">{Words.Mm(c.WallMm.Asked)}</td><td class=\"n\">{Words.Mm(c.WallMm.Min)}</td><td class=\"n\">{Words.Mm(c.WallMm.Mean)}</td><td class=\"n\">{Words.Mm(c.WallMm.P99)}</td>");
            w.Add($"<td>{(c.Drains ? c.TrappedMm3 > 0 ? $"yes; {Words.Volume(c.TrappedMm3)} stays" : "yes" : $"no: {Words.Volume(c.TrappedMm3)} would stay")}</td></tr>");
        }
        w.Add($"</table>\n<table><tr><th>Hole of cavity</th><th>For</th><th class=\"n\">Diameter</th><th>Where it leaves the figure</th></tr>");
        n = 0;
        foreach (var c in s.Cavities)
        {
            n++;
            foreach (var h in c.Holes)
                w.Add($"<tr><td>{n}</td><td>{(h.Purpose == "drain" ? "draining" : h.Purpose == "air" ? "air" : h.Purpose)}</td><td class=\"n\">{Words.Mm(h.DiameterMm)}</td><td>{Words.Place(h.CentreMm)}</td></tr>");
        }
        w.Add($"</table>\n");
    }

    public static void Pieces(HtmlWriter w, Summary s, PageMaterial m)
    {
        w.Add($"<h2 id=\"pieces\">Files to print</h2>\n<table><tr><th>File</th><th>Holds</th><th class=\"n\">Size</th><th class=\"n\">Triangles</th><th class=\"n\">Shells</th><th>Closed</th><th class=\"n\">Volume</th><th class=\"n\">Mass</th><th>Fits its printer</th></tr>");
        foreach (var p in s.Pieces)
            w.Add($"<tr><td><a href=\"{HtmlWriter.Link(p.File)}\"><bdi>{Words.OneLine(p.File)}</bdi></a></td><td>{(p.Part is "" or "all" ? "everything" : "piece " + p.Part)}</td><td class=\"n\">{Words.Size(p.SizeMm)}</td><td class=\"n\">{Words.Number(p.Triangles)}</td><td class=\"n\">{Words.Number(p.Shells)}</td><td>{(p.Closed ? "yes" : "no")}</td><td class=\"n\">{Words.Volume(p.VolumeMm3)}</td><td class=\"n\">{Words.Grams(p.MassG)}</td><td>{(p.Fits ? "yes" : "no")}</td></tr>");
        w.Add($"</table>\n");
        if (m.ThreeMfFile is { Length: > 0 } f)
            w.Add($"<p>The same as named objects, for going on by hand: <a href=\"{HtmlWriter.Link(f)}\"><bdi>{Words.OneLine(f)}</bdi></a>.</p>\n");
        foreach (var x in s.Extras)
            w.Add($"<p>Extra: <a href=\"{HtmlWriter.Link("extras/" + Path.GetFileName(x.File))}\"><bdi>{Words.OneLine(x.File)}</bdi></a>, {x.What}.</p>\n");
        if (s.Roles is { } r)
        {
            w.Add($"<p>In the source: {Words.Count(r.FigureShells, "shell")} of the figure, {Words.Count(r.Struts, "shell")} of struts, {Words.Count(r.Rafts, "shell")} of the raft, {Words.Count(r.InnerShells, "hollow")}");
            w.Add($"{(r.Unsure > 0 ? $", and {Words.Count(r.Unsure, "shell")} not known well enough, which {(r.Unsure == 1 ? "was" : "were")} enlarged only" : "")}. Least confidence {Words.Percent(r.ConfidenceMin)}.</p>\n");
        }
    }

    public static void Runs(HtmlWriter w, Summary s)
    {
        if (s.Runs.Count == 0) return;
        w.Add($"<h2 id=\"runs\">Runs and refills</h2>\n<table><tr><th>Run</th><th>Printer</th><th>Holds</th><th class=\"n\">Layers</th><th class=\"n\">Time</th><th class=\"n\">Resin</th><th>Refill the vat</th></tr>");
        var n = 0;
        foreach (var r in s.Runs)
        {
            w.Add($"<tr><td>{++n}</td><td>{r.Printer}</td><td>{string.Join(", ", r.Pieces.Select(Words.Piece))}</td><td class=\"n\">{Words.Number(r.Layers)}</td><td class=\"n\">{Words.Time(r.PrintS)}</td><td class=\"n\">{Words.Ml(r.ResinMl)}</td><td>");
            if (r.Refills.Count == 0) w.Add($"not needed");
            foreach (var f in r.Refills) w.Add($"<div>{Words.Ml(f.Ml)} before layer {Words.Number(f.Layer)}, {Words.Time(f.AfterS)} after the start</div>");
            w.Add($"</td></tr>");
        }
        w.Add($"</table>\n");
        if (s.Estimate is { } e)
            w.Add($"<p>All together: {Words.Grams(e.MassG)} cured, {Words.Ml(e.ResinMl)} of resin with waste, {Words.Time(e.PrintS)}, {Words.Number(e.Cost.Amount, 2)} {e.Cost.Currency}.</p>\n");
    }

    public static void Stages(HtmlWriter w, Summary s, PageMaterial m)
    {
        if (s.Stages.Count == 0) return;
        w.Add($"<h2 id=\"stages\">How it was made</h2>\n<table><tr><th>Stage</th><th>Version</th><th class=\"n\">Time</th><th class=\"n\">Memory by its end</th></tr>");
        foreach (var x in s.Stages)
            w.Add($"<tr><td>{x.Stage}</td><td>{x.Version}</td><td class=\"n\">{Words.Number(x.Seconds, 2)} s</td><td class=\"n\">{Words.Number(x.PeakMiB)} MiB</td></tr>");
        w.Add($"</table>\n");
        if (m.Measures.Count == 0) return;
        w.Add($"<table><caption>Measures of the stages</caption><tr><th>Stage</th><th>Measure</th><th class=\"n\">Value</th></tr>");
        foreach (var x in m.Measures)
            w.Add($"<tr><td>{x.Stage}</td><td>{x.Name}</td><td class=\"n\">{Words.Short(x.Value)} {x.Unit}</td></tr>");
        w.Add($"</table>\n");
    }
}
