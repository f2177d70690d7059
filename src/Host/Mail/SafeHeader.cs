using System.Globalization;
using System.Text;
using MimeKit;

namespace Stiltwright.Host.Mail;

/// <summary>
/// File names become subjects and addresses come from files: nothing that reaches a header may hold a line break or
/// another control character (RFC 5322, 2.2: a header field ends at CRLF).
/// </summary>
public static class SafeHeader
{
    private const int LongestSubject = 200;

    /// <summary>The text with every control, format and line-separating character replaced by a space, cut to a length that fits a subject.</summary>
    public static string Clean(string text)
    {
        var b = new StringBuilder(Math.Min(text.Length, LongestSubject));
        foreach (var rune in text.EnumerateRunes())
        {
            if (b.Length >= LongestSubject) break;
            var category = Rune.GetUnicodeCategory(rune);
            var unsafeRune = category is UnicodeCategory.Control or UnicodeCategory.Format or UnicodeCategory.LineSeparator
                or UnicodeCategory.ParagraphSeparator or UnicodeCategory.Surrogate;
            b.Append(unsafeRune ? " " : rune.ToString());
        }

        return b.ToString().Trim();
    }

    /// <summary>True if the text is one plain mail address that cannot smuggle anything into a command or header.</summary>
    public static bool IsAddress(string text) =>
        !text.Any(char.IsControl) && MailboxAddress.TryParse(text, out var box) && box.Address.Contains('@') && !box.Address.Any(c => char.IsControl(c) || c is ' ' or '<' or '>');
}
