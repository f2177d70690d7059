using System.Collections.Concurrent;
using System.Data.Common;
using System.Globalization;
using Microsoft.Extensions.Logging;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Publishing;
using Stiltwright.Host.Watching;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Jobs;

/// <summary>
/// Carries a job from the queue to a finished set in scratch, and hands it to the publishing desk. Whatever is wrong with a
/// file or a stage becomes a set with a summary; whatever is wrong with the share or this machine makes the job wait;
/// nothing of it ends the service.
/// </summary>
public sealed class JobDesk(ServiceState state, Ledger ledger, IQueue queue, PublishDesk publishing, WorkerCommand worker, MemoryBudget memory, TimeProvider time, ILogger<JobDesk> log, ShareFiles? files = null)
{
    /// <summary>Runs that a job gets when its worker, or the whole host with it, breaks down.</summary>
    public const int MostAttempts = 2;

    // So many of the queue's first are looked at: more than one service can have in hand at once.
    private const int MostLooked = 64;

    private static readonly TimeSpan WaitForLedger = TimeSpan.FromSeconds(3);
    private static readonly TimeSpan WaitForShare = TimeSpan.FromSeconds(2);

    private readonly ConcurrentDictionary<string, Held> _held = new(StringComparer.Ordinal);

    /// <summary>True while this service has the job in hand.</summary>
    public bool Holds(string jobId) => _held.ContainsKey(jobId);

    /// <summary>True while this service has any job in hand.</summary>
    public bool IsBusy => !_held.IsEmpty;

    /// <summary>Ends the runs that are not ours any more: their source was changed meanwhile, or another service took them over.</summary>
    public void AbandonLost()
    {
        foreach (var (id, held) in _held)
        {
            if (ledger.Find(id) is not { } job) continue;
            if (job.State == JobState.Dropped || (held.Fence > 0 && job.Fence > held.Fence)) held.Stop.Cancel();
        }
    }

    /// <summary>
    /// Runs the job of that size that has waited longest, where a message for one of them came: the message's own job may be
    /// a younger one, whose turn comes with a later message.
    /// </summary>
    public async Task RunNext(string jobId, bool large, CancellationToken cancel)
    {
        var own = ledger.Find(jobId) is { State: JobState.Queued } queued ? queued : null;
        if (own is not null && own.Share != state.ShareId)
        {
            // The share was not looked at yet, or is away for this PC. Others that share the queue may do it; alone, the
            // first look at the share queues it again.
            if (ledger.Store.Shared) await queue.Job(jobId, state.IsLarge(own.Bytes), WaitForShare).ConfigureAwait(false);
            return;
        }

        // Its size may count otherwise since the settings changed: then no other message of its size stands for it.
        var misfiled = own is not null && state.IsLarge(own.Bytes) != large && !_held.ContainsKey(jobId);

        // Another may take the same one a moment before us: then the next one is ours.
        for (var tries = 0; tries < MostLooked && !cancel.IsCancellationRequested; tries++)
        {
            var next = ledger.NextQueued(state.ShareId, large, state.LargeFromBytes, MostLooked).FirstOrDefault(j => !_held.ContainsKey(j.Id));
            if (next is null) break;
            if (misfiled && next.Id != jobId)
            {
                await queue.Job(jobId, !large).ConfigureAwait(false);
                misfiled = false;
            }

            if (await Run(next.Id, cancel).ConfigureAwait(false)) return;
        }

        // Its size may have been counted by other settings when it was sent.
        await Run(jobId, cancel).ConfigureAwait(false);
    }

    /// <summary>Runs a job, if it is still queued; false if it was not, or is in hand already.</summary>
    public async Task<bool> Run(string jobId, CancellationToken cancel)
    {
        using var stop = CancellationTokenSource.CreateLinkedTokenSource(cancel);
        var held = new Held(stop);
        if (!_held.TryAdd(jobId, held)) return false;
        try
        {
            if (ledger.Find(jobId) is not { State: JobState.Queued } queued || queued.Share != state.ShareId) return false;
            using var room = await memory.Reserve(MemoryBudget.Need(queued.Bytes, state.Config.Host.Worker), stop.Token).ConfigureAwait(false);
            if (ledger.Claim(jobId) is not { } job) return false;
            await Run(job, held, cancel).ConfigureAwait(false);
            return true;
        }
        finally
        {
            _held.TryRemove(jobId, out _);
            state.BoardChanged();
        }
    }

