using System.Collections.Concurrent;

namespace Stiltwright.Geometry;

/// <summary>Long passes over arrays, split into ranges of a fixed size so that what comes out does not depend on the number of threads.</summary>
internal static class Ranges
{
    /// <summary>Entries in one range.</summary>
    internal const int Size = 1 << 15;

    /// <summary>Threads at most for all work begun from here on (0: as many as there are processors); so that a test can compare one with many.</summary>
    internal static readonly AsyncLocal<int> MostThreads = new();

    /// <summary>For Parallel.For.</summary>
    internal static ParallelOptions Threads => new() { MaxDegreeOfParallelism = MostThreads.Value > 0 ? MostThreads.Value : Environment.ProcessorCount };

    /// <summary>Number of ranges for so many entries.</summary>
    internal static int Count(int entries) => (entries + Size - 1) / Size;

    /// <summary>Does the work for every range (number, first entry, end); small passes stay on this thread.</summary>
    internal static void For(int entries, Action<int, int, int> work)
    {
        var ranges = Count(entries);
        if (ranges == 1) work(0, 0, entries);
        else if (ranges > 1) Parallel.For(0, ranges, Threads, r => work(r, r * Size, Math.Min(entries, (r + 1) * Size)));
    }

    /// <summary>Does a few long pieces of work of unequal length: handed out one by one, so that no thread waits for another's share.</summary>
    internal static void OneByOne(int pieces, ParallelOptions options, Action<int> work)
    {
        if (pieces > 0) Parallel.ForEach(Partitioner.Create(Enumerable.Range(0, pieces), EnumerablePartitionerOptions.NoBuffering), options, work);
    }

    /// <summary>Entries for which the test holds, in rising order.</summary>
    internal static int[] Where(int entries, Func<int, bool> holds)
    {
        var found = new List<int>[Count(entries)];
        For(entries, (r, from, to) =>
        {
            var own = found[r] = [];
            for (var i = from; i < to; i++)
                if (holds(i)) own.Add(i);
        });
        var all = new int[found.Sum(f => f.Count)];
        var at = 0;
        foreach (var f in found)
        {
            f.CopyTo(all, at);
            at += f.Count;
        }
        return all;
    }
}
