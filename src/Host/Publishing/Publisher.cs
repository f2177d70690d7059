using System.Text.Json;
using Stiltwright.Host.Jobs;

namespace Stiltwright.Host.Publishing;

/// <summary>The place of a set cannot be had now: somebody has a file of the old set open, or something else has the name.</summary>
public sealed class PublishBlockedException(string message, Exception? inner = null) : IOException(message, inner);

/// <summary>Noted on the share before the two renames, so that any start can finish them.</summary>
/// <param name="JobId">The job.</param>
/// <param name="Fence">Its fencing number.</param>
/// <param name="Source">Name of the source.</param>
/// <param name="Making">Folder name in making/.</param>
/// <param name="Target">Folder name of the set.</param>
/// <param name="Replaced">Name of the folder in replaced/ that takes the older set in: made before, so that whoever takes the job over can take it away.</param>
/// <param name="SummarySha256">Hash of the new set's summary.json: tells whose set stands at the target.</param>
public sealed record Intent(string JobId, long Fence, string Source, string Making, string Target, string Replaced, string SummarySha256);

/// <summary>
/// Brings a finished set from scratch into a drop folder: copy, flush, read back, compare, note the intent, rename twice.
/// At every instant the old set or the new one stands whole. The source is never touched.
/// </summary>
/// <remarks>
/// Both renames go through folders that carry the run's number: the new set comes out of making/JOB-NUMBER, the older one
/// goes into replaced/TARGET-JOB-NUMBER/. Whoever takes a job over takes both away first, each by one step that the file
/// system does whole or not at all, so that a service that slept between its last question and a rename can do neither.
/// </remarks>
/// <param name="dropFolder">The drop folder.</param>
/// <param name="layer">How the share is written to.</param>
/// <param name="mayHave">Asked before a name for a set is chosen, with that name and the source's, where several services publish into the folder.</param>
public sealed class Publisher(string dropFolder, ShareFiles? layer = null, Func<string, string, bool>? mayHave = null)
{
    /// <summary>What begins the name of a folder that is only waiting to be deleted.</summary>
    private const string Gone = ".gone-";
    private const string IntentEnding = ".intent.json";

    private readonly ShareFiles _files = layer ?? new ShareFiles();

    private static readonly TimeSpan[] RenamePauses = [TimeSpan.FromMilliseconds(100), TimeSpan.FromMilliseconds(400), TimeSpan.FromSeconds(1.5)];
    private static readonly JsonSerializerOptions Web = new(JsonSerializerDefaults.Web) { WriteIndented = true };

    private string Making => Path.Combine(dropFolder, SetPlace.OwnFolder, "making");

    private string Replaced => Path.Combine(dropFolder, SetPlace.OwnFolder, "replaced");

    /// <summary>
    /// Publishes. <paramref name="stillOurs"/> is asked between the last comparison and the first rename; where it says
    /// no, another run has the job and nothing is published (null). The intent stays until <see cref="Close"/>.
    /// </summary>
    /// <exception cref="PublishBlockedException">The names cannot be had now; try again later.</exception>
    public async Task<Intent?> Publish(string setFolder, string sourceName, string jobId, long fence, Func<bool> stillOurs, CancellationToken cancel)
    {
        RefuseLinks();
        var name = $"{jobId}-{fence}";
        var making = Path.Combine(Making, name);
        // An earlier try of this very run may have come to the end and been told an error all the same: a set that stands
        // is not put in its own place once more.
        if (ReadIntent(making + IntentEnding) is { } begun && begun.Making == name && await Stands(begun, Path.Combine(dropFolder, begun.Target), cancel).ConfigureAwait(false))
        {
            _files.FlushFolder(dropFolder);
            RemoveEmpty(begun);
            return begun;
        }

        if (Directory.Exists(making)) _files.DeleteFolder(making);
        _files.MakeFolder(Replaced);
        _files.MakeFolder(making);
        await Copy(setFolder, making, cancel).ConfigureAwait(false);

        var target = SetPlace.For(dropFolder, sourceName, mayHave is null ? null : t => mayHave(t, sourceName))
            ?? throw new PublishBlockedException($"The name for the set of {sourceName} in {dropFolder} is taken by a folder or file that is not a set of it; rename or remove it.");
        var intent = new Intent(jobId, fence, sourceName, name, Path.GetFileName(target), $"{Path.GetFileName(target)}-{name}",
            await _files.Hash(Path.Combine(making, "summary.json"), cancel).ConfigureAwait(false));
        _files.Replace(IntentPath(intent), JsonSerializer.Serialize(intent, Web));
        if (Directory.Exists(target)) _files.MakeFolder(Path.Combine(Replaced, intent.Replaced));
        if (stillOurs() && await Rename(intent, cancel).ConfigureAwait(false)) return intent;
        RemoveEmpty(intent);
        Discard(making);
        Close(intent);
        return null;
    }

