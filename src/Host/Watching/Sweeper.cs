using Microsoft.Extensions.Logging;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Watching;

/// <summary>
/// Decides, by looking at the whole share, which files are new work. It alone decides; change notifications only make it
/// look sooner.
/// </summary>
public sealed class Sweeper(ServiceState state, Ledger ledger, IQueue queue, PublishDesk publishing, Upkeep upkeep, TimeProvider time, ILogger<Sweeper> log, Metrics.ServiceMeter? meter = null)
{
    private static readonly TimeSpan DeepEvery = TimeSpan.FromSeconds(60);

    private readonly Settling _settling = new(time, () => (
        TimeSpan.FromSeconds(state.Config.Host.Watch.SettleS), TimeSpan.FromSeconds(Math.Max(state.Config.Host.Watch.PatienceS, state.Config.Host.Watch.SettleS))));

    // Files of which nothing is to be done as long as neither they nor their recipe change.
    private readonly Dictionary<string, (Look Look, Recipe Recipe)> _done = new(StringComparer.Ordinal);
    private readonly Dictionary<Recipe, string> _hashes = new(ReferenceEqualityComparer.Instance);
    // Folders of which all is done, and those whose sources were compared with what lay there before, by the very list that
    // a look gave: most looks find most folders as they were, and give the same lists again.
    private readonly Dictionary<string, SeenFolder> _quiet = new(StringComparer.Ordinal);
    private readonly Dictionary<string, IReadOnlyList<SeenSource>> _compared = new(StringComparer.Ordinal);
    private Dictionary<string, HashSet<string>>? _present;
    private string? _lastShare;
    private long? _lastDeep;
    private long _top;

    private volatile IReadOnlyList<SeenFolder> _folders = [];
    private volatile IReadOnlyList<SeenSource> _arriving = [];

    /// <summary>The folders at the last look.</summary>
    public IReadOnlyList<SeenFolder> Folders => _folders;

    /// <summary>Sources that have not settled yet.</summary>
    public IReadOnlyList<SeenSource> Arriving => _arriving;

    /// <summary>How long until the first of them will have settled, if nobody touches it; null where none is waited for.</summary>
    public TimeSpan? NextSettles => _settling.Next(_arriving.Select(a => a.Path));

    /// <summary>Number of whole looks so far.</summary>
    public long Looks { get; private set; }

    /// <summary>When it last got anywhere, as a time stamp of the clock: tells a long look from one that hangs.</summary>
    public long LastStep { get; private set; } = time.GetTimestamp();

    /// <summary>Looks once. A share that is away changes nothing.</summary>
    /// <param name="deep">True to look at every file, whatever the folders' own times say.</param>
    /// <param name="cancel">Stops between two files.</param>
    /// <param name="touched">Folders to look into, whatever their own times say.</param>
    /// <returns>False where the share was away: nothing was looked into.</returns>
    public async Task<bool> Sweep(bool deep, CancellationToken cancel, IReadOnlySet<string>? touched = null)
    {
        var began = LastStep = time.GetTimestamp();
        if (Look(deep, touched) is not { } folders) return false;
        var changed = !Same(folders, _folders);
        var anew = folders.Count != _folders.Count || folders.Zip(_folders).Any(f => !ReferenceEquals(f.First.Sources, f.Second.Sources));
        _folders = folders;
        NoteGone(folders);
        if (state.TakeLookAnew())
        {
            _done.Clear();
            _quiet.Clear();
        }

        var arriving = new List<SeenSource>();
        foreach (var folder in folders.Where(f => f.Recipe is not null))
        {
            await Trouble(folder.Name, () => publishing.Recover(folder.Name, cancel)).ConfigureAwait(false);
            if (_quiet.TryGetValue(folder.Name, out var quiet) && ReferenceEquals(quiet.Sources, folder.Sources) && ReferenceEquals(quiet.Recipe, folder.Recipe)) continue;
            var open = 0;
            foreach (var source in folder.Sources ?? [])
            {
                cancel.ThrowIfCancellationRequested();
                if (_done.TryGetValue(source.Path, out var done) && done.Look == source.Look && ReferenceEquals(done.Recipe, folder.Recipe)) continue;
                LastStep = time.GetTimestamp();
                changed = true;
                open++;
                await Trouble(folder.Name + "/" + source.Name, async () =>
                {
                    if (_settling.Observe(source.Path, source.Look, () => OwnLength.IsWhole(source.Path)) != Settled.Yes) arriving.Add(source);
                    else if (await Take(source, folder.Recipe!, cancel).ConfigureAwait(false))
                    {
                        _done[source.Path] = (source.Look, folder.Recipe!);
                        open--;
                    }
                }).ConfigureAwait(false);
            }

            if (open == 0 && folder.Sources is not null) _quiet[folder.Name] = folder;
            else _quiet.Remove(folder.Name);
        }

        if (anew || changed) Forget(folders);
        changed |= arriving.Count > 0 || _arriving.Count > 0;
        _arriving = arriving;
        await Trouble("upkeep", () => upkeep.Once(cancel)).ConfigureAwait(false);
        Looks++;
        meter?.Looked(time.GetElapsedTime(began));
        LastStep = time.GetTimestamp();
        if (changed) state.BoardChanged();
        return true;
    }

