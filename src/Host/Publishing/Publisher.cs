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
/// <param name="Replaced">Folder name in replaced/ for the older set.</param>
/// <param name="SummarySha256">Hash of the new set's summary.json: tells whose set stands at the target.</param>
public sealed record Intent(string JobId, long Fence, string Source, string Making, string Target, string Replaced, string SummarySha256);

/// <summary>
/// Brings a finished set from scratch into a drop folder: copy, flush, read back, compare, note the intent, rename twice.
/// At every instant the old set or the new one stands whole. The source is never touched.
/// </summary>
public sealed class Publisher(string dropFolder, ShareFiles? layer = null)
{
    /// <summary>What begins the name of a folder that is only waiting to be deleted.</summary>
    private const string Gone = ".gone-";

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
        if (Directory.Exists(making)) _files.DeleteFolder(making);
        _files.MakeFolder(Replaced);
        _files.MakeFolder(making);
        await Copy(setFolder, making, cancel).ConfigureAwait(false);

        var target = SetPlace.For(dropFolder, sourceName)
            ?? throw new PublishBlockedException($"The name for the set of {sourceName} in {dropFolder} is taken by a folder or file that is not a set of it; rename or remove it.");
        var intent = new Intent(jobId, fence, sourceName, name, Path.GetFileName(target), $"{Path.GetFileName(target)}-{name}",
            await _files.Hash(Path.Combine(making, "summary.json"), cancel).ConfigureAwait(false));
        if (!stillOurs())
        {
            Discard(making);
            return null;
        }

        _files.Replace(IntentPath(intent), JsonSerializer.Serialize(intent, Web));
        await Rename(intent, cancel).ConfigureAwait(false);
        return intent;
    }

    /// <summary>The two renames; done already or half done is fine.</summary>
    private async Task Rename(Intent intent, CancellationToken cancel)
    {
        var making = Path.Combine(Making, intent.Making);
        var target = Path.Combine(dropFolder, intent.Target);
        var replaced = Path.Combine(Replaced, intent.Replaced);
        if (Directory.Exists(making) && Directory.Exists(target))
        {
            await Move(target, Free(replaced), cancel).ConfigureAwait(false);
        }

        if (Directory.Exists(making)) await Move(making, target, cancel).ConfigureAwait(false);
        _files.FlushFolder(dropFolder);
        _files.FlushFolder(Replaced);
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
            var intent = ReadIntent(path);
            if (intent is null)
            {
                _files.DeleteFile(path); // Written whole or not at all by us; this is a stranger's.
                continue;
            }

            if (running(intent.Making)) continue;
            try
            {
                if (await Resume(intent, current, cancel).ConfigureAwait(false)) await stands(intent).ConfigureAwait(false);
                Close(intent);
            }
            catch (PublishBlockedException e)
            {
                blocked ??= e;
            }
        }

        foreach (var folder in Directory.GetDirectories(Making))
        {
            var name = Path.GetFileName(folder);
            if (!running(name) && !File.Exists(Path.Combine(Making, name + ".intent.json"))) Discard(folder);
        }

        foreach (var file in Directory.GetFiles(Making, ".*.tmp"))
        {
            // An intent that was being written when its service went down: ".JOB-FENCE.intent.json.tmp".
            if (!running(Path.GetFileName(file).Split('.')[1])) _files.DeleteFile(file);
        }

        if (blocked is not null) throw blocked;
    }

    /// <summary>True if the set of an intent stands now; false if it no longer should.</summary>
    private async Task<bool> Resume(Intent intent, Func<string, long, bool> current, CancellationToken cancel)
    {
        var target = Path.Combine(dropFolder, intent.Target);
        if (await Stands(intent, target, cancel).ConfigureAwait(false)) return true;
        if (!current(intent.JobId, intent.Fence) || !Directory.Exists(Path.Combine(Making, intent.Making)))
        {
            // Taken over by a later run, or carried off by a person between two moments: only put the old set back.
            await PutBack(intent, target, cancel).ConfigureAwait(false);
            return false;
        }

        await Rename(intent, cancel).ConfigureAwait(false);
        return true;
    }

    /// <summary>True if a run's intent is noted in a drop folder and not closed.</summary>
    public static bool IntentNoted(string dropFolder, string making) =>
        File.Exists(Path.Combine(dropFolder, SetPlace.OwnFolder, "making", making + ".intent.json"));

    private async Task PutBack(Intent intent, string target, CancellationToken cancel)
    {
        var replaced = Path.Combine(Replaced, intent.Replaced);
        if (Directory.Exists(replaced) && !Directory.Exists(target)) await Move(replaced, target, cancel).ConfigureAwait(false);
    }

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
        catch (JsonException)
        {
            return null;
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
                if (attempt == RenamePauses.Length)
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
        if (!Path.GetFileName(folder).StartsWith(Gone, StringComparison.Ordinal))
        {
            gone = Path.Combine(Making, Gone + Guid.NewGuid().ToString("N"));
            _files.MoveFolder(folder, gone);
        }

        _files.DeleteFolder(gone);
    }

    /// <summary>A name in replaced/ that nobody has.</summary>
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

    private string IntentPath(Intent intent) => Path.Combine(Making, intent.Making + ".intent.json");
}