    /// <summary>Queues a job that nobody has in hand again, and clears what its last run left in scratch.</summary>
    public bool PutBack(JobRow job)
    {
        if (!ledger.Requeue(job.Id, job.State, job.Fence)) return false;
        publishing.ClearScratch(job.Id, job.Fence);
        return true;
    }

    /// <summary>Shuts out the run that a dead service had of a job that was just taken over.</summary>
    public Task ShutOut(JobRow takenOver, long oldFence, CancellationToken cancel) => publishing.ShutOut(takenOver, oldFence, cancel);

    /// <summary>Goes on with a job whose set lies finished in scratch, or queues it again where that is lost.</summary>
    public async Task<bool> Resume(JobRow job, CancellationToken cancel)
    {
        using var stop = CancellationTokenSource.CreateLinkedTokenSource(cancel);
        if (!_held.TryAdd(job.Id, new Held(stop) { Fence = job.Fence })) return false;
        try
        {
            if (!ledger.IsOwn(job) || job.Made is null || !File.Exists(Path.Combine(state.Scratch(job.Id, job.Fence), "set", "summary.json")))
                return PutBack(job);
            await publishing.Publish(job, stop.Token).ConfigureAwait(false);
            return false;
        }
        catch (OperationCanceledException) when (!cancel.IsCancellationRequested)
        {
            publishing.ClearScratch(job.Id, job.Fence);
            return false;
        }
        finally
        {
            _held.TryRemove(job.Id, out _);
            state.BoardChanged();
        }
    }

    private async Task Run(JobRow job, Held held, CancellationToken cancel)
    {
        var stop = held.Stop.Token;
        for (; ; )
        {
            held.Fence = job.Fence;
            var name = $"{job.Id}-{job.Fence}";
            var fence = job.Fence;
            var keep = false;
            state.Runs[name] = new WorkerLine(0, "reading");
            state.BoardChanged();
            try
            {
                // What an older run of it left on the share and in scratch goes before this one begins.
                if (job.Fence > 1)
                {
                    publishing.ClearScratch(job.Id, job.Fence - 1);
                    await ClearOlderRuns(job, stop).ConfigureAwait(false);
                }

                // It may have left the set itself, whole and in its place.
                if (ledger.Find(job.Id) is not { State: JobState.Running } now || now.Fence != job.Fence) return;
                var done = await Work(job, name, stop).ConfigureAwait(false);
                if (done is { } asState)
                {
                    // From here on the ledger says that the set lies whole in scratch: that must be true after a power cut too.
                    DurableFiles.FlushAll(Path.Combine(state.Scratch(job.Id, job.Fence), "set"));
                    DurableFiles.FlushFolder(state.ScratchRoot);
                    keep = await Noted(() => ledger.NoteMade(job.Id, job.Fence, asState.State, asState.Seconds), stop).ConfigureAwait(false);
                    if (!keep) return;
                    job.Made = asState.State;
                    state.Runs[name] = new WorkerLine(1, "publishing");
                    await publishing.Publish(job, stop).ConfigureAwait(false);
                    return;
                }

                if (ledger.ClaimAgain(job.Id, job.Fence) is not { } again) return;
                log.LogWarning("{Folder}/{Source}: the worker broke down; it is tried once more", job.Folder, job.Source);
                job = again;
            }
            catch (OperationCanceledException) when (stop.IsCancellationRequested)
            {
                // Abandoned: the ledger has dropped it already. Stopped: the job in hand is put back.
                ledger.Leave(job.Id, job.Fence, JobState.Queued, null, countAttempt: false);
                if (cancel.IsCancellationRequested) throw;
                keep = false; // whoever has the job now makes its set anew
                log.LogInformation("{Folder}/{Source}: run {Fence} was ended, because the source changed or another service has the job by now", job.Folder, job.Source, job.Fence);
                return;
            }
            catch (Exception e) when (!keep && (e is SourceChangedException || !File.Exists(SourcePath(job))))
            {
                // The file went or changed: what lies there when it has settled again is another job.
                log.LogInformation("{Folder}/{Source} changed or went while it was being done", job.Folder, job.Source);
                if (Directory.Exists(state.FolderPath(job.Folder))) Drop(job);
                else ledger.Leave(job.Id, job.Fence, JobState.Waiting, "The share is not there; the job waits for it.", countAttempt: false);
                return;
            }
            catch (Exception e) when (e is IOException or UnauthorizedAccessException)
            {
                log.LogWarning("{Folder}/{Source} waits: {Reason}", job.Folder, job.Source, e.Message);
                await Noted(() => ledger.Leave(job.Id, job.Fence, JobState.Waiting, e.Message, countAttempt: false), cancel).ConfigureAwait(false);
                return;
            }
            catch (Exception e)
            {
                // A fault of this program. The attempt counts, so that it cannot go on for ever, and the service goes on.
                log.LogError(e, "{Folder}/{Source}: set {Number} failed in a way that was not foreseen", job.Folder, job.Source, job.Number);
                await Noted(() => ledger.Leave(job.Id, job.Fence, JobState.Waiting, $"A fault of the program ({e.GetType().Name}: {e.Message}); the log has the details.", countAttempt: e is not DbException), cancel).ConfigureAwait(false);
                return;
            }
            finally
            {
                state.Runs.TryRemove(name, out _);
                if (!keep) publishing.ClearScratch(job.Id, fence);
            }
        }
    }