    /// <summary>The two renames. False if the new set was taken away by whoever has the job now.</summary>
    private async Task<bool> Rename(Intent intent, CancellationToken cancel)
    {
        var making = Path.Combine(Making, intent.Making);
        var target = Path.Combine(dropFolder, intent.Target);
        var replaced = Path.Combine(Replaced, intent.Replaced);
        if (Directory.Exists(making) && Directory.Exists(target))
        {
            if (!SetPlace.IsSetOf(target, intent.Source)) throw new PublishBlockedException($"{target} is not a set of {intent.Source} any more; rename or remove it.");
            await Move(target, Free(Path.Combine(replaced, intent.Target)), cancel).ConfigureAwait(false);
        }

        var moved = Directory.Exists(making);
        if (moved) await Move(making, target, cancel).ConfigureAwait(false);
        _files.FlushFolder(dropFolder);
        _files.FlushFolder(Replaced);
        RemoveEmpty(intent);
        return moved;
    }

    /// <summary>Forgets the intent, after the ledger knows that the set stands.</summary>
    public void Close(Intent intent) => _files.DeleteFile(IntentPath(intent));

    /// <summary>
    /// Finishes what was begun here: an intent that is still current is carried out, told to <paramref name="stands"/> for
    /// the ledger and closed; anything older is taken away. One that is blocked keeps none of the others.
    /// </summary>
    /// <param name="current">True if that fencing number is the job's latest.</param>
    /// <param name="running">True if that run is going on right now and must be left alone.</param>
    /// <param name="stands">Called for each set that stands by now.</param>
    /// <param name="cancel">Stops between two steps.</param>
    /// <exception cref="PublishBlockedException">At least one is blocked; all others are finished.</exception>
    public async Task Recover(Func<string, long, bool> current, Func<string, bool> running, Func<Intent, Task> stands, CancellationToken cancel)
    {
        if (!Directory.Exists(Making)) return;
        RefuseLinks();
        PublishBlockedException? blocked = null;
        foreach (var path in Directory.GetFiles(Making, "*.intent.json").Order(StringComparer.Ordinal))
        {
            var making = Path.GetFileName(path)[..^IntentEnding.Length];
            if (running(making)) continue;
            try
            {
                await Settle(making, current, stands, cancel).ConfigureAwait(false);
            }
            catch (PublishBlockedException e)
            {
                blocked ??= e;
            }
        }

        foreach (var folder in Directory.GetDirectories(Making))
        {
            var name = Path.GetFileName(folder);
            if (!running(name) && !File.Exists(Path.Combine(Making, name + IntentEnding))) Discard(folder);
        }

        foreach (var file in Directory.GetFiles(Making, ".*.tmp"))
        {
            // An intent that was being written when its service went down: ".JOB-FENCE.intent.json.tmp".
            if (!running(Path.GetFileName(file).Split('.')[1])) _files.DeleteFile(file);
        }

        if (blocked is not null) throw blocked;
    }

