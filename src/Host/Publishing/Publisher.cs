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

/// <summary>The steps of a publish, for tests that break it at each.</summary>
public enum PublishStep
{
    /// <summary>Before the folder under making/ is made.</summary>
    Begin,

    /// <summary>After each file was copied.</summary>
    FileCopied,

    /// <summary>All files are copied, flushed and compared.</summary>
    Compared,

    /// <summary>The intent is noted.</summary>
    IntentNoted,

    /// <summary>The older set is renamed away.</summary>
    OldAway,

    /// <summary>The new set stands.</summary>
    NewInPlace,
}

/// <summary>
/// Brings a finished set from scratch into a drop folder: copy, flush, read back, compare, note the intent, rename twice.
/// At every instant the old set or the new one stands whole. The source is never touched.
/// </summary>
public sealed class Publisher(string dropFolder, Action<PublishStep>? onStep = null)
{
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
        Step(PublishStep.Begin);
        RefuseLinks();
        var name = $"{jobId}-{fence}";
        var making = Path.Combine(Making, name);
        if (Directory.Exists(making)) Directory.Delete(making, true);
        Directory.CreateDirectory(Replaced);
        Directory.CreateDirectory(making);
        await Copy(setFolder, making, cancel).ConfigureAwait(false);
        Step(PublishStep.Compared);

        var target = SetPlace.For(dropFolder, sourceName)
            ?? throw new PublishBlockedException($"The name for the set of {sourceName} in {dropFolder} is taken by a folder or file that is not a set of it; rename or remove it.");
        var intent = new Intent(jobId, fence, sourceName, name, Path.GetFileName(target), $"{Path.GetFileName(target)}-{name}",
            await SourceCopy.HashOf(Path.Combine(making, "summary.json"), cancel).ConfigureAwait(false));
        if (!stillOurs())
        {
            Directory.Delete(making, true);
            return null;
        }

        DurableFiles.Replace(IntentPath(intent), JsonSerializer.Serialize(intent, Web));
        Step(PublishStep.IntentNoted);
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
            await Move(target, replaced, cancel).ConfigureAwait(false);
            Step(PublishStep.OldAway);
        }

        if (Directory.Exists(making)) await Move(making, target, cancel).ConfigureAwait(false);
        DurableFiles.FlushFolder(dropFolder);
        DurableFiles.FlushFolder(Replaced);
        Step(PublishStep.NewInPlace);
    }

    /// <summary>Forgets the intent, after the ledger knows that the set stands.</summary>
    public void Close(Intent intent) => File.Delete(IntentPath(intent));

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
                File.Delete(path); // Written whole or not at all by us; this is a stranger's.
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
            if (!running(name) && !File.Exists(Path.Combine(Making, name + ".intent.json"))) Directory.Delete(folder, true);
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

    private static async Task<bool> Stands(Intent intent, string target, CancellationToken cancel)
    {
        var summary = Path.Combine(target, "summary.json");
        return File.Exists(summary) && await SourceCopy.HashOf(summary, cancel).ConfigureAwait(false) == intent.SummarySha256;
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
            Directory.CreateDirectory(Path.Combine(to, Path.GetRelativePath(from, folder)));
        foreach (var file in Directory.GetFiles(from, "*", SearchOption.AllDirectories))
        {
            var copy = Path.Combine(to, Path.GetRelativePath(from, file));
            var (written, _) = await SourceCopy.HashingCopy(file, copy, cancel, flushToDisk: true).ConfigureAwait(false);
            if (await SourceCopy.HashOf(copy, cancel).ConfigureAwait(false) != written)
                throw new IOException($"{copy} reads back differently from what was written; the share or its disk is damaged.");
            Step(PublishStep.FileCopied);
        }

        foreach (var folder in Directory.GetDirectories(to, "*", SearchOption.AllDirectories)) DurableFiles.FlushFolder(folder);
        DurableFiles.FlushFolder(to);
    }

    /// <summary>Renames a folder; a scanner or reader that holds a file is waited for a little.</summary>
    private static async Task Move(string from, string to, CancellationToken cancel)
    {
        for (var attempt = 0; ; attempt++)
        {
            try
            {
                Directory.Move(from, to);
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

    private void RefuseLinks()
    {
        foreach (var folder in (string[])[Path.Combine(dropFolder, SetPlace.OwnFolder), Making, Replaced])
        {
            if (new DirectoryInfo(folder) is { Exists: true, LinkTarget: not null })
                throw new PublishBlockedException($"{folder} is a link; the service publishes only into real folders. Remove the link.");
        }
    }

    private string IntentPath(Intent intent) => Path.Combine(Making, intent.Making + ".intent.json");

    private void Step(PublishStep step) => onStep?.Invoke(step);
}
