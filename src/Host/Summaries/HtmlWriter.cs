using System.Globalization;
using System.Runtime.CompilerServices;
using System.Text;
using System.Text.Encodings.Web;
using System.Text.Unicode;

namespace Stiltwright.Host.Summaries;

/// <summary>
/// Builds a page from interpolated strings. The literal parts are markup, every hole is text and is escaped: names with
/// quotes or tags in them cannot break the page, because there is no way to add a string unescaped.
/// </summary>
public sealed class HtmlWriter
{
    // Other scripts stay readable; what has a meaning in HTML, control characters and broken surrogates do not pass.
    private static readonly HtmlEncoder Encoder = HtmlEncoder.Create(UnicodeRanges.All);
    private readonly StringBuilder _page = new();

    /// <summary>Adds markup with escaped holes.</summary>
    public HtmlWriter Add([InterpolatedStringHandlerArgument("")] ref Handler markup)
    {
        _ = markup;
        return this;
    }

    /// <summary>Adds a picture as a data URI, so that the page needs no other file to show it.</summary>
    public HtmlWriter AddPngUri(ReadOnlySpan<byte> png)
    {
        _page.Append("data:image/png;base64,").Append(Convert.ToBase64String(png));
        return this;
    }

    /// <summary>The page so far.</summary>
    public override string ToString() => _page.ToString();

    /// <summary>Text as it may stand between tags and in quoted attributes.</summary>
    public static string Escape(string text) => Encoder.Encode(text);

    /// <summary>
    /// A relative link to a file of the set: each part of the path percent-encoded, so that names with #, ?, % or spaces
    /// open, and no name can become a scheme.
    /// </summary>
    public static string Link(string relativePath) =>
        "./" + string.Join('/', relativePath.Split('/', '\\').Where(p => p is not ("" or ".")).Select(p => p == ".." ? p : Uri.EscapeDataString(p)));

    /// <summary>Receives the parts of an interpolated string.</summary>
    [InterpolatedStringHandler]
    public readonly ref struct Handler
    {
        private readonly StringBuilder _page;

        /// <summary>Starts; called by the compiler.</summary>
        public Handler(int literalLength, int holes, HtmlWriter writer)
        {
            _ = literalLength + holes;
            _page = writer._page;
        }

        /// <summary>A literal part: markup.</summary>
        public void AppendLiteral(string markup) => _page.Append(markup);

        /// <summary>A hole: text, escaped.</summary>
        public void AppendFormatted(string? text) => _page.Append(Escape(text ?? ""));

        /// <summary>A count.</summary>
        public void AppendFormatted(int count) => _page.Append(count.ToString(CultureInfo.InvariantCulture));

        /// <summary>A coordinate of a drawing, to a hundredth.</summary>
        public void AppendFormatted(double coordinate) => _page.Append(coordinate.ToString("0.##", CultureInfo.InvariantCulture));
    }
}
