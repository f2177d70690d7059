using System.Diagnostics;
using System.Globalization;
using System.Text.RegularExpressions;

namespace Stiltwright.Benchmarks.Peers;

/// <summary>A fact of our result that has a name, and how far it may be from what it should be.</summary>
/// <param name="Name">The word before the number in a peer's facts (such as <c>tris</c>); where no peer says it, only <paramref name="Published"/> counts.</param>
/// <param name="Value">What we found.</param>
/// <param name="Tolerance">Largest difference that still counts as equal.</param>
/// <param name="Published">The value that the peers' README gives, if any.</param>
internal sealed record Fact(string Name, double Value, double Tolerance = 0, double? Published = null);

/// <summary>Our side of a task, inputs already in memory.</summary>
/// <param name="Work">What is timed.</param>
/// <param name="Facts">What came out; asked for after the last run, outside the time.</param>
internal sealed record OwnTask(Action Work, Func<IReadOnlyList<Fact>> Facts);

/// <summary>One timed run of our own side.</summary>
internal static class OwnRun
{
    /// <summary>Runs once; garbage of what ran before is collected first, outside the time.</summary>
    public static (double WallS, double CpuS) Time(Action work)
    {
        GC.Collect();
        GC.WaitForPendingFinalizers();
        using var process = Process.GetCurrentProcess();
        var cpu = process.TotalProcessorTime;
        var clock = Stopwatch.StartNew();
        work();
        var wall = clock.Elapsed.TotalSeconds;
        process.Refresh();
        return (wall, (process.TotalProcessorTime - cpu).TotalSeconds);
    }

    /// <summary>What is wrong with our facts, in a sentence, or null: each is compared with the README's value and with what the peer says.</summary>
    public static string? Wrong(IReadOnlyList<Fact> facts, string peersFacts)
    {
        foreach (var f in facts)
        {
            if (f.Published is { } p && !(Math.Abs(f.Value - p) <= f.Tolerance)) return string.Create(CultureInfo.InvariantCulture, $"{f.Name} is {f.Value}, not {p}");
            var match = Regex.Match(peersFacts, $@"(?:^|[ ,;(]){Regex.Escape(f.Name)} (-?[0-9.]+)");
            if (!match.Success) continue;
            var said = double.Parse(match.Groups[1].Value.TrimEnd('.'), CultureInfo.InvariantCulture);
            if (!(Math.Abs(f.Value - said) <= f.Tolerance)) return string.Create(CultureInfo.InvariantCulture, $"{f.Name} is {f.Value}, the peer says {said}");
        }
        return null;
    }
}
