using Microsoft.Extensions.Logging;
using Stiltwright.Host.Mail;
using Stiltwright.Host.Publishing;
using Stiltwright.Host.Watching;

namespace Stiltwright.Host.Jobs;

/// <summary>
/// Brings finished sets from scratch onto the share and tells ledger and mail. What cannot be published now stays in
/// scratch, finished: a share that is full for a night costs the night's work nothing.
/// </summary>
public sealed class PublishDesk(ServiceState state, Ledger ledger, IQueue queue, MailWriter mails, ShareFiles files, ILogger<PublishDesk> log, Metrics.ServiceMeter? meter = null)
{
    /// <summary>Publishes the set that a run made. What stands in the way is noted; the sweep tries again.</summary>
    public async Task Publish(JobRow job, CancellationToken cancel)
    {
        var folder = state.FolderPath(job.Folder);
        var name = $"{job.Id}-{job.Fence}";
        var gate = state.FolderLocks.GetOrAdd(job.Folder, _ => new SemaphoreSlim(1));
        await gate.WaitAsync(cancel).ConfigureAwait(false);
        state.Runs[name] = new WorkerLine(1, "publishing");
        try
        {
            // A folder that went away (renamed, share gone) must not be made anew by publishing into it.
            if (!Directory.Exists(folder)) throw new DirectoryNotFoundException($"The folder {job.Folder} is not there; the finished set waits for it.");
            var publisher = PublisherOf(job.Folder);
            var intent = await publisher.Publish(Path.Combine(state.Scratch(job.Id, job.Fence), "set"), job.Source, job.Id, job.Fence, () => ledger.IsCurrent(job.Id, job.Fence), cancel).ConfigureAwait(false);
            if (intent is not null)
            {
                await Finish(job, Path.Combine(folder, intent.Target)).ConfigureAwait(false);
                ClearScratch(job.Id, job.Fence); // the set stands and is told: whether its note on the share can be taken away now or later
                publisher.Close(intent);
                return;
            }

            ClearScratch(job.Id, job.Fence);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            if (!ledger.IsCurrent(job.Id, job.Fence))
            {
                log.LogInformation("{Folder}/{Source}: another service has this job by now; run {Fence} publishes nothing", job.Folder, job.Source, job.Fence);
                ClearScratch(job.Id, job.Fence);
                return;
            }

            log.LogWarning("{Folder}/{Source} waits to be published: {Reason}", job.Folder, job.Source, e.Message);
            ledger.NotePublishing(job.Id, job.Fence, e.Message);
        }
        finally
        {
            state.Runs.TryRemove(name, out _);
            gate.Release();
        }
    }

    /// <summary>Finishes the publishes that were begun in a folder, as found at start, by a sweep, or before a job's next run.</summary>
    public async Task Recover(string folder, CancellationToken cancel)
    {
        var path = state.FolderPath(folder);
        if (!Directory.Exists(Path.Combine(path, SetPlace.OwnFolder, "making"))) return;
        var gate = state.FolderLocks.GetOrAdd(folder, _ => new SemaphoreSlim(1));
        if (!await gate.WaitAsync(0, cancel).ConfigureAwait(false)) return;
        try
        {
            await PublisherOf(folder).Recover(ledger.IsCurrent, IsGoingOn, intent => Stands(folder, intent), cancel).ConfigureAwait(false);
        }
        finally
        {
            gate.Release();
        }
    }

    /// <summary>
    /// Shuts out the run that a dead service had of a job that was just taken over; finishes the job where the dead one had
    /// published it, all but told the ledger.
    /// </summary>
    public async Task ShutOut(JobRow takenOver, long oldFence, CancellationToken cancel)
    {
        if (!Directory.Exists(state.FolderPath(takenOver.Folder))) return;
        var gate = state.FolderLocks.GetOrAdd(takenOver.Folder, _ => new SemaphoreSlim(1));
        await gate.WaitAsync(cancel).ConfigureAwait(false);
        try
        {
            await PublisherOf(takenOver.Folder).ShutOut($"{takenOver.Id}-{oldFence}", intent => Stands(takenOver.Folder, intent), cancel).ConfigureAwait(false);
        }
        finally
        {
            gate.Release();
        }
    }

    /// <summary>A set stands of which the ledger may not know: told under the number that the job has now, if it is ours or nobody's.</summary>
    private async Task Stands(string folder, Intent intent)
    {
        if (ledger.Find(intent.JobId) is not { } job) return;
        if (ledger.IsOwn(job) || job.State is JobState.Queued or JobState.Waiting) await Finish(job, Path.Combine(state.FolderPath(folder), intent.Target)).ConfigureAwait(false);
        ClearScratch(job.Id, intent.Fence);
    }

    private Publisher PublisherOf(string folder)
    {
        var path = state.FolderPath(folder);
        return new Publisher(path, files, (target, source) => ledger.KeepPlace(state.ShareId, folder, NameRules.Same(target), source,
            other => File.Exists(Path.Combine(path, other)) || (Directory.Exists(Path.Combine(path, target)) && SetPlace.IsSetOf(Path.Combine(path, target), other))));
    }

    /// <summary>The worker's log is kept where there is one; the rest of scratch goes.</summary>
    public void ClearScratch(string job, long fence)
    {
        var scratch = state.Scratch(job, fence);
        if (!Directory.Exists(scratch)) return;
        try
        {
            var kept = Path.Combine(scratch, "worker.log");
            if (File.Exists(kept))
            {
                var logs = Path.Combine(state.StateFolder, "logs", "jobs");
                Directory.CreateDirectory(logs);
                File.Move(kept, Path.Combine(logs, Path.GetFileName(scratch) + ".log"), overwrite: true);
            }

            Directory.Delete(scratch, true);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            log.LogWarning("{Scratch} could not be cleared: {Reason}", scratch, e.Message);
        }
    }

    /// <summary>True for a run that goes on right now here, or belongs to another service.</summary>
    private bool IsGoingOn(string making)
    {
        if (state.Runs.ContainsKey(making)) return true;
        var dash = making.LastIndexOf('-');
        return dash > 0 && long.TryParse(making.AsSpan(dash + 1), out var fence) && ledger.OwnedElsewhere(making[..dash], fence);
    }

    /// <summary>A set stands in its place: ledger and mail, in one step.</summary>
    private async Task Finish(JobRow job, string setFolder)
    {
        var glance = SetGlance.Read(setFolder) ?? throw new IOException($"{setFolder} has no summary that can be read.");
        var mail = state.Config.Recipes.TryGetValue(job.Recipe, out var recipe) ? mails.For(job, recipe, setFolder) : null;
        var asState = job.Made ?? (job.Attempts > JobDesk.MostAttempts ? JobState.Parked : JobState.Done);
        if (!ledger.Finish(job.Id, job.Fence, asState, glance.Outcome, glance.FirstFinding, Path.GetFileName(setFolder), null, mail)) return;
        log.LogInformation("{Folder}/{Source}: set {Number} stands, {Outcome}", job.Folder, job.Source, job.Number, glance.Outcome);
        state.BoardChanged();
        meter?.Stands(asState == JobState.Parked ? asState : glance.Outcome, setFolder);
        if (mail is not null) await queue.Mail(mail.Id, mails.Gathering).ConfigureAwait(false);
    }
}
