using Microsoft.Extensions.Logging;

namespace Stiltwright.Host.Jobs;

/// <summary>
/// Makes ledger and engine agree again, whatever was cut off: runs that a dead service left, finished sets that still wait
/// in scratch, queued jobs of which the engine knows nothing, mails that nobody is reminded of. Runs after each look.
/// </summary>
public sealed class Upkeep(ServiceState state, Ledger ledger, IQueue queue, JobDesk desk, Retention retention, TimeProvider time, ILogger<Upkeep> log, Mail.Outbox? outbox = null)
{
    private static readonly TimeSpan WaitBeforeRetry = TimeSpan.FromSeconds(30);
    private static readonly TimeSpan WaitBeforeRemind = TimeSpan.FromSeconds(60);
    private static readonly TimeSpan RetentionEvery = TimeSpan.FromHours(6);

    // Where services share the queues, so many forgotten jobs are queued again at a time: each of them may remind.
    private const int MostReminded = 20;

    private readonly SemaphoreSlim _takingUp = new(1);
    private readonly Dictionary<string, long> _tried = new(StringComparer.Ordinal);
    private Task _publishing = Task.CompletedTask;
    private long? _untried;
    private long? _retained;
    private string _startedFor = "";

    /// <summary>Does what is due.</summary>
    public async Task Once(CancellationToken cancel)
    {
        await TakeUp(cancel).ConfigureAwait(false);
        if (_startedFor != state.ShareId)
        {
            // The first look at this share: what was queued before is queued again; a message too many does nothing. Where
            // services share the queues, others work on them already.
            if (!ledger.Store.Shared) foreach (var job in ledger.QueuedFor(state.ShareId, TimeSpan.Zero)) await queue.Job(job.Id, state.IsLarge(job.Bytes)).ConfigureAwait(false);
            _startedFor = state.ShareId;
        }

        foreach (var job in ledger.WaitingFor(WaitBeforeRetry).Where(j => j.Share == state.ShareId))
            if (ledger.Requeue(job.Id, JobState.Waiting)) await queue.Job(job.Id, state.IsLarge(job.Bytes)).ConfigureAwait(false);
        if (!desk.IsBusy) await Remind().ConfigureAwait(false);
        if (outbox is not null && Due(ref _untried, WaitBeforeRemind)) await outbox.Remind().ConfigureAwait(false);
        if (Due(ref _retained, RetentionEvery)) retention.Once();
    }

    /// <summary>Ends when what is being published in the background is through.</summary>
    public Task Settled => _publishing;

    /// <summary>Runs and finished sets that belong to nobody who lives, or to us and are not in hand.</summary>
    public async Task TakeUp(CancellationToken cancel)
    {
        ledger.Beat();
        desk.AbandonLost();
        // The look at the share and the pulse both come here.
        await _takingUp.WaitAsync(cancel).ConfigureAwait(false);
        try
        {
            foreach (var job in ledger.Ours(state.ShareId))
                if (!desk.Holds(job.Id)) await TakeUp(job, cancel).ConfigureAwait(false);
            foreach (var old in _tried.Keys.Where(id => ledger.Find(id) is not { State: JobState.Publishing }).ToArray()) _tried.Remove(old);
        }
        finally
        {
            _takingUp.Release();
        }
    }

    private async Task TakeUp(JobRow job, CancellationToken cancel)
    {
        if (!ledger.IsOwn(job))
        {
            var (owner, fence) = (job.Owner, job.Fence);
            if (ledger.TakeOver(job) is not { } taken) return;
            log.LogWarning("{Owner} was not heard of for {Seconds} s; its job {Folder}/{Source} is taken over", owner, PostgresStore.Lease.TotalSeconds, job.Folder, job.Source);
            // Should that fail (the share is away), the job is ours and not in hand: the next look comes here again, and
            // the run that follows shuts out what is older than itself.
            await desk.ShutOut(taken, fence, cancel).ConfigureAwait(false);
            if (ledger.Find(job.Id) is not { } now || now.Fence != taken.Fence) return;
            job = now;
        }

        if (job.State == JobState.Running)
        {
            if (desk.PutBack(job))
            {
                log.LogInformation("{Folder}/{Source} was being done when its service ended; it is queued again", job.Folder, job.Source);
                await queue.Job(job.Id, state.IsLarge(job.Bytes)).ConfigureAwait(false);
            }
        }
        else if (job.State == JobState.Publishing && _publishing.IsCompleted && IsTime(job))
        {
            // A share may take minutes for a large set; the sweep does not wait for it.
            _publishing = Task.Run(() => Resume(job, cancel), CancellationToken.None);
        }
    }

    private bool IsTime(JobRow job)
    {
        if (_tried.TryGetValue(job.Id, out var at) && time.GetElapsedTime(at) < WaitBeforeRetry) return false;
        _tried[job.Id] = time.GetTimestamp();
        return true;
    }

    private async Task Resume(JobRow job, CancellationToken cancel)
    {
        try
        {
            if (await desk.Resume(job, cancel).ConfigureAwait(false)) await queue.Job(job.Id, state.IsLarge(job.Bytes)).ConfigureAwait(false);
        }
        catch (OperationCanceledException)
        {
            // The service stops; the set waits in scratch for the next start.
        }
        catch (Exception e)
        {
            // Nobody awaits this task before the end: it is logged here, and the next look tries again.
            log.LogError(e, "{Folder}/{Source} could not be published", job.Folder, job.Source);
        }
    }

    /// <summary>Jobs that have been queued for long while nothing is being done: the engine lost their message, or never had it.</summary>
    private async Task Remind()
    {
        var forgotten = ledger.QueuedFor(state.ShareId, WaitBeforeRemind);
        if (ledger.Store.Shared) forgotten = [.. forgotten.Take(MostReminded)];
        if (forgotten.Count == 0) return;
        ledger.Touch([.. forgotten.Select(j => j.Id)]);
        foreach (var job in forgotten) await queue.Job(job.Id, state.IsLarge(job.Bytes)).ConfigureAwait(false);
    }

    private bool Due(ref long? last, TimeSpan every)
    {
        if (last is { } at && time.GetElapsedTime(at) < every) return false;
        last = time.GetTimestamp();
        return true;
    }
}
