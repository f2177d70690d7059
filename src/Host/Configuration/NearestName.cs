namespace Stiltwright.Host.Configuration;

/// <summary>Finds the known name that a mistyped one was probably meant to be.</summary>
public static class NearestName
{
    /// <summary>
    /// Number of single-letter insertions, removals, replacements and swaps of neighbours that turn one word into the
    /// other (optimal string alignment distance), upper and lower case being the same.
    /// </summary>
    public static int Distance(string a, string b)
    {
        a = a.ToLowerInvariant();
        b = b.ToLowerInvariant();
        var d = new int[a.Length + 1, b.Length + 1];
        for (var i = 0; i <= a.Length; i++) d[i, 0] = i;
        for (var j = 0; j <= b.Length; j++) d[0, j] = j;
        for (var i = 1; i <= a.Length; i++)
        {
            for (var j = 1; j <= b.Length; j++)
            {
                var change = a[i - 1] == b[j - 1] ? 0 : 1;
                var best = Math.Min(Math.Min(d[i - 1, j] + 1, d[i, j - 1] + 1), d[i - 1, j - 1] + change);
                if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) best = Math.Min(best, d[i - 2, j - 2] + 1);
                d[i, j] = best;
            }
        }

        return d[a.Length, b.Length];
    }

    /// <summary>The nearest of the known names, or null if none is near enough to be a typing mistake.</summary>
    public static string? Of(string name, IEnumerable<string> known)
    {
        string? best = null;
        var least = int.MaxValue;
        foreach (var k in known)
        {
            // A word of any length is not compared beyond what a person could have mistyped.
            if (Math.Abs(k.Length - name.Length) > 8 || name.Length > 80) continue;
            var d = Distance(name, k);
            if (d < least || (d == least && string.CompareOrdinal(k, best) < 0)) (best, least) = (k, d);
        }

        return best is not null && least <= Math.Max(2, best.Length / 3) ? best : null;
    }

    /// <summary>A half sentence for a message: the nearest name, or all known ones.</summary>
    public static string Advice(string name, IReadOnlyCollection<string> known) =>
        Of(name, known) is { } near ? $"did you mean \"{near}\"?"
        : known.Count == 0 ? "none is known."
        : $"known are {string.Join(", ", known.Select(k => $"\"{k}\""))}.";
}
