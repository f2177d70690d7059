using Microsoft.Extensions.Logging;
using Stiltwright.Host.Mail;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Jobs;

/// <summary>
/// Brings finished sets from scratch onto the share and tells ledger and mail. What cannot be published now stays in
/// scratch, finished: a share that is full for a night costs the night's work nothing.
/// </summary>
public sealed class PublishDesk(ServiceState state, Ledger ledger, IQueue queue, MailWriter mails, ShareFiles files, ILogger<PublishDesk> log)
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
            var publisher = new Publisher(folder, files);
            var intent = await publisher.Publish(Path.Combine(state.Scratch(job.Id, job.Fence), "set"), job.Source, job.Id, job.Fence, () => ledger.IsCurrent(job.Id, job.Fence), cancel).ConfigureAwait(false);
            if (intent is not null)
            {
                await Finish(job, Path.Combine(folder, intent.Target)).ConfigureAwait(false);
                publisher.Close(intent);
            }

            ClearScratch(job.Id, job.Fence);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
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
            var publisher = new Publisher(path, files);
            await publisher.Recover(ledger.IsCurrent, IsGoingOn, async intent =>
            {
                if (ledger.Find(intent.JobId) is not { } job) return;
                job.Fence = intent.Fence;
                await Finish(job, Path.Combine(path, intent.Target)).ConfigureAwait(false);
                ClearScratch(job.Id, job.Fence);
            }, cancel).ConfigureAwait(false);
        }
        finally
        {
            gate.Release();
        }
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

    /// <summary>True for a run that publishes right now, here or at another service that lives.</summary>
    private bool IsGoingOn(string making)
    {
        if (state.Runs.ContainsKey(making)) return true;
        var dash = making.LastIndexOf('-');
        return dash > 0 && long.TryParse(making.AsSpan(dash + 1), out var fence) && ledger.HeldElsewhere(making[..dash], fence);
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
        if (mail is not null) await queue.Mail(mail.Id, mails.Gathering).ConfigureAwait(false);
    }
}
