using System.Globalization;
using Microsoft.Extensions.Logging;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Jobs;

/// <summary>Forgets what was kept for long enough: replaced sets, logs of jobs, scratch of runs that are over, text of sent mails.</summary>
public sealed class Retention(ServiceState state, Ledger ledger, ShareFiles files, TimeProvider time, ILogger<Retention> log)
{
    /// <summary>Goes through all of it once; what cannot be deleted now is left for the next time.</summary>
    public void Once()
    {
        var keep = state.Config.Host.Keep;
        foreach (var folder in state.Config.Recipes.Keys.Select(state.FolderPath).Where(Directory.Exists))
        {
            Try(folder, () =>
            {
                var gone = new Publisher(folder, files).ForgetReplaced(TimeSpan.FromDays(keep.ReplacedDays), AgeOf);
                if (gone > 0) log.LogInformation("{Count} replaced sets in {Folder} were older than {Days} days and are deleted", gone, folder, keep.ReplacedDays);
            });
        }

        Try(state.ScratchRoot, Scratch);
        Try("logs", () => JobLogs(TimeSpan.FromDays(state.Config.Host.Log.KeepDays)));
        ledger.ForgetMails(TimeSpan.FromDays(keep.RecordsDays));
        ledger.ForgetDropped(TimeSpan.FromDays(keep.RecordsDays));
        ledger.ForgetServices(TimeSpan.FromDays(keep.RecordsDays));
        var forgotten = ledger.ForgetGone(TimeSpan.FromDays(keep.RecordsDays));
        if (forgotten > 0) log.LogInformation("{Count} jobs whose files were taken away more than {Days} days ago are forgotten", forgotten, keep.RecordsDays);
    }

    /// <summary>How long ago the run that put a set in the place of the replaced one ended, by our own clock both times.</summary>
    private TimeSpan? AgeOf(string jobId) =>
        ledger.Find(jobId) is { State: JobState.Done or JobState.Parked } job
            ? time.GetUtcNow() - DateTimeOffset.Parse(job.Changed, CultureInfo.InvariantCulture) : null;

    private void Scratch()
    {
        if (!Directory.Exists(state.ScratchRoot)) return;
        foreach (var folder in Directory.GetDirectories(state.ScratchRoot))
        {
            var name = Path.GetFileName(folder);
            var dash = name.LastIndexOf('-');
            var wanted = dash > 0 && long.TryParse(name.AsSpan(dash + 1), out var fence)
                && ledger.Find(name[..dash]) is { } job && job.Fence == fence && job.State is JobState.Running or JobState.Publishing;
            if (!wanted && !state.Runs.ContainsKey(name)) Try(folder, () => Directory.Delete(folder, true));
        }
    }

    private void JobLogs(TimeSpan keep)
    {
        var logs = Path.Combine(state.StateFolder, "logs", "jobs");
        if (!Directory.Exists(logs)) return;
        foreach (var file in Directory.GetFiles(logs, "*.log"))
            if (time.GetUtcNow().UtcDateTime - File.GetLastWriteTimeUtc(file) > keep) Try(file, () => File.Delete(file));
    }

    private void Try(string what, Action act)
    {
        try
        {
            act();
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            log.LogWarning("{What} is not tidied up yet: {Reason}", what, e.Message);
        }
    }
}
