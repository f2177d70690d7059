using Stiltwright.Sdk;

namespace Stiltwright.Host.Summaries;

/// <summary>The first sentence of page and mail: which file, what became of it, what to do.</summary>
public static class Headline
{
    /// <summary>True if the job was refused: there is nothing to print.</summary>
    public static bool Refused(Summary s) => s.Pieces.Count == 0;

    /// <summary>The finding that decides the outcome, or null for a ready set: the first of the worst level.</summary>
    public static FindingFacts? Deciding(Summary s) => s.Outcome switch
    {
        Outcome.Stop => s.Findings.FirstOrDefault(f => f.Level == Level.Stop),
        Outcome.Check => s.Findings.FirstOrDefault(f => f.Level == Level.Check),
        _ => null,
    };

    /// <summary>The outcome in plain words.</summary>
    public static string Of(Summary s)
    {
        var name = $"“{Words.OneLine(s.Source.File)}”";
        var f = Deciding(s);
        var why = f is null ? "" : $" {Words.Prose(Sentence(f.Text))} {Words.Prose(Sentence(f.Advice))}".TrimEnd();
        if (Refused(s)) return $"{name} was not done: nothing was made to print.{why}";
        var scaled = s.Scale is { } k ? $" at {Words.Scale(k)}" : "";
        var what = s.Pieces.Count == 1 ? s.Pieces[0].File : Words.Count(s.Pieces.Count, "piece");
        return s.Outcome switch
        {
            Outcome.Ready => $"{name}{scaled} is ready to print: {what}{Needs(s)}.",
            Outcome.Check => $"{name}{scaled} is made, but somebody must look before it is printed.{why}{More(s, Level.Check)}",
            _ => $"{name}{scaled} must not be printed as it is.{why}{More(s, Level.Stop)}",
        };
    }

    private static string Needs(Summary s)
    {
        var parts = new List<string>();
        if (s.Height is { } h) parts.Add($"the figure {Words.Mm(h.StandingMm)} tall when standing");
        if (s.Estimate is { } e) parts.Add($"{Words.Ml(e.ResinMl)} of resin, {Words.Time(e.PrintS)} in {Words.Count(e.Plates, "run")}");
        return parts.Count == 0 ? "" : ", " + string.Join(", ", parts);
    }

    private static string More(Summary s, Level level)
    {
        var n = s.Findings.Count(f => f.Level == level) - 1;
        return n <= 0 ? "" : $" There {(n == 1 ? "is" : "are")} {n} more like this below.";
    }

    private static string Sentence(string text) => text.Length == 0 || text[^1] is '.' or '!' or '?' ? text : text + ".";
}
