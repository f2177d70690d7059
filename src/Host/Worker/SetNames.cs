using System.Globalization;
using System.Text;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Worker;

/// <summary>Names of the files of a set: valid on Windows and Linux alike, whatever the source is called.</summary>
public static class SetNames
{
    /// <summary>Longest name without ending, in UTF-8 bytes; leaves room for endings and the share's own limits.</summary>
    private const int MostBytes = 150;

    /// <summary>"anglerfish-200", "anglerfish-320mm" or "anglerfish-234" for 32 to 75.</summary>
    public static string Stem(string sourceName, TargetSize target)
    {
        var size = target.HeightMm is { } h ? $"{Number(h)}mm" : Number(target.Percent ?? 100 * target.To!.Value / target.From!.Value);
        return $"{Safe(Path.GetFileNameWithoutExtension(sourceName))}-{size}";

        static string Number(double v) => Math.Round(v, 1).ToString("0.#", CultureInfo.InvariantCulture);
    }

    /// <summary>A piece's file without ending: "anglerfish-200" or "anglerfish-200-b".</summary>
    public static string OfPiece(string stem, string letter) => letter.Length == 0 ? stem : $"{stem}-{letter}";

    /// <summary>The name with everything replaced that Windows refuses, cut to a length that every share takes.</summary>
    public static string Safe(string name)
    {
        var safe = new StringBuilder();
        foreach (var rune in name.Normalize(NormalizationForm.FormC).EnumerateRunes())
            safe.Append(Rune.IsControl(rune) || rune.Value is '<' or '>' or ':' or '"' or '/' or '\\' or '|' or '?' or '*' || rune == Rune.ReplacementChar ? "_" : rune.ToString());
        var text = safe.ToString().Trim(' ', '.');
        while (Encoding.UTF8.GetByteCount(text) > MostBytes)
            text = text[..^(char.IsLowSurrogate(text[^1]) ? 2 : 1)];
        var stem = text.Split('.')[0].ToUpperInvariant();
        var reserved = stem is "CON" or "PRN" or "AUX" or "NUL" || (stem.Length == 4 && (stem.StartsWith("COM", StringComparison.Ordinal) || stem.StartsWith("LPT", StringComparison.Ordinal)) && char.IsAsciiDigit(stem[3]));
        return text.Length == 0 ? "figure" : reserved ? "_" + text : text;
    }
}
