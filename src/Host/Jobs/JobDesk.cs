using System.Globalization;
using Microsoft.Extensions.Logging;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Mail;
using Stiltwright.Host.Publishing;
using Stiltwright.Host.Watching;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Jobs;

/// <summary>
/// Carries a job from the queue to its set: claim, run, publish, tell. Whatever is wrong with a file or a stage becomes a
/// set with a summary; whatever is wrong with the share makes the job wait; nothing of it ends the service.
/// </summary>
public sealed class JobDesk(ServiceState state, Ledger ledger, IQueue queue, JobRunner runner, MailWriter mails, ILogger<JobDesk> log)
{
    /// <summary>Runs that a job gets when its worker, or the whole host with it, breaks down.</summary>
    public const int MostAttempts = 2;

    /// <summary>Runs a job, if it is still queued.</summary>
    public async Task Run(string jobId, CancellationToken cancel)
    {
        if (ledger.Claim(jobId) is not { } job) return;
        try
        {
            await Run(job, cancel).ConfigureAwait(false);
        }
        finally
        {
            state.BoardChanged();
        }
    }

    private async Task Run(JobRow job, CancellationToken cancel)
    {
        for (; ; )
        {
            var name = $"{job.Id}-{job.Fence}";
            var scratch = state.Scratch(job.Id, job.Fence);
            state.Runs[name] = new WorkerLine(0, "reading");
            state.BoardChanged();
            try
            {
                if (await Once(job, name, scratch, cancel).ConfigureAwait(false)) return;
                if (ledger.ClaimAgain(job.Id, job.Fence) is not { } again) return;
                log.LogWarning("{Folder}/{Source}: the worker broke down; it is tried once more", job.Folder, job.Source);
                job = again;
            }
            catch (OperationCanceledException) when (cancel.IsCancellationRequested)
            {
                ledger.Leave(job.Id, job.Fence, JobState.Queued, null, countAttempt: false);
                throw;
            }
            catch (Exception e) when (e is SourceChangedException or FileNotFoundException || !File.Exists(SourcePath(job)))
            {
                // The file went or changed: what lies there when it has settled again is another job.
                log.LogInformation("{Folder}/{Source} changed or went while it was being done", job.Folder, job.Source);
                if (Directory.Exists(state.FolderPath(job.Folder))) ledger.Drop(job.Id);
                else ledger.Leave(job.Id, job.Fence, JobState.Waiting, "The share is not there; the job waits for it.", countAttempt: false);
                return;
            }
            catch (PublishBlockedException e) when (Publisher.IntentNoted(state.FolderPath(job.Folder), name))
            {
                // The set is whole in our own folder on the share; each sweep tries the renames again.
                log.LogWarning("{Folder}/{Source} waits to be published: {Reason}", job.Folder, job.Source, e.Message);
                ledger.Leave(job.Id, job.Fence, JobState.Publishing, e.Message, countAttempt: true);
                return;
            }
            catch (Exception e) when (e is IOException or UnauthorizedAccessException)
            {
                log.LogWarning("{Folder}/{Source} waits: {Reason}", job.Folder, job.Source, e.Message);
                ledger.Leave(job.Id, job.Fence, JobState.Waiting, e.Message, countAttempt: false);
                return;
            }
            finally
            {
                state.Runs.TryRemove(name, out _);
                KeepLogOnly(scratch);
            }
        }
    }

    /// <summary>One run. False if the worker broke down and may be tried again.</summary>
    private async Task<bool> Once(JobRow job, string name, string scratch, CancellationToken cancel)
    {
        if (!state.Config.Recipes.TryGetValue(job.Recipe, out var recipe))
        {
            ledger.Drop(job.Id);
            return true;
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
            Scratch = scratch,
        };
        JobResult result;
        if (job.Attempts > MostAttempts)
        {
            // Twice begun and never ended: the host itself went down with it. It is not begun a third time.
            result = await runner.Refuse(input, new Finding(FindingIds.StageFailed, Level.Stop,
                $"{job.Source} was not prepared: twice the whole service ended while it was being done.",
                "The source is untouched. Look into the log of the service; drop the file again when the cause is mended."), cancel).ConfigureAwait(false);
        }
        else
        {
            log.LogInformation("{Folder}/{Source}: set {Number} begins, run {Fence}", job.Folder, job.Source, job.Number, job.Fence);
            result = await runner.Run(input, line =>
            {
                state.Runs[name] = line;
                state.BoardChanged();
            }, cancel).ConfigureAwait(false);
            if (result.MayTryAgain && job.Attempts < MostAttempts) return false;
        }

        var parked = result.MayTryAgain || job.Attempts > MostAttempts;
        await Publish(job, name, recipe, result, parked, cancel).ConfigureAwait(false);
        return true;
    }