    /// <summary>One look, or null (with the reason on the board) where the share must not be touched.</summary>
    private IReadOnlyList<SeenFolder>? Look(bool deep, IReadOnlySet<string>? touched)
    {
        try
        {
            if (!Directory.Exists(state.Share)) throw new DirectoryNotFoundException($"The share {state.Share} is not there.");
            var id = ShareIdentity.Of(state.Share, ledger);
            if (id != state.ShareId) (_present, state.ShareId) = (null, id);
            if (id != _lastShare) Begin(id);
            deep |= _lastDeep is null || time.GetElapsedTime(_lastDeep.Value) >= DeepEvery;
            // Asked before the look: what another service enters meanwhile was not there for us to see.
            if (_present is null)
            {
                _present = ledger.Present(id).GroupBy(p => p.Folder, StringComparer.Ordinal).ToDictionary(g => g.Key, g => g.Select(p => p.Source).ToHashSet(StringComparer.Ordinal), StringComparer.Ordinal);
                _compared.Clear();
            }

            _top = ledger.TopNumber();
            // What is still arriving may be growing in place.
            var anew = _arriving.Select(a => a.Folder).Concat(touched ?? Enumerable.Empty<string>()).ToHashSet(StringComparer.Ordinal);
            var folders = ShareView.Take(state.Share, state.Config.Recipes, deep ? null : _folders, anew);
            if (folders is null) throw new DirectoryNotFoundException($"The share {state.Share} is not there.");
            if (deep) _lastDeep = time.GetTimestamp();
            var before = _folders.ToDictionary(f => f.Name, StringComparer.Ordinal);
            folders = [.. folders.Select(f => before.GetValueOrDefault(f.Name) is { } last ? AsBefore(f, last, deep) : f)];
            if (state.Notices.TryRemove("share", out _)) log.LogInformation("The share {Share} is there again", state.Share);
            return folders;
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or InvalidDataException)
        {
            if (!state.Notices.TryGetValue("share", out var said) || said != e.Message) log.LogWarning("{Reason}", e.Message);
            state.Notices["share"] = e.Message;
            state.ShareId = "";
            return null;
        }
    }

    /// <summary>Another share in the same place: what was done or seen on the one before says nothing about its files.</summary>
    private void Begin(string share)
    {
        _lastShare = share;
        _lastDeep = null;
        _done.Clear();
        _quiet.Clear();
        _settling.KeepOnly(new HashSet<string>());
    }

    /// <summary>A folder in which all is as it was gives its list again.</summary>
    private static SeenFolder AsBefore(SeenFolder folder, SeenFolder last, bool deep)
    {
        var still = !deep ? folder.Still : last.Stamp == folder.Stamp ? last.Still + 1 : 0;
        var same = folder.Sources is not null && last.Sources is not null && (ReferenceEquals(folder.Sources, last.Sources) || folder.Sources.SequenceEqual(last.Sources));
        return folder with { Still = still, Sources = same ? last.Sources : folder.Sources };
    }

    private static bool Same(IReadOnlyList<SeenFolder> a, IReadOnlyList<SeenFolder> b) =>
        a.Count == b.Count && a.Zip(b).All(p => p.First.Name == p.Second.Name && p.First.Recipe == p.Second.Recipe && p.First.LeftAlone.SequenceEqual(p.Second.LeftAlone)
            && (p.First.Sources?.Count ?? -1) == (p.Second.Sources?.Count ?? -1));