    /// <summary>
    /// Shuts out a run that another service had and that is current no more, so that it cannot publish if it wakes.
    /// Everything is asked for by its name: a listing that the share remembers may be older than what lies there.
    /// </summary>
    /// <param name="making">The run, as "job-number".</param>
    /// <param name="stands">Called if its set stands already, all but told to the ledger.</param>
    /// <param name="cancel">Stops between two steps.</param>
    public async Task ShutOut(string making, Func<Intent, Task> stands, CancellationToken cancel)
    {
        if (!Directory.Exists(Making)) return;
        RefuseLinks();
        await Settle(making, (_, _) => false, stands, cancel).ConfigureAwait(false);
    }

    private async Task Settle(string making, Func<string, long, bool> current, Func<Intent, Task> stands, CancellationToken cancel)
    {
        var folder = Path.Combine(Making, making);
        var intent = ReadIntent(folder + IntentEnding);
        if (intent is null || intent.Making != making)
        {
            // Without one nothing was renamed. What cannot be read was not written by us.
            Discard(folder);
            _files.DeleteFile(folder + IntentEnding);
            return;
        }

        if (await Resume(intent, current, cancel).ConfigureAwait(false)) await stands(intent).ConfigureAwait(false);
        Close(intent);
    }

    /// <summary>True if the set of an intent stands now; false if it no longer should.</summary>
    private async Task<bool> Resume(Intent intent, Func<string, long, bool> current, CancellationToken cancel)
    {
        var target = Path.Combine(dropFolder, intent.Target);
        var making = Path.Combine(Making, intent.Making);
        if (current(intent.JobId, intent.Fence))
        {
            if (await Stands(intent, target, cancel).ConfigureAwait(false)) return true;
            if (Directory.Exists(making))
            {
                if (Directory.Exists(target)) _files.MakeFolder(Path.Combine(Replaced, intent.Replaced));
                return await Rename(intent, cancel).ConfigureAwait(false);
            }

            // Carried off by a person between two moments: only the old set is put back.
        }

        // Taken over by a later run. First the ways of both renames are shut, then one looks what was done by then.
        RemoveEmpty(intent);
        Discard(making);
        if (await Stands(intent, target, cancel).ConfigureAwait(false)) return true;
        await PutBack(intent, target, cancel).ConfigureAwait(false);
        return false;
    }

    /// <summary>True if a run's intent is noted in a drop folder and not closed.</summary>
    public static bool IntentNoted(string dropFolder, string making) =>
        File.Exists(Path.Combine(dropFolder, SetPlace.OwnFolder, "making", making + IntentEnding));

    private async Task PutBack(Intent intent, string target, CancellationToken cancel)
    {
        var replaced = Path.Combine(Replaced, intent.Replaced, intent.Target);
        if (Directory.Exists(replaced) && !Directory.Exists(target)) await Move(replaced, target, cancel).ConfigureAwait(false);
        RemoveEmpty(intent);
    }

    /// <summary>Takes away the folder that was to take the older set in, unless it has.</summary>
    private void RemoveEmpty(Intent intent) => _files.DeleteEmptyFolder(Path.Combine(Replaced, intent.Replaced));

    private async Task<bool> Stands(Intent intent, string target, CancellationToken cancel)
    {
        var summary = Path.Combine(target, "summary.json");
        return File.Exists(summary) && await _files.Hash(summary, cancel).ConfigureAwait(false) == intent.SummarySha256;
    }

    private static Intent? ReadIntent(string path)
    {
        try
        {
            var intent = JsonSerializer.Deserialize<Intent>(File.ReadAllText(path), Web);
            // Names only: an intent that points elsewhere was not written by us.
            string?[] names = [intent?.Making, intent?.Target, intent?.Replaced, intent?.Source];
            return intent is not null && names.All(n => n is { Length: > 0 } && n == Path.GetFileName(n) && n is not ("." or "..")) ? intent : null;
        }
        catch (Exception e) when (e is JsonException or FileNotFoundException or DirectoryNotFoundException)
        {
            return null; // Not ours, or closed by another service a moment ago.
        }
    }

