using System.Globalization;
using System.Text;

namespace Stiltwright.Geometry.Files;

/// <summary>
/// Walks through the bytes of a text file word by word or line by line, counts lines (LF, CR LF and CR end one) and reads
/// numbers with a point as decimal mark, whatever the machine's culture.
/// </summary>
internal sealed class TextScanner
{
    private const int LongestWord = 1 << 20;
    private readonly Stream _stream;
    private readonly string _name;
    private byte[] _buffer = new byte[1 << 18];
    private int _at;
    private int _end;
    private bool _ended;
    private long _before;

    internal TextScanner(Stream stream, string name)
    {
        _stream = stream;
        _name = name;
        Fill(3);
        if (_end >= 3 && _buffer[0] == 0xEF && _buffer[1] == 0xBB && _buffer[2] == 0xBF) _at = 3;
    }

    /// <summary>The line (from 1) on which the next byte lies.</summary>
    internal long Line { get; private set; } = 1;

    /// <summary>The line of the last word or line that was handed out.</summary>
    internal long WordLine { get; private set; } = 1;

    /// <summary>The place of the next byte in the file.</summary>
    internal long Position => _before + _at;

    internal MeshReadException Refuse(string sentence) => new($"{_name}, line {WordLine}: {sentence}");

    /// <summary>The next word, over line ends; false at the end of the file. The span lives until the next call.</summary>
    internal bool NextWord(out ReadOnlySpan<byte> word)
    {
        while (true)
        {
            if (_at == _end && !Fill(1)) { word = default; WordLine = Line; return false; }
            var b = _buffer[_at];
            if (b > ' ') break;
            Skip(b);
        }
        WordLine = Line;
        word = WordHere();
        return true;
    }

    /// <summary>The next word on this line; false at the line's end (which stays).</summary>
    internal bool NextWordOnLine(out ReadOnlySpan<byte> word)
    {
        while (true)
        {
            if (_at == _end && !Fill(1)) { word = default; return false; }
            var b = _buffer[_at];
            if (b is (byte)'\n' or (byte)'\r') { word = default; return false; }
            // A backslash before the line's end carries the line on (OBJ).
            if (b == '\\' && LineEndFollows()) continue;
            if (b > ' ') break;
            _at++;
        }
        WordLine = Line;
        word = WordHere();
        return true;
    }

    /// <summary>What is left of this line as text, without blanks at its ends; the line's end stays.</summary>
    internal string RestOfLine()
    {
        var n = 0;
        _afterReturn = false;
        while (true)
        {
            if (_at + n == _end && !Fill(n + 1)) break;
            if (_buffer[_at + n] is (byte)'\n' or (byte)'\r') break;
            if (++n > LongestWord) throw Refuse("the line is longer than a million characters.");
        }
        var text = Encoding.UTF8.GetString(_buffer, _at, n).Trim();
        _at += n;
        return text;
    }

    /// <summary>Passes over the rest of this line and its end; false at the end of the file.</summary>
    internal bool SkipLine()
    {
        while (true)
        {
            if (_at == _end && !Fill(1)) return false;
            var b = _buffer[_at];
            if (b == '\\' && LineEndFollows()) continue;
            Skip(b);
            if (b is (byte)'\n' or (byte)'\r')
            {
                if (b == '\r' && (_at < _end || Fill(1)) && _buffer[_at] == '\n') Skip((byte)'\n');
                return true;
            }
        }
    }

    internal double Number(ReadOnlySpan<byte> word, string what)
    {
        if (!TryNumber(word, out var d))
            throw Refuse(word.Contains((byte)',')
                ? $"\"{Show(word)}\" is no number for {what}: decimals need a point, not a comma."
                : $"\"{Show(word)}\" is no number for {what}.");
        return d;
    }

