using System.Globalization;

namespace Stiltwright.Host.Commands;

/// <summary>
/// A line that shows how far something is. In a terminal it is drawn over and over; elsewhere each new stage is one plain line.
/// </summary>
public sealed class ProgressBar(TextWriter to, bool terminal) : IDisposable
{
    private const int Cells = 24;
    private readonly Lock _lock = new();
    private string _last = "";
    private string _lastStage = "";

    /// <summary>A bar on standard error, so that standard output holds results only.</summary>
    public static ProgressBar OnConsole() => new(Console.Error, !Console.IsErrorRedirected);

    /// <summary>Shows a share, 0..1, with a word of what is being done.</summary>
    public void Show(double share, string what)
    {
        lock (_lock)
        {
            if (!terminal)
            {
                if (what != _lastStage) to.WriteLine(what);
                _lastStage = what;
                return;
            }

            share = Math.Clamp(share, 0, 1);
            var full = (int)Math.Round(share * Cells);
            var line = string.Create(CultureInfo.InvariantCulture, $"{new string('=', full)}{new string('.', Cells - full)} {share * 100,3:0} %  {what}");
            if (line == _last) return;
            to.Write("\r" + line.PadRight(_last.Length));
            to.Flush();
            _last = line;
        }
    }

    /// <summary>Wipes the bar.</summary>
    public void Dispose()
    {
        lock (_lock)
        {
            if (terminal && _last.Length > 0) to.Write("\r" + new string(' ', _last.Length) + "\r");
            _last = "";
        }
    }
}
