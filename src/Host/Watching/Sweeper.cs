using Microsoft.Extensions.Logging;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Watching;

/// <summary>
/// Decides, by looking at the whole share, which files are new work. It alone decides; change notifications only make it
/// look sooner.
/// </summary>
public sealed class Sweeper(ServiceState state, Ledger ledger, IQueue queue, JobDesk desk, TimeProvider time, ILogger<Sweeper> log)
{
    private static readonly TimeSpan WaitBeforeRetry = TimeSpan.FromSeconds(30);

    private readonly Settling _settling = new(time,
        TimeSpan.FromSeconds(state.Config.Host.Watch.SettleS), TimeSpan.FromSeconds(Math.Max(state.Config.Host.Watch.PatienceS, state.Config.Host.Watch.SettleS)));

    private volatile IReadOnlyList<SeenFolder> _folders = [];
    private volatile IReadOnlyList<SeenSource> _arriving = [];

    /// <summary>The folders at the last look.</summary>
    public IReadOnlyList<SeenFolder> Folders => _folders;

    /// <summary>Sources that have not settled yet.</summary>
    public IReadOnlyList<SeenSource> Arriving => _arriving;

    /// <summary>Number of whole looks so far.</summary>
    public long Looks { get; private set; }

    /// <summary>Looks once. A share that is away changes nothing.</summary>
    public async Task Sweep(CancellationToken cancel)
    {
        IReadOnlyList<SeenFolder>? folders;
        try
        {
            folders = ShareView.Take(state.Share, state.Config.Recipes);
            if (folders is not null && state.ShareId.Length == 0) state.ShareId = ShareIdentity.Of(state.Share);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or InvalidDataException)
        {
            state.Notices["share"] = $"The share cannot be read: {e.Message}";
            log.LogWarning("The share {Share} cannot be read: {Reason}", state.Share, e.Message);
            return;
        }

        if (folders is null)
        {
            state.Notices["share"] = $"The share {state.Share} is not there.";
            return;
        }

        state.Notices.TryRemove("share", out _);
        _folders = folders;
        NoteGone(folders);
        var arriving = new List<SeenSource>();
        foreach (var folder in folders.Where(f => f.Recipe is not null))
        {
            await Trouble(folder.Name, () => desk.Recover(folder.Name, cancel)).ConfigureAwait(false);
            foreach (var source in folder.Sources)
            {
                cancel.ThrowIfCancellationRequested();
                await Trouble(folder.Name + "/" + source.Name, async () =>
                {
                    if (_settling.Observe(source.Path, source.Look, () => OwnLength.IsWhole(source.Path)) == Settled.Yes) await Take(source, folder.Recipe!, cancel).ConfigureAwait(false);
                    else arriving.Add(source);
                }).ConfigureAwait(false);
            }
        }

        _settling.KeepOnly(folders.SelectMany(f => f.Sources).Select(s => s.Path).ToHashSet(StringComparer.Ordinal));
        _arriving = arriving;
        foreach (var job in ledger.WaitingFor(WaitBeforeRetry).Where(j => j.Share == state.ShareId))
            if (ledger.Requeue(job.Id, JobState.Waiting)) await queue.Job(job.Id, state.IsLarge(job.Bytes)).ConfigureAwait(false);
        Looks++;
        state.BoardChanged();
    }

    private async Task Take(SeenSource source, Recipe recipe, CancellationToken cancel)
    {
        var path = source.Folder + "/" + source.Name;
        var sha = ledger.SeenHash(state.ShareId, path, source.Look.Bytes, source.Look.Written);
        if (sha is null)
        {
            sha = await SourceCopy.HashOf(source.Path, cancel).ConfigureAwait(false);
            ledger.NoteSeen(state.ShareId, path, source.Look.Bytes, source.Look.Written, sha);
        }

        var identity = ShareIdentity.OfJob(sha, JobRunner.RecipeHash(recipe, SlipReader.BytesFor(source.Path)), state.ShareId, source.Folder, source.Name);
        if (ledger.Known(identity) is { } known)
        {
            if (known.Gone == 0) return;
            if (SetPlace.Standing(Path.GetDirectoryName(source.Path)!, source.Name) is not null)
            {
                ledger.MarkBack(known.Id);
                return;
            }
        }

        var job = ledger.Add(identity, state.ShareId, source.Folder, source.Name, recipe.Name, source.Look.Bytes);
        log.LogInformation("{Folder}/{Source} is new: set {Number}", source.Folder, source.Name, job.Number);
        await queue.Job(job.Id, state.IsLarge(job.Bytes)).ConfigureAwait(false);
    }

    /// <summary>Sources that were there and are not: dropping them again is new work. Only folders that are there count.</summary>
    private void NoteGone(IReadOnlyList<SeenFolder> folders)
    {
        var served = folders.Where(f => f.Recipe is not null).ToDictionary(f => f.Name, f => f.Sources.Select(s => s.Name).ToHashSet(StringComparer.Ordinal), StringComparer.Ordinal);
        foreach (var (folder, source) in ledger.Present(state.ShareId))
        {
            if (served.TryGetValue(folder, out var there) && !there.Contains(source)) ledger.MarkGone(state.ShareId, folder, source);
        }
    }

    /// <summary>What goes wrong with one file is said and does not keep the others from being looked at.</summary>
    private async Task Trouble(string about, Func<Task> act)
    {
        try
        {
            await act().ConfigureAwait(false);
            state.Notices.TryRemove(about, out _);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            if (!state.Notices.TryGetValue(about, out var said) || said != e.Message) log.LogWarning("{About}: {Reason}", about, e.Message);
            state.Notices[about] = e.Message;
        }
    }
}