    /// <summary>A decimal number; correctly rounded. Short ones take the exact path of Clinger 1990 (PLDI): digits below 2^53 times or over 10^k, k up to 22.</summary>
    internal static bool TryNumber(ReadOnlySpan<byte> s, out double value)
    {
        var i = s.Length > 0 && (s[0] == '-' || s[0] == '+') ? 1 : 0;
        long digits = 0;
        var scale = 0;
        bool any = false, point = false;
        for (; i < s.Length; i++)
        {
            var d = s[i] - '0';
            if ((uint)d <= 9)
            {
                any = true;
                digits = digits * 10 + d;
                if (digits > 1L << 53) return Slow(s, out value);
                if (point) scale--;
            }
            else if (s[i] == '.' && !point) point = true;
            else break;
        }
        if (any && i < s.Length && (s[i] == 'e' || s[i] == 'E'))
        {
            i++;
            var minus = i < s.Length && s[i] == '-';
            if (i < s.Length && (s[i] == '-' || s[i] == '+')) i++;
            var from = i;
            var e = 0;
            for (; i < s.Length && (uint)(s[i] - '0') <= 9 && e < 10000; i++) e = e * 10 + (s[i] - '0');
            if (i == from) return Slow(s, out value);
            scale += minus ? -e : e;
        }
        if (!any || i < s.Length || scale < -22 || scale > 22) return Slow(s, out value);
        value = scale < 0 ? digits / Tens[-scale] : digits * Tens[scale];
        if (s[0] == '-') value = -value;
        return true;

        static bool Slow(ReadOnlySpan<byte> s, out double v) => double.TryParse(s, NumberStyles.Float, CultureInfo.InvariantCulture, out v);
    }

    /// <summary>A word from the file for a message: short, and nothing in it that a terminal or page would obey.</summary>
    internal static string Show(ReadOnlySpan<byte> word)
    {
        var text = Encoding.UTF8.GetString(word[..Math.Min(40, word.Length)]);
        return string.Concat(text.Select(c => char.IsControl(c) || char.IsSurrogate(c) ? '?' : c)) + (word.Length > 40 ? "..." : "");
    }

    /// <summary>True for the same word whatever the case (the second in lower-case ASCII).</summary>
    internal static bool Same(ReadOnlySpan<byte> word, ReadOnlySpan<byte> lower)
    {
        if (word.Length != lower.Length) return false;
        for (var i = 0; i < word.Length; i++)
            if ((word[i] is >= (byte)'A' and <= (byte)'Z' ? word[i] + 32 : word[i]) != lower[i]) return false;
        return true;
    }

    private static readonly double[] Tens =
        [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22];

    private ReadOnlySpan<byte> WordHere()
    {
        var n = 1;
        _afterReturn = false;
        while (true)
        {
            if (_at + n == _end && !Fill(n + 1)) break;
            if (_buffer[_at + n] <= ' ') break;
            if (++n > LongestWord) throw Refuse("a word is longer than a million characters; this is no text of this format.");
        }
        var word = _buffer.AsSpan(_at, n);
        _at += n;
        return word;
    }

    private void Skip(byte b)
    {
        _at++;
        if (b == '\n' && !_afterReturn || b == '\r') Line++;
        _afterReturn = b == '\r';
    }

    private bool _afterReturn;

    private bool LineEndFollows()
    {
        if (!(_at + 1 < _end || Fill(2)) || _buffer[_at + 1] is not ((byte)'\n' or (byte)'\r')) return false;
        _at++;
        var b = _buffer[_at];
        Skip(b);
        if (b == '\r' && (_at < _end || Fill(1)) && _buffer[_at] == '\n') Skip((byte)'\n');
        return true;
    }

    /// <summary>Makes at least so many bytes ready from the present place; false where the file ends before.</summary>
    private bool Fill(int needed)
    {
        if (_end - _at >= needed) return true;
        if (_ended) return false;
        if (_at > 0)
        {
            Buffer.BlockCopy(_buffer, _at, _buffer, 0, _end - _at);
            _before += _at;
            _end -= _at;
            _at = 0;
        }
        if (needed > _buffer.Length) Array.Resize(ref _buffer, 2 * _buffer.Length);
        while (_end < needed)
        {
            var got = _stream.Read(_buffer, _end, _buffer.Length - _end);
            if (got == 0) { _ended = true; return false; }
            _end += got;
        }
        return true;
    }
}