    /// <summary>One run. Null if the worker broke down and may be tried again, or if there is nothing to be done.</summary>
    private async Task<(string State, double? Seconds)?> Work(JobRow job, string name, CancellationToken cancel)
    {
        if (!state.Config.Recipes.TryGetValue(job.Recipe, out var recipe))
        {
            Drop(job);
            return null;
        }

        var source = SourcePath(job);
        var input = new JobInput
        {
            JobId = job.Id,
            Number = job.Number.ToString(CultureInfo.InvariantCulture),
            SourcePath = source,
            Folder = job.Folder,
            Recipe = recipe,
            Slip = SlipReader.BytesFor(source),
            PluginFolders = state.Config.Host.AllPluginFolders,
            AllowedPlugins = state.Config.Host.AllowedPlugins,
            Scratch = state.Scratch(job.Id, job.Fence),
        };
        var runner = new JobRunner(worker, state.Config.Host.Worker, state.Catalog, time, files);
        if (job.Attempts > MostAttempts)
        {
            // Twice begun and never ended: the host itself went down with it. It is not begun a third time.
            await runner.Refuse(input, new Finding(FindingIds.StageFailed, Level.Stop,
                $"{job.Source} was not prepared: twice the whole service ended while it was being done.",
                "The source is untouched. Look into the log of the service; drop the file again when the cause is mended."), cancel).ConfigureAwait(false);
            return (JobState.Parked, null);
        }

        log.LogInformation("{Folder}/{Source}: set {Number} begins, run {Fence}", job.Folder, job.Source, job.Number, job.Fence);
        var result = await runner.Run(input, line =>
        {
            state.Runs[name] = line;
            state.BoardChanged();
        }, cancel).ConfigureAwait(false);
        if (result.MayTryAgain && job.Attempts < MostAttempts) return null;
        return (result.MayTryAgain ? JobState.Parked : JobState.Done, result.Worker?.Seconds);
    }

    /// <summary>
    /// Writes into the ledger, again and again where its disk says no: what became of a run must not be lost, or the run
    /// would count as one that took the whole service down.
    /// </summary>
    private async Task<bool> Noted(Func<bool> note, CancellationToken cancel)
    {
        for (var said = false; ; said = true)
        {
            try
            {
                return note();
            }
            catch (DbException e)
            {
                if (!said) log.LogError("The ledger cannot be written: {Reason}. It is tried again until it can", e.Message);
                await Task.Delay(WaitForLedger, cancel).ConfigureAwait(false);
            }
        }
    }

    private async Task ClearOlderRuns(JobRow job, CancellationToken cancel)
    {
        try
        {
            await publishing.Recover(job.Folder, cancel).ConfigureAwait(false);
        }
        catch (PublishBlockedException e)
        {
            // Another set of the folder is blocked; everything that is not was cleared, and this job need not wait for it.
            log.LogInformation("{Folder}: {Reason}", job.Folder, e.Message);
        }
    }

    /// <summary>Nothing becomes of this job; what lies there is looked at again.</summary>
    private void Drop(JobRow job)
    {
        ledger.Drop(job.Id);
        state.LookAnew();
    }

    private string SourcePath(JobRow job) => Path.Combine(state.FolderPath(job.Folder), job.Source);

    /// <summary>A job in hand.</summary>
    private sealed class Held(CancellationTokenSource stop)
    {
        private long _fence;

        /// <summary>Ends the run.</summary>
        public CancellationTokenSource Stop => stop;

        /// <summary>Number of the run; 0 before it began.</summary>
        public long Fence
        {
            get => Interlocked.Read(ref _fence);
            set => Interlocked.Exchange(ref _fence, value);
        }
    }
}
