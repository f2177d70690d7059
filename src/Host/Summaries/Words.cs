using System.Globalization;
using System.Text;
using System.Text.RegularExpressions;
using Stiltwright.Geometry;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Summaries;

/// <summary>Numbers and states as a person reads them.</summary>
public static partial class Words
{
    private static readonly CultureInfo C = CultureInfo.InvariantCulture;

    /// <summary>A number with a fixed count of decimals and commas between thousands.</summary>
    public static string Number(double value, int decimals = 0) => value.ToString("N" + decimals.ToString(C), C);

    /// <summary>A number with as many decimals as it needs, three at most, so that 2 mm does not read 2.000 mm.</summary>
    public static string Short(double value) => value.ToString("#,0.###", C);

    /// <summary>A length.</summary>
    public static string Mm(double mm) => (Math.Abs(mm) >= 100 ? Number(mm) : Math.Abs(mm) >= 10 ? Number(mm, 1) : Number(mm, 2)) + " mm";

    /// <summary>A size, x by y by z.</summary>
    public static string Size(Vec3 s) => $"{Number(s.X, 1)} x {Number(s.Y, 1)} x {Number(s.Z, 1)} mm";

    /// <summary>A place.</summary>
    public static string Place(Vec3 p) => $"x {Number(p.X, 1)}, y {Number(p.Y, 1)}, z {Number(p.Z, 1)} mm";

    /// <summary>A volume: mm3 while small, ml above a millilitre.</summary>
    public static string Volume(double mm3) => Math.Abs(mm3) < 1000 ? Number(mm3, mm3 < 10 ? 1 : 0) + " mm³" : Number(mm3 / 1000, mm3 < 100_000 ? 1 : 0) + " ml";

    /// <summary>A mass.</summary>
    public static string Grams(double g) => Number(g, g < 100 ? 1 : 0) + " g";

    /// <summary>An amount of resin.</summary>
    public static string Ml(double ml) => Number(ml, ml < 100 ? 1 : 0) + " ml";

    /// <summary>A share of one in percent.</summary>
    public static string Percent(double share) => Number(100 * share) + " %";

    /// <summary>A scale in percent, with decimals only where it has them.</summary>
    public static string Scale(double scale) => (100 * scale).ToString("0.##", C) + " %";

    /// <summary>A time: seconds, minutes, or hours and minutes.</summary>
    public static string Time(double seconds)
    {
        if (seconds < 10) return Number(seconds, 1) + " s";
        if (seconds < 120) return Number(seconds) + " s";
        var minutes = (long)Math.Round(seconds / 60);
        return minutes < 60 ? $"{minutes} min" : minutes % 60 == 0 ? $"{minutes / 60} h" : $"{minutes / 60} h {minutes % 60} min";
    }

    /// <summary>A date and time to the minute with its offset from UTC.</summary>
    public static string When(DateTimeOffset t) => t.ToString("yyyy-MM-dd HH:mm zzz", C);

    /// <summary>A count with its noun, e.g. "1 hole", "3 holes".</summary>
    public static string Count(int n, string one, string? many = null) => $"{n.ToString("N0", C)} {(n == 1 ? one : many ?? one + "s")}";

    /// <summary>The level of a finding.</summary>
    public static string Of(Level level) => level switch { Level.Note => "note", Level.Check => "check", _ => "stop" };

    /// <summary>The outcome of a set.</summary>
    public static string Of(Outcome outcome) => outcome switch { Outcome.Ready => "ready", Outcome.Check => "check", _ => "stop" };

    /// <summary>What a way of enlarging is.</summary>
    public static string Way(string way) => way switch
    {
        "as-is" => "enlarged only",
        "hollowed" => "enlarged and hollowed",
        "thinned-hollowed" => "hollowed, struts thinned (this set)",
        _ => way,
    };

    /// <summary>A piece: "piece a", or "the set" for the only one.</summary>
    public static string Piece(string letter) => letter.Length == 0 ? "the set" : $"piece {letter}";

    /// <summary>
    /// Which way a part is turned when a direction points down, told from the print position: front is -y, right is +x,
    /// the platform is below.
    /// </summary>
    public static string TurnedDown(Vec3 down)
    {
        var d = down.Unit();
        var angle = Math.Acos(Math.Clamp(-d.Z, -1, 1)) * 180 / Math.PI;
        if (angle < 10) return "as printed, with the platform's side down";
        if (angle > 170) return "upside down, with the platform's side up";
        var side = (d.Y < -0.38 * Across(d) ? "front" : d.Y > 0.38 * Across(d) ? "back" : "", d.X > 0.38 * Across(d) ? "right" : d.X < -0.38 * Across(d) ? "left" : "");
        var words = (side.Item1 + " " + side.Item2).Trim();
        return $"turned {Number(angle)}° from the print position, so that its {words} side is lowest";
    }

    /// <summary>
    /// A name or sentence on one line without control characters, for a subject line or a plain text: each becomes a space.
    /// Direction overrides go too: they could make a name read as another one.
    /// </summary>
    public static string OneLine(string text)
    {
        var b = new StringBuilder(text.Length);
        foreach (var rune in text.EnumerateRunes())
        {
            var kind = Rune.GetUnicodeCategory(rune);
            b.Append(kind is UnicodeCategory.Control or UnicodeCategory.LineSeparator or UnicodeCategory.ParagraphSeparator or UnicodeCategory.Surrogate
                || rune.Value is >= 0x202A and <= 0x202E or >= 0x2066 and <= 0x2069 ? " " : rune.ToString());
        }
        return b.ToString().Trim();
    }

    /// <summary>A sentence of a stage as a page shows it: mm2 and mm3, as plain files write them, become mm² and mm³.</summary>
    public static string Prose(string text) => PlainUnits().Replace(text, m => m.Value[^1] == '2' ? "mm²" : "mm³");

    [GeneratedRegex(@"\bmm[23]\b")]
    private static partial Regex PlainUnits();

    private static double Across(Vec3 d) => Math.Sqrt(d.X * d.X + d.Y * d.Y);
}
