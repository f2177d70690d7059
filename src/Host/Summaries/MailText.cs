using System.Text;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Summaries;

/// <summary>
/// The words of a mail about one set. The subject has no control characters; the first line says which file and what to
/// decide; nothing is fetched from a network.
/// </summary>
/// <param name="Subject">One line.</param>
/// <param name="Text">The plain part.</param>
/// <param name="Html">The HTML part, with pictures by content id.</param>
/// <param name="Inline">The pictures that the HTML part names.</param>
public sealed record MailText(string Subject, string Text, string Html, IReadOnlyList<MailPicture> Inline)
{
    private const int MostFindings = 12, MostPictures = 3, SubjectChars = 140;

    /// <summary>
    /// The mail about a set. <paramref name="shownPath"/> is where the reader finds it, as people write the share; the
    /// pictures are those marked for mails, three at most.
    /// </summary>
    public static MailText For(Summary summary, string shownPath, IReadOnlyList<SetPicture>? pictures = null)
    {
        // The places that a person must look at come first.
        var chosen = (pictures ?? []).Where(p => p.InMail).OrderBy(p => p.FindingIndexes.Count > 0 ? 0 : 1).Take(MostPictures).ToList();
        var inline = chosen
            .Select((p, i) => new MailPicture($"picture{i + 1}@stiltwright", Path.GetFileName(p.File), p.Preview, p.Caption, p.PreviewWidth, p.PreviewHeight)).ToList();
        var first = Headline.Of(summary);
        var path = Words.OneLine(shownPath);
        return new MailText(SubjectOf(summary), PlainOf(summary, first, path), HtmlOf(summary, first, path, inline, chosen), inline);
    }

    private static string SubjectOf(Summary s)
    {
        var decide = s.Outcome switch
        {
            Outcome.Ready => "ready to print",
            Outcome.Check => "somebody must look before printing",
            _ => Headline.Refused(s) ? "not done" : "not printable as it is",
        };
        var tail = $": {decide} (set {Words.OneLine(s.Number)}, {Words.OneLine(s.Folder)})";
        var name = Words.OneLine(s.Source.File);
        var room = Math.Max(20, SubjectChars - tail.Length);
        return Shorten(name, room) + tail;
    }

    private static string Shorten(string name, int room)
    {
        if (name.Length <= room) return name;
        var cut = room - 1;
        if (char.IsHighSurrogate(name[cut - 1])) cut--;
        return name[..cut] + "…";
    }

    private static string PlainOf(Summary s, string first, string path)
    {
        var t = new StringBuilder();
        t.Append(first).Append("\n\nSet ").Append(Words.OneLine(s.Number)).Append(": ").Append(path).Append('\n');
        if (s.Estimate is { } e)
            t.Append($"{Words.Grams(e.MassG)} cured, {Words.Ml(e.ResinMl)} of resin, {Words.Time(e.PrintS)}, {Words.Number(e.Cost.Amount, 2)} {Words.OneLine(e.Cost.Currency)}, {Words.Count(e.Plates, "run")}.\n");
        if (s.Findings.Count > 0) t.Append('\n');
        foreach (var f in Shown(s))
        {
            t.Append($"{Words.Of(f.Level)}: {Words.OneLine(Words.Prose(f.Text))}\n");
            if (f.Advice.Length > 0) t.Append($"  {Words.OneLine(Words.Prose(f.Advice))}\n");
        }
        if (s.Findings.Count > MostFindings) t.Append($"{s.Findings.Count - MostFindings} more in the summary.\n");
        if (s.Outcome == Outcome.Check) t.Append($"\nWhen you have looked and it may print: stiltwright record {Words.OneLine(s.Number)} --accepted\n");
        return t.ToString();
    }

    private static string HtmlOf(Summary s, string first, string path, List<MailPicture> inline, IReadOnlyList<SetPicture> chosen)
    {
        var w = new HtmlWriter();
        w.Add($"<!DOCTYPE html><html lang=\"en-GB\"><head><meta charset=\"utf-8\"><title>{SubjectOf(s)}</title></head><body style=\"margin:0;padding:16px;background:#f8f4ea;color:#26323c;font:15px/1.5 Segoe UI,Arial,sans-serif\">");
        w.Add($"<p style=\"font-size:17px;margin:0 0 10px\">{first}</p><p style=\"margin:0 0 14px\">Set {s.Number}: <b>{path}</b></p>");
        if (s.Estimate is { } e)
            w.Add($"<p style=\"margin:0 0 14px\">{Words.Grams(e.MassG)} cured, {Words.Ml(e.ResinMl)} of resin, {Words.Time(e.PrintS)}, {Words.Number(e.Cost.Amount, 2)} {e.Cost.Currency}, {Words.Count(e.Plates, "run")}.</p>");
        if (s.Findings.Count > 0)
        {
            w.Add($"<table style=\"border-collapse:collapse;max-width:760px\">");
            foreach (var f in Shown(s))
                w.Add($"<tr><td style=\"vertical-align:top;padding:6px 12px 6px 0;border-top:1px solid #cfc7b5\"><b>{Words.Of(f.Level)}</b></td><td style=\"padding:6px 0;border-top:1px solid #cfc7b5\">{Words.Prose(f.Text)}<br><i>{Words.Prose(f.Advice)}</i></td></tr>");
            w.Add($"</table>");
            if (s.Findings.Count > MostFindings) w.Add($"<p>{s.Findings.Count - MostFindings} more in the summary.</p>");
        }
        for (var i = 0; i < inline.Count; i++)
        {
            w.Add($"<p style=\"margin:16px 0 4px\"><img src=\"cid:{inline[i].ContentId}\" alt=\"{inline[i].Caption}\" width=\"{Math.Min(640, inline[i].Width)}\" style=\"max-width:100%;height:auto;border:1px solid #cfc7b5\"></p><p style=\"margin:0;font-size:13px\">{inline[i].Caption}");
            for (var k = 0; k < chosen[i].Marks.Count; k++) w.Add($"<br>{k + 1}: {chosen[i].Marks[k]}");
            w.Add($"</p>");
        }
        if (s.Outcome == Outcome.Check) w.Add($"<p>When you have looked and it may print: <code>stiltwright record {Words.OneLine(s.Number)} --accepted</code></p>");
        w.Add($"</body></html>");
        return w.ToString();
    }

    private static IEnumerable<FindingFacts> Shown(Summary s) => s.Findings.OrderByDescending(f => f.Level).Take(MostFindings);
}

/// <summary>A picture inside a mail.</summary>
/// <param name="ContentId">Its content id, without angle brackets.</param>
/// <param name="FileName">Its file name.</param>
/// <param name="Png">Its bytes.</param>
/// <param name="Caption">What it shows.</param>
/// <param name="Width">Pixels.</param>
/// <param name="Height">Pixels.</param>
public sealed record MailPicture(string ContentId, string FileName, byte[] Png, string Caption, int Width, int Height);