    /// <summary>Enters a source as a job where it is new. True if nothing is to be done about it until it changes.</summary>
    private async Task<bool> Take(SeenSource source, Recipe recipe, CancellationToken cancel)
    {
        var path = source.Folder + "/" + source.Name;
        var sha = ledger.SeenHash(state.ShareId, path, source.Look.Bytes, source.Look.Written);
        if (sha is null)
        {
            sha = await SourceCopy.HashOf(source.Path, cancel).ConfigureAwait(false);
            ledger.NoteSeen(state.ShareId, path, source.Look.Bytes, source.Look.Written, sha);
        }

        var identity = ShareIdentity.OfJob(sha, HashOf(recipe, source), state.ShareId, source.Folder, source.Name);
        var known = ledger.Known(identity);
        if (known is not null)
        {
            if (known.Gone == 0) return true;
            if (SetPlace.Standing(Path.GetDirectoryName(source.Path)!, source.Name) is not null)
            {
                ledger.MarkBack(known.Id);
                return true;
            }
        }

        // Another service that shares the ledger may have been faster: then there is nothing to enter.
        if (ledger.AddAfter(known, identity, state.ShareId, source.Folder, source.Name, recipe.Name, source.Bytes) is not { } job) return true;
        log.LogInformation("{Folder}/{Source} is new: set {Number}", source.Folder, source.Name, job.Number);
        await queue.Job(job.Id, state.IsLarge(job.Bytes)).ConfigureAwait(false);
        return true;
    }

    private string HashOf(Recipe recipe, SeenSource source)
    {
        if (source.HasSlip) return JobRunner.RecipeHash(recipe, SlipReader.BytesFor(source.Path));
        if (!_hashes.TryGetValue(recipe, out var hash)) _hashes[recipe] = hash = JobRunner.RecipeHash(recipe, null);
        return hash;
    }

    /// <summary>Sources that were there and are not: dropping them again is new work. Only folders that could be read count.</summary>
    private void NoteGone(IReadOnlyList<SeenFolder> folders)
    {
        foreach (var folder in folders)
        {
            if (folder is not { Recipe: not null, Sources: { } sources }) continue;
            if (_compared.TryGetValue(folder.Name, out var compared) && ReferenceEquals(compared, sources)) continue;
            var there = sources.Select(s => s.Name).ToHashSet(StringComparer.Ordinal);
            if (_present!.TryGetValue(folder.Name, out var present))
            {
                foreach (var gone in present.Where(p => !there.Contains(p)).ToArray())
                {
                    ledger.MarkGone(state.ShareId, folder.Name, gone, _top);
                    present.Remove(gone);
                }
            }

            _present[folder.Name] = there;
            _compared[folder.Name] = sources;
        }
    }

    private void Forget(IReadOnlyList<SeenFolder> folders)
    {
        var there = folders.SelectMany(f => f.Sources ?? []).Select(s => s.Path).ToHashSet(StringComparer.Ordinal);
        _settling.KeepOnly(there);
        foreach (var gone in _done.Keys.Where(k => !there.Contains(k)).ToArray()) _done.Remove(gone);
        foreach (var gone in _quiet.Keys.Concat(_compared.Keys).Except(folders.Select(f => f.Name), StringComparer.Ordinal).ToArray())
        {
            _quiet.Remove(gone);
            _compared.Remove(gone);
        }

        foreach (var old in _hashes.Keys.Where(r => !folders.Any(f => ReferenceEquals(f.Recipe, r))).ToArray()) _hashes.Remove(old);
        foreach (var about in state.Notices.Keys.Where(k => k.Contains('/') && !there.Contains(Path.Combine(state.Share, k))).ToArray()) state.Notices.TryRemove(about, out _);
    }

    /// <summary>What goes wrong with one file is said and does not keep the others from being looked at.</summary>
    private async Task Trouble(string about, Func<Task> act)
    {
        try
        {
            await act().ConfigureAwait(false);
            state.Notices.TryRemove(about, out _);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or InvalidDataException)
        {
            if (!state.Notices.TryGetValue(about, out var said) || said != e.Message) log.LogWarning("{About}: {Reason}", about, e.Message);
            state.Notices[about] = e.Message;
        }
    }
}
