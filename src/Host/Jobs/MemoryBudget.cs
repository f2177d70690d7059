using Stiltwright.Host.Configuration;

namespace Stiltwright.Host.Jobs;

/// <summary>
/// Keeps the jobs that run at the same time within the memory of the machine: each reserves what a source of its size may
/// need before it begins. A job larger than the whole budget runs alone.
/// </summary>
public sealed class MemoryBudget(long budgetMiB)
{
    // Measured on figures of 0.1 to 1 million triangles: resident memory of a worker over bytes of a binary source.
    private const double MiBPerSourceMiB = 60;
    private const double LeastMiB = 400;

    private readonly Lock _lock = new();
    private readonly Queue<(long Need, TaskCompletionSource Turn)> _waiting = new();
    private long _taken;

    /// <summary>Memory that may be taken together, MiB.</summary>
    public long BudgetMiB => budgetMiB;

    /// <summary>Three quarters of what this machine (or the container it runs in) has, MiB.</summary>
    public static long OfThisMachine => (GC.GetGCMemoryInfo().TotalAvailableMemoryBytes >> 20) * 3 / 4;

    /// <summary>What a source of that many bytes may need, MiB; never more than the worker's own limit.</summary>
    public static long Need(long bytes, WorkerSettings limits) =>
        (long)Math.Min(limits.MemoryMiB, LeastMiB + (bytes / 1048576.0 * MiBPerSourceMiB));

    /// <summary>Waits until there is room, in the order of asking; what it returns gives the room back.</summary>
    public async Task<IDisposable> Reserve(long needMiB, CancellationToken cancel)
    {
        needMiB = Math.Min(needMiB, budgetMiB);
        TaskCompletionSource turn;
        lock (_lock)
        {
            if (_waiting.Count == 0 && _taken + needMiB <= budgetMiB)
            {
                _taken += needMiB;
                return new Room(this, needMiB);
            }

            turn = new TaskCompletionSource(TaskCreationOptions.RunContinuationsAsynchronously);
            _waiting.Enqueue((needMiB, turn));
        }

        try
        {
            await turn.Task.WaitAsync(cancel).ConfigureAwait(false);
        }
        catch (OperationCanceledException)
        {
            // Its turn may have come at the same moment: then the room is given back, else the place in the row is.
            if (!turn.TrySetCanceled(cancel)) Give(needMiB);
            throw;
        }

        return new Room(this, needMiB);
    }

    private void Give(long miB)
    {
        lock (_lock)
        {
            _taken -= miB;
            while (_waiting.TryPeek(out var next))
            {
                if (!next.Turn.Task.IsCompleted)
                {
                    if (_taken + next.Need > budgetMiB) return;
                    if (next.Turn.TrySetResult()) _taken += next.Need;
                }

                _waiting.Dequeue();
            }
        }
    }

    private sealed class Room(MemoryBudget of, long miB) : IDisposable
    {
        private int _given;

        public void Dispose()
        {
            if (Interlocked.Exchange(ref _given, 1) == 0) of.Give(miB);
        }
    }
}