    private async Task Publish(JobRow job, string name, Recipe recipe, JobResult result, bool parked, CancellationToken cancel)
    {
        state.Runs[name] = new WorkerLine(1, "publishing");
        var folder = state.FolderPath(job.Folder);
        var gate = state.FolderLocks.GetOrAdd(job.Folder, _ => new SemaphoreSlim(1));
        await gate.WaitAsync(cancel).ConfigureAwait(false);
        try
        {
            var publisher = new Publisher(folder);
            var intent = await publisher.Publish(result.SetFolder, job.Source, job.Id, job.Fence, () => ledger.IsCurrent(job.Id, job.Fence), cancel).ConfigureAwait(false);
            if (intent is null) return;
            await Finish(job, recipe, Path.Combine(folder, intent.Target), parked, result.Worker?.Seconds).ConfigureAwait(false);
            publisher.Close(intent);
        }
        finally
        {
            gate.Release();
        }
    }

    /// <summary>A set stands in its place: ledger and mail, in one step.</summary>
    private async Task Finish(JobRow job, Recipe? recipe, string setFolder, bool parked, double? took)
    {
        var glance = SetGlance.Read(setFolder) ?? throw new IOException($"{setFolder} has no summary that can be read.");
        var mail = recipe is null ? null : mails.For(job, recipe, setFolder);
        if (!ledger.Finish(job.Id, job.Fence, parked ? JobState.Parked : JobState.Done, glance.Outcome, glance.FirstFinding, Path.GetFileName(setFolder), took, mail)) return;
        log.LogInformation("{Folder}/{Source}: set {Number} stands, {Outcome}", job.Folder, job.Source, job.Number, glance.Outcome);
        if (mail is not null) await queue.Mail(mail.Id, TimeSpan.Zero).ConfigureAwait(false);
    }

    /// <summary>Finishes the publishes that were begun in a folder, as found at start or by a sweep.</summary>
    public async Task Recover(string folder, CancellationToken cancel)
    {
        var gate = state.FolderLocks.GetOrAdd(folder, _ => new SemaphoreSlim(1));
        if (!await gate.WaitAsync(0, cancel).ConfigureAwait(false)) return;
        try
        {
            var publisher = new Publisher(state.FolderPath(folder));
            await publisher.Recover(ledger.IsCurrent, state.Runs.ContainsKey, async intent =>
            {
                if (ledger.Find(intent.JobId) is not { } job) return;
                job.Fence = intent.Fence;
                await Finish(job, state.Config.Recipes.GetValueOrDefault(job.Recipe), Path.Combine(state.FolderPath(folder), intent.Target), job.Attempts > MostAttempts, null).ConfigureAwait(false);
            }, cancel).ConfigureAwait(false);
        }
        finally
        {
            gate.Release();
        }
    }

    /// <summary>What a start does before anything else: finish publishes, queue again what was left, send what waits.</summary>
    public async Task RecoverAll(IEnumerable<string> folders, CancellationToken cancel)
    {
        foreach (var folder in folders) await Recover(folder, cancel).ConfigureAwait(false);
        foreach (var job in ledger.InState(JobState.Running)) ledger.Requeue(job.Id, JobState.Running);
        foreach (var job in ledger.InState(JobState.Queued)) await queue.Job(job.Id, state.IsLarge(job.Bytes)).ConfigureAwait(false);
        foreach (var mail in ledger.WaitingMails()) await queue.Mail(mail.Id, TimeSpan.Zero).ConfigureAwait(false);
    }

    private string SourcePath(JobRow job) => Path.Combine(state.FolderPath(job.Folder), job.Source);

    /// <summary>The worker's log is kept where there is one; the rest of scratch goes.</summary>
    private void KeepLogOnly(string scratch)
    {
        if (!Directory.Exists(scratch)) return;
        try
        {
            var kept = Path.Combine(scratch, "worker.log");
            if (File.Exists(kept))
            {
                var logs = Path.Combine(state.Config.Host.State, "logs", "jobs");
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
}
