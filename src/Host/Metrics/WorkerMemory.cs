using System.Collections.Concurrent;

namespace Stiltwright.Host.Metrics;

/// <summary>Resident memory of the workers of this process, as last seen by those who watch them.</summary>
public static class WorkerMemory
{
    private static readonly ConcurrentDictionary<int, long> Seen = new();

    /// <summary>All together, bytes.</summary>
    public static long Bytes => Seen.Values.Sum();

    /// <summary>What some of them take, bytes.</summary>
    public static long Of(IEnumerable<int> processes) => processes.Sum(p => Seen.GetValueOrDefault(p));

    /// <summary>Notes what a worker takes.</summary>
    public static void Note(int process, long bytes) => Seen[process] = bytes;

    /// <summary>A worker ended.</summary>
    public static void Ended(int process) => Seen.TryRemove(process, out _);
}
