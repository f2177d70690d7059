namespace Stiltwright.Host.Summaries;

/// <summary>The struts of the page: before and after, how hard they are used, which rule set their size.</summary>
internal static class SummaryStruts
{
    private const int HardestShown = 10;

    public static void Add(HtmlWriter w, Summary s, PageMaterial m)
    {
        if (s.Struts is not { } t) return;
        w.Add($"<h2 id=\"struts\">Struts</h2>\n<p>{Words.Count(t.Recognised, "segment")} found: {Words.Number(t.Thinned)} thinned, {Words.Number(t.LeftAsIs)} left at plain enlargement, {(t.Thicker > 0 ? $"{Words.Number(t.Thicker)} made thicker than that, " : "")}{Words.Number(t.Added)} added, {Words.Number(t.Removed)} left out.");
        if (t.WorstUse is { } use)
            w.Add($" The hardest used carries {Words.Percent(use)} of what it can bear{(t.WorstUseLayer is { } at ? $", at layer {Words.Number(at)}" : "")}.");
        w.Add($"</p>\n<table><caption>Diameters are those of the circle of equal area. “Enlarged” is what plain enlarging gives.</caption><tr><th></th><th class=\"n\">Enlarged: least</th><th class=\"n\">median</th><th class=\"n\">largest</th><th class=\"n\">As printed: least</th><th class=\"n\">median</th><th class=\"n\">largest</th></tr>");
        Row(w, "Feet, pillars, braces", t.DiameterMm);
        Row(w, "Tips at the figure", t.TipMm);
        w.Add($"</table>\n");
        if (m.Struts is { } file)
        {
            ByRole(w, file);
            if (file.Raft is { } raft)
                w.Add($"<p>Raft: {Words.Mm(raft.HeightBeforeMm)} when plainly enlarged, {Words.Mm(raft.HeightAfterMm)} as printed.</p>\n");
            Hardest(w, file);
        }
        w.Add($"<h3>How the loads were judged</h3>\n");
        foreach (var sentence in m.Judging) w.Add($"<p>{sentence}</p>\n");
        w.Add($"<p>Use is the load on a segment divided by what it can bear, for the hardest of its checks and its hardest layer, with no safety factor in it. ");
        w.Add($"The relative rule asks that no strut is used harder than the hardest twentieth of its kind in the source at its own scale. It takes for granted that the source printed well: where nobody has printed it, trust the absolute rule alone.</p>\n");
    }

    private static void Row(HtmlWriter w, string what, BeforeAfter? x)
    {
        if (x is null) return;
        w.Add($"<tr><td>{what}</td><td class=\"n\">{Words.Mm(x.Before.Min)}</td><td class=\"n\">{Words.Mm(x.Before.Median)}</td><td class=\"n\">{Words.Mm(x.Before.Max)}</td><td class=\"n\">{Words.Mm(x.After.Min)}</td><td class=\"n\">{Words.Mm(x.After.Median)}</td><td class=\"n\">{Words.Mm(x.After.Max)}</td></tr>");
    }

    private static void ByRole(HtmlWriter w, StrutsFile file)
    {
        w.Add($"<table><caption>By kind, and which check or limit set the size</caption><tr><th>Kind</th><th class=\"n\">Segments</th><th class=\"n\">Median enlarged</th><th class=\"n\">Median as printed</th><th class=\"n\">Worst use</th><th>Size set by</th></tr>");
        foreach (var role in file.Struts.GroupBy(x => x.Role).OrderBy(g => g.Key, StringComparer.Ordinal))
        {
            var tip = role.Key == "tip";
            var before = Spread.Of(role.Where(x => x.RadiusBeforeMm[1] > 0).Select(x => Diameter(x, x.RadiusBeforeMm, tip)));
            var after = Spread.Of(role.Select(x => Diameter(x, x.RadiusAfterMm, tip)))!;
            var worst = role.Max(x => x.Use);
            var bound = role.Where(x => x.BoundBy is { Length: > 0 }).GroupBy(x => x.BoundBy!).OrderByDescending(g => g.Count()).ThenBy(g => g.Key, StringComparer.Ordinal)
                .Take(4).Select(g => $"{g.Key} ({Words.Number(g.Count())})");
            w.Add($"<tr><td>{role.Key}</td><td class=\"n\">{Words.Number(role.Count())}</td><td class=\"n\">{(before is null ? "" : Words.Mm(before.Median))}</td><td class=\"n\">{Words.Mm(after.Median)}</td><td class=\"n\">{(worst is { } u ? Words.Percent(u) : "")}</td><td>{string.Join(", ", bound)}</td></tr>");
        }
        w.Add($"</table>\n");
    }

    private static void Hardest(HtmlWriter w, StrutsFile file)
    {
        var hardest = file.Struts.Where(x => x.Use is > 0).OrderByDescending(x => x.Use).ThenBy(x => x.Id).Take(HardestShown).ToList();
        if (hardest.Count == 0) return;
        w.Add($"<table><caption>The hardest used; all of them are in struts.json</caption><tr><th class=\"n\">Segment</th><th>Kind</th><th>Decision</th><th class=\"n\">Enlarged</th><th class=\"n\">As printed</th><th class=\"n\">Use</th><th class=\"n\">Layer</th><th>Size set by</th><th>Upper end</th></tr>");
        foreach (var x in hardest)
        {
            var tip = x.Role == "tip";
            w.Add($"<tr><td class=\"n\">{x.Id}{(x.Piece is { Length: > 0 } p ? " (" + p + ")" : "")}</td><td>{x.Role}</td><td>{x.Decision}</td><td class=\"n\">{(x.RadiusBeforeMm[1] > 0 ? Words.Mm(Diameter(x, x.RadiusBeforeMm, tip)) : "")}</td><td class=\"n\">{Words.Mm(Diameter(x, x.RadiusAfterMm, tip))}</td><td class=\"n\">{Words.Percent(x.Use!.Value)}</td><td class=\"n\">{(x.AtLayer is { } l ? Words.Number(l) : "")}</td><td>{x.BoundBy}</td><td>{Words.Place(x.ToMm)}</td></tr>");
        }
        w.Add($"</table>\n");
    }

    /// <summary>Diameter of the circle of equal area: a tip's at the figure, the mean of both ends for the others.</summary>
    internal static double Diameter(StrutEntry x, double[] radii, bool tip)
    {
        // Area of a regular n-gon over that of the circle through its corners: n sin(2 pi / n) / (2 pi).
        var share = x.Sides >= 3 ? x.Sides * Math.Sin(2 * Math.PI / x.Sides) / (2 * Math.PI) : 1;
        return (tip ? 2 * radii[1] : radii[0] + radii[1]) * Math.Sqrt(share);
    }
}
