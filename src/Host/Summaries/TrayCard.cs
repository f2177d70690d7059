using Stiltwright.Sdk;

namespace Stiltwright.Host.Summaries;

/// <summary>
/// The card that travels with a piece through draining, washing and curing. It says what is particular to this piece;
/// for everything else it defers to the resin's safety data sheet.
/// </summary>
internal static class TrayCard
{
    // Weighing tells whether resin is left inside: common practice, five parts in a hundred and a gram over.
    private const double OverShare = 0.05, OverG = 1;

    public static void Add(HtmlWriter w, Summary s)
    {
        if (Headline.Refused(s)) return;
        foreach (var f in s.Finish)
        {
            var piece = s.Pieces.FirstOrDefault(p => p.Part == f.Piece) ?? s.Pieces[0];
            var cavities = s.Cavities.Where(c => (c.Piece ?? "") == f.Piece).ToList();
            w.Add($"<section class=\"card\"><p class=\"small\">Tray card · set {s.Number}{(f.Piece.Length > 0 ? " · piece " + f.Piece : "")}</p><h3><bdi>{Words.OneLine(piece.File)}</bdi></h3>");
            w.Add($"<p>{(s.Outcome == Outcome.Ready ? "" : $"The set's outcome is “{Words.Of(s.Outcome)}”: see the summary first. ")}{Words.Size(piece.SizeMm)}{(s.Resin is { } r ? ", resin " + r : "")}{(s.Printer is { } p0 ? ", printer " + p0 : "")}.</p><ol>");
            if (cavities.Count > 0) Hollow(w, f, cavities);
            else Solid(w, f);
            w.Add($"</ol>");
            Safety(w, cavities.Count > 0);
            w.Add($"<div class=\"fill\"><span>Printed on (printer, date)</span><span>Resin lot</span><span>By</span><span>Weighed, g</span><span>Finished on</span><span>Remarks</span></div></section>\n");
        }
    }

    private static void Hollow(HtmlWriter w, FinishFacts f, List<CavityFacts> cavities)
    {
        var holes = cavities.SelectMany(c => c.Holes).ToList();
        var drains = holes.Count(h => h.Purpose == "drain");
        Step(w, $"Find the holes and keep them open: {Words.Count(drains, "drain hole")} and {Words.Count(holes.Count - drains, "air hole")}, {string.Join(", ", holes.Select(h => Words.Mm(h.DiameterMm)).Distinct())} wide.");
        Step(w, $"Drain it {(f.Down is { } d ? Words.TurnedDown(d) : "with the drain holes lowest")}, for at least {(f.DrainS is { } t ? Words.Time(Math.Max(t, 60)) : "15 min")}{(f.FilmG is { } film and > 0 ? $". About {Words.Grams(film)} then still clings inside as a film" : "")}.");
        Step(w, "Wash the outside, then the inside: fill it through the holes, move it, empty it, until the fluid runs clear.");
        Step(w, "Let it dry inside and outside; blow through the holes from one to the other.");
        Step(w, $"Weigh it, struts and raft on: {Words.Grams(f.ExpectedG)} expected. Above {Words.Grams(f.ExpectedG * (1 + OverShare) + OverG)} resin or fluid is still inside: drain, wash and dry again.");
        Step(w, "Cure the outside, and the inside with light through the holes.");
        Step(w, "Take the struts off as the house does, and look at every contact.");
        Step(w, "Close the holes with their plugs last, when the inside is dry and cured.");
    }

    private static void Solid(HtmlWriter w, FinishFacts f)
    {
        Step(w, $"Let it drip off {(f.Down is { } d ? Words.TurnedDown(d) : "over the tray")}{(f.DrainS is { } t and > 0 ? $", for at least {Words.Time(Math.Max(t, 60))}" : "")}.");
        Step(w, "Wash it, and let it dry.");
        Step(w, $"Weigh it, struts and raft on: {Words.Grams(f.ExpectedG)} expected.");
        Step(w, "Cure it, take the struts off as the house does, and look at every contact.");
    }

    private static void Step(HtmlWriter w, string text) => w.Add($"<li><span class=\"box\"></span>{text}</li>");

    private static void Safety(HtmlWriter w, bool hollow)
    {
        w.Add($"<div class=\"safety\"><p><b>Follow the resin's safety data sheet and the rules of your place; they come before this card.</b> Wear the gloves and eye protection that it names. Liquid resin, used wash fluid and soaked wipes never go into the drain.");
        if (hollow) w.Add($" The cavity may hold liquid resin: drain, wash and cure the inside before closing it. Do not put pooled resin under strong light: it heats up. If it leaks, keep it upright in a tray and treat it as uncured resin.");
        w.Add($"</p></div>");
    }
}
