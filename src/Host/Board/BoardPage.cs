using Stiltwright.Host.Summaries;

namespace Stiltwright.Host.Board;

/// <summary>
/// The board: one self-contained page for a share, showing every folder and what became of each drop. It needs no network
/// and no script; where the browser lets it, it reads itself again now and then.
/// </summary>
public static class BoardPage
{
    /// <summary>The page.</summary>
    public static string Html(BoardModel b)
    {
        var w = new HtmlWriter();
        w.Add($"<!DOCTYPE html>\n<html lang=\"en-GB\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width,initial-scale=1\"><meta http-equiv=\"refresh\" content=\"{Math.Max(5, b.EverySeconds)}\">");
        w.Add($"<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\"><title>Board of {b.Share}</title><style>");
        SummaryPage.AddStyle(w);
        w.Add($"</style></head>\n<body><main>\n<h1>Board of <bdi>{Words.OneLine(b.Share)}</bdi></h1>\n<p class=\"lead\" id=\"now\">{Now(b)}</p>\n");
        w.Add($"<p id=\"heartbeat\">Written {Words.When(b.At)} by {b.Service}, and again every {Words.Time(b.EverySeconds)}. If this time is more than {Words.Time(3.0 * b.EverySeconds)} old, the service stands still: start it again, or tell whoever looks after it.</p>\n");
        if (b.NotListed is { Count: > 0 } more)
            w.Add($"<p class=\"small\" id=\"more\">Besides the files listed below there are {string.Join(", ", more.OrderBy(m => m.Key).Select(m => $"{m.Value} {State(m.Key)}"))}.</p>\n");
        foreach (var n in b.Notices) w.Add($"<p class=\"advice\">{n}</p>\n");
        foreach (var f in b.Folders) Folder(w, f);
        Mails(w, b.UnsentMails);
        w.Add($"</main></body></html>\n");
        return w.ToString();
    }

    private static string Now(BoardModel b)
    {
        var jobs = b.Folders.SelectMany(f => f.Jobs).ToList();
        int Of(params BoardState[] states) => jobs.Count(j => states.Contains(j.State)) + states.Sum(s => b.NotListed?.GetValueOrDefault(s) ?? 0);
        var look = Of(BoardState.Check);
        var stop = Of(BoardState.Stop, BoardState.SetAside);
        var work = Of(BoardState.Working, BoardState.Publishing);
        var wait = Of(BoardState.Settling, BoardState.Waiting);
        var parts = new List<string>();
        if (look > 0) parts.Add($"{Words.Count(look, "set")} {(look == 1 ? "needs" : "need")} a look before printing");
        if (stop > 0) parts.Add($"{Words.Count(stop, "file")} cannot be printed as {(stop == 1 ? "it is" : "they are")}");
        if (work > 0) parts.Add($"{Words.Count(work, "file")} being worked on");
        if (wait > 0) parts.Add($"{Words.Count(wait, "file")} waiting");
        var ready = Of(BoardState.Ready);
        if (ready > 0) parts.Add($"{Words.Count(ready, "set")} ready to print");
        var text = parts.Count == 0 ? "No file has been dropped yet" : string.Join("; ", parts);
        return char.ToUpperInvariant(text[0]) + text[1..] + ".";
    }

    private static void Folder(HtmlWriter w, BoardFolder f)
    {
        w.Add($"<h2><bdi>{Words.OneLine(f.Name)}</bdi></h2>\n");
        if (f.Recipe is { } recipe) w.Add($"<p>{recipe}</p>\n");
        else w.Add($"<p>Not served: there is no recipe of this name. Files in it are left alone.</p>\n");
        if (f.Jobs.Count > 0)
        {
            w.Add($"<table><tr><th>File</th><th>State</th><th>Since</th><th class=\"n\">Took</th><th>Set</th><th></th></tr>");
            foreach (var j in f.Jobs) Job(w, j);
            w.Add($"</table>\n");
        }
        else if (f.Recipe is not null)
        {
            w.Add($"<p class=\"small\">Empty. Drop a supported STL here and collect the set beside it.</p>\n");
        }
        foreach (var s in f.LeftAlone) w.Add($"<p class=\"advice\">{s}</p>\n");
    }

    private static void Job(HtmlWriter w, BoardJob j)
    {
        w.Add($"<tr><td><bdi>{Words.OneLine(j.File)}</bdi></td><td><span class=\"word {Class(j.State)}\">{State(j.State)}</span>{(j.Doing is { } d ? " " + d : "")}</td><td class=\"t\">{Words.When(j.Since)}</td><td class=\"n\">{(j.TookSeconds is { } t ? Words.Time(t) : "")}</td><td>");
        if (j.SummaryLink is { Length: > 0 } link) w.Add($"<a href=\"{HtmlWriter.Link(link)}\">{j.Number ?? "summary"}</a>");
        else w.Add($"{j.Number}");
        w.Add($"</td><td>{j.Sentence}");
        if (j.Outcome is { Length: > 0 } outcome) w.Add($"<div class=\"small\">Recorded: {outcome}</div>");
        w.Add($"</td></tr>");
    }

    private static void Mails(HtmlWriter w, IReadOnlyList<UnsentMail> mails)
    {
        if (mails.Count == 0) return;
        w.Add($"<h2>Mails not sent yet</h2>\n<table><tr><th>To</th><th>Subject</th><th>Since</th><th class=\"n\">Tries</th><th>Why</th></tr>");
        foreach (var m in mails)
            w.Add($"<tr><td>{m.To}</td><td><bdi>{Words.OneLine(m.Subject)}</bdi></td><td class=\"t\">{Words.When(m.Since)}</td><td class=\"n\">{m.Tries}</td><td>{m.Reason}</td></tr>");
        w.Add($"</table>\n");
    }

    /// <summary>The state in a word or two.</summary>
    public static string State(BoardState s) => s switch
    {
        BoardState.Settling => "still arriving",
        BoardState.Waiting => "waiting",
        BoardState.Working => "working",
        BoardState.Publishing => "waiting to publish",
        BoardState.Ready => "ready",
        BoardState.Check => "check",
        BoardState.Stop => "stop",
        _ => "set aside",
    };

    private static string Class(BoardState s) => s switch { BoardState.Check => "check", BoardState.Stop or BoardState.SetAside => "stop", _ => "" };
}