    private async Task Copy(string from, string to, CancellationToken cancel)
    {
        foreach (var folder in Directory.GetDirectories(from, "*", SearchOption.AllDirectories))
            _files.MakeFolder(Path.Combine(to, Path.GetRelativePath(from, folder)));
        foreach (var file in Directory.GetFiles(from, "*", SearchOption.AllDirectories))
        {
            var copy = Path.Combine(to, Path.GetRelativePath(from, file));
            var written = await _files.CopyIn(file, copy, cancel).ConfigureAwait(false);
            if (await _files.Hash(copy, cancel).ConfigureAwait(false) != written)
                throw new IOException($"{copy} reads back differently from what was written; the share or its disk is damaged.");
        }

        foreach (var folder in Directory.GetDirectories(to, "*", SearchOption.AllDirectories)) _files.FlushFolder(folder);
        _files.FlushFolder(to);
    }

    /// <summary>Renames a folder; a scanner or reader that holds a file is waited for a little.</summary>
    private async Task Move(string from, string to, CancellationToken cancel)
    {
        for (var attempt = 0; ; attempt++)
        {
            try
            {
                _files.MoveFolder(from, to);
                return;
            }
            catch (Exception e) when (e is IOException or UnauthorizedAccessException)
            {
                // What is not there any more will not come back: another service has it.
                if (attempt == RenamePauses.Length || !Directory.Exists(from))
                    throw new PublishBlockedException($"{from} cannot be renamed to {to}: {e.Message} Somebody may have a file in it open; it is tried again.", e);
                await Task.Delay(RenamePauses[attempt], cancel).ConfigureAwait(false);
            }
        }
    }

    /// <summary>
    /// Takes a folder out of the way by one rename before it is deleted: a service that slept in the midst of publishing it
    /// wakes and finds nothing, instead of half of it.
    /// </summary>
    private void Discard(string folder)
    {
        var gone = folder;
        if (!Path.GetFileName(folder).StartsWith(Gone, StringComparison.Ordinal)) gone = Path.Combine(Making, Gone + Guid.NewGuid().ToString("N"));
        try
        {
            if (gone != folder) _files.MoveFolder(folder, gone);
            _files.DeleteFolder(gone);
        }
        catch (DirectoryNotFoundException)
        {
            // It was never there, or another service took it away at the same moment.
        }
    }

    /// <summary>A name that nobody has.</summary>
    private static string Free(string path)
    {
        var free = path;
        for (var n = 2; Directory.Exists(free); n++) free = $"{path}-{n}";
        return free;
    }

    /// <summary>
    /// Deletes older sets that were kept for long enough. <paramref name="replacedFor"/> says how long ago the run of that
    /// id put a set in their place; null, and the set stays, where nobody knows.
    /// </summary>
    public int ForgetReplaced(TimeSpan keep, Func<string, TimeSpan?> replacedFor)
    {
        if (!Directory.Exists(Replaced)) return 0;
        RefuseLinks();
        var forgotten = 0;
        foreach (var folder in Directory.GetDirectories(Replaced))
        {
            // NAME.set-JOB-FENCE, where NAME may hold anything.
            var parts = Path.GetFileName(folder).Split('-');
            var job = parts.Length < 3 ? null : parts.Reverse().Skip(1).Take(2).FirstOrDefault(p => p.Length == 16);
            if (job is null || replacedFor(job) is not { } age || age < keep) continue;
            _files.DeleteFolder(folder);
            forgotten++;
        }

        return forgotten;
    }

    private void RefuseLinks()
    {
        foreach (var folder in (string[])[Path.Combine(dropFolder, SetPlace.OwnFolder), Making, Replaced])
        {
            if (new DirectoryInfo(folder) is { Exists: true, LinkTarget: not null })
                throw new PublishBlockedException($"{folder} is a link; the service publishes only into real folders. Remove the link.");
        }
    }

    private string IntentPath(Intent intent) => Path.Combine(Making, intent.Making + IntentEnding);
}
