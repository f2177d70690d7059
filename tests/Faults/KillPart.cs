using System.Collections.Concurrent;
using System.Diagnostics;
using System.Globalization;

namespace Stiltwright.Faults;

/// <summary>
/// SIGKILL to the service or its worker over a mixed load with real stages and a real mail server: in each state of a job,
/// the least visited first, until each was hit often enough, and at random instants. In rounds; each round has a print room
/// of its own and ends with the check of all promises. Several print rooms side by side: one alone leaves the machine idle
/// for most of the time, and the busier the machine, the more orders of events come about.
/// </summary>
internal static class KillPart
{
    private const int Wanted = 2000;
    private const int LeastInEach = 20;

    public static async Task<IReadOnlyList<string>> Run(Options options)
    {
        if (!OperatingSystem.IsLinux())
        {
            Console.WriteLine("Skipped: finding and halting the worker is only written for Linux.");
            return [];
        }

        var faults = new ConcurrentQueue<string>();
        var (most, each, limit, beside) = options.IsLong ? (Wanted, 100, TimeSpan.FromMinutes(options.Minutes), options.Beside) : (40, 40, TimeSpan.FromSeconds(75), 1);
        var tally = new KillTally();
        if (options.Tally is { } kept && File.Exists(kept)) tally.Add(File.ReadAllLines(kept));
        var (clock, already, seeds) = (Stopwatch.StartNew(), tally.Kills, options.Seed - 1);
        // The rooms wait for processes and disks, each on a thread of its own.
        ThreadPool.SetMinThreads(32, 32);
        await Task.WhenAll(Enumerable.Range(0, beside).Select(_ => Task.Run(async () =>
        {
            // One round at least, whatever the tally says.
            for (var first = true; (first || tally.Kills < most) && clock.Elapsed < limit && faults.IsEmpty; first = false)
            {
                var seed = Interlocked.Increment(ref seeds);
                await using var one = new KillRound(seed, tally);
                await one.Kill(Math.Clamp(most - tally.Kills, 10, each), limit - clock.Elapsed);
                await one.Drain();
                foreach (var f in one.Check()) faults.Enqueue($"round of seed {seed} (kept in {one.Keep()}): {f}");
                tally.Keep(options.Tally);
                Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{clock.Elapsed.TotalMinutes:0.0} min: round of seed {seed}, {tally.Kills} kills so far, {clock.Elapsed.TotalSeconds / Math.Max(1, tally.Kills - already):0.0} s a kill, {one.Start.TotalSeconds:0.0} s a start of the service. {one.Said}"));
            }
        })));

        tally.Print();
        return tally.Kills < Wanted ? [.. faults] : [.. faults, .. tally.Below(LeastInEach).Select(s => $"fewer than {LeastInEach} kills fell in the state \"{s}\"")];
    }
}

/// <summary>How many kills fell in which state, counted by several rooms at once.</summary>
internal sealed class KillTally
{
    private const int Enough = 24;

    private readonly Lock _lock = new();
    private readonly Dictionary<string, (int Host, int Worker)> _states = KillStates.All.ToDictionary(s => s, _ => (0, 0), StringComparer.Ordinal);

    public int Kills { get; private set; }

    public int OfHost { get; private set; }

    public int WithNothingInHand { get; private set; }

    /// <summary>A state in which the fewest kills fell, by lot where there are several; null where enough fell in each.</summary>
    public string? Least(Random random)
    {
        lock (_lock)
        {
            var least = _states.Values.Min(c => c.Host + c.Worker);
            var those = KillStates.All.Where(s => _states[s].Host + _states[s].Worker == least).ToArray();
            return least >= Enough ? null : those[random.Next(those.Length)];
        }
    }

    public void NoteHost(IReadOnlyList<string> states)
    {
        lock (_lock)
        {
            Kills++;
            OfHost++;
            if (states.Count == 0) WithNothingInHand++;
            foreach (var s in states.Distinct()) _states[s] = (_states[s].Host + 1, _states[s].Worker);
        }
    }

    public void NoteWorker(string state)
    {
        lock (_lock)
        {
            Kills++;
            _states[state] = (_states[state].Host, _states[state].Worker + 1);
        }
    }

    /// <summary>Keeps all counts in a file for a later run, where one is named.</summary>
    public void Keep(string? path)
    {
        if (path is null) return;
        lock (_lock) File.WriteAllLines(path, Lines);
    }

    /// <summary>All counts as text.</summary>
    private IEnumerable<string> Lines =>
        [string.Create(CultureInfo.InvariantCulture, $"{Kills}\t{OfHost}\t{WithNothingInHand}"), .. KillStates.All.Select(s => string.Create(CultureInfo.InvariantCulture, $"{s}\t{_states[s].Host}\t{_states[s].Worker}"))];

    /// <summary>Adds what an earlier run counted.</summary>
    public void Add(IReadOnlyList<string> lines)
    {
        var sums = lines[0].Split('\t').Select(n => int.Parse(n, CultureInfo.InvariantCulture)).ToArray();
        (Kills, OfHost, WithNothingInHand) = (Kills + sums[0], OfHost + sums[1], WithNothingInHand + sums[2]);
        foreach (var line in lines.Skip(1).Select(l => l.Split('\t')))
        {
            var (host, worker) = _states[line[0]];
            _states[line[0]] = (host + int.Parse(line[1], CultureInfo.InvariantCulture), worker + int.Parse(line[2], CultureInfo.InvariantCulture));
        }
    }

    public IEnumerable<string> Below(int count) => KillStates.All.Where(s => _states[s].Host + _states[s].Worker < count);

    public void Print()
    {
        Console.WriteLine($"{Kills} kills: {OfHost} of the service, {Kills - OfHost} of a worker. State of a job at the kill (a kill of the service may find several jobs):");
        Console.WriteLine($"  {"state",-26} {"service",8} {"worker",8}");
        foreach (var s in KillStates.All) Console.WriteLine($"  {s,-26} {_states[s].Host,8} {_states[s].Worker,8}");
        Console.WriteLine($"  {"no job in hand",-26} {WithNothingInHand,8}");
    }
}
