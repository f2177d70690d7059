using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using Stiltwright.Host.Commands;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Plugins;
using Stiltwright.Host.Publishing;
using Stiltwright.Host.Summaries;
using Stiltwright.Host.Worker;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Jobs;

/// <summary>What one run of a job starts from.</summary>
public sealed record JobInput
{
    /// <summary>Id in the ledger, or free text.</summary>
    public required string JobId { get; init; }

    /// <summary>Number of the set.</summary>
    public required string Number { get; init; }

    /// <summary>The source where it lies.</summary>
    public required string SourcePath { get; init; }

    /// <summary>Name of the drop folder.</summary>
    public required string Folder { get; init; }

    /// <summary>The recipe.</summary>
    public required Recipe Recipe { get; init; }

    /// <summary>Bytes of the slip; null where none lies beside the source.</summary>
    public byte[]? Slip { get; init; }

    /// <summary>Plug-in folders.</summary>
    public required IReadOnlyList<string> PluginFolders { get; init; }

    /// <summary>SHA-256 of the DLLs that the administrator's folders may hold; empty where every one may be used.</summary>
    public IReadOnlyList<string> AllowedPlugins { get; init; } = [];

    /// <summary>Local folder for this run, made anew.</summary>
    public required string Scratch { get; init; }
}

/// <summary>What a run gave.</summary>
/// <param name="SetFolder">The set in scratch; always there.</param>
/// <param name="Outcome">The worst level.</param>
/// <param name="FirstFinding">Text of the first finding, empty if none.</param>
/// <param name="Worker">How the worker ended; null if it was not started.</param>
/// <param name="MayTryAgain">True if the worker was killed or broke down, which may have been chance.</param>
public sealed record JobResult(string SetFolder, Level Outcome, string FirstFinding, WorkerReport? Worker, bool MayTryAgain);

/// <summary>
/// One run of a job: private copy, order, worker, and the check of what it left behind. Whatever goes wrong with the file
/// or the stages ends in a set with a summary; only what is wrong with this machine or the share is thrown.
/// </summary>
public sealed class JobRunner(WorkerCommand command, WorkerSettings limits, PluginCatalog catalog, TimeProvider time, ShareFiles? files = null)
{
    /// <summary>Runs a job.</summary>
    /// <exception cref="SourceChangedException">The source changed while it was copied.</exception>
    /// <exception cref="IOException">This machine's disk has no room for the work, is read-only or broken.</exception>
    public async Task<JobResult> Run(JobInput job, Action<WorkerLine> progress, CancellationToken cancel)
    {
        if (Directory.Exists(job.Scratch)) Directory.Delete(job.Scratch, true);
        Directory.CreateDirectory(job.Scratch);
        var sourceName = Path.GetFileName(job.SourcePath);
        RoomOnDisk.Require(job.Scratch, sourceName, new FileInfo(job.SourcePath).Length);
        var copyPath = Path.Combine(job.Scratch, "source" + Path.GetExtension(sourceName).ToLowerInvariant());
        var copy = await (files ?? new ShareFiles()).CopyOut(job.SourcePath, copyPath, cancel).ConfigureAwait(false);
        var set = Path.Combine(job.Scratch, "set");
        Directory.CreateDirectory(set);

        var mistakes = new List<Mistake>();
        var slip = job.Slip is null ? SlipFile.Empty : SlipReader.Read(job.Slip, Path.GetFileName(SlipReader.PathFor(job.SourcePath)), job.Recipe, mistakes);
        var stages = SlipReader.Applied(job.Recipe, slip);
        mistakes.AddRange(stages.Where(s => catalog.Stages.ContainsKey(s.Stage)).SelectMany(s => SettingsBinder.Bind(catalog.Stages[s.Stage].SettingsType, s.Settings, $"{s.Stage} as the slip changes it").Mistakes));
        if (mistakes.Count > 0)
            return Stopped(job, copy, set, null, new Finding("slip-mistaken", Level.Stop,
                $"{sourceName} was not prepared, because its slip has mistakes. {string.Join(" ", mistakes)}",
                "Mend the slip, or remove it, and the file is done by itself."));

        var orderPath = Path.Combine(job.Scratch, "order.json");
        new WorkOrder
        {
            JobId = job.JobId,
            Number = job.Number,
            SourcePath = copy.Path,
            SourceName = sourceName,
            Folder = job.Folder,
            RecipeName = job.Recipe.Name,
            Target = job.Recipe.Target,
            SourceMm = job.Recipe.SourceMm,
            Printers = job.Recipe.Printers,
            Resin = job.Recipe.Resin,
            Slip = slip.Slip,
            Stages = stages,
            PluginFolders = job.PluginFolders,
            AllowedPlugins = job.AllowedPlugins,
            OutDir = set,
        }.Write(orderPath);

        var report = command.InProcess is { } here
            ? await here(orderPath, progress, cancel).ConfigureAwait(false)
            : await new WorkerProcess(command, limits, time).Run(orderPath, Path.Combine(job.Scratch, "worker.log"), progress, cancel).ConfigureAwait(false);
        if (report is { End: WorkerEnd.Failed, ExitCode: ExitCode.DiskGaveOut }) throw RoomOnDisk.GaveOut(job.Scratch, sourceName, report.FirstError);
        if (report.End == WorkerEnd.Done && SetGlance.Read(set) is { } glance && IsWhole(set) && glance.SourceFile == sourceName && Enum.TryParse<Level>(LevelWord(glance.Outcome), out var level))
            return new JobResult(set, level, glance.FirstFinding, report, false);

        return Stopped(job, copy, set, report, WorkerFindings.For(sourceName, report, limits));
    }

    /// <summary>Refuses a job without starting a worker.</summary>
    public async Task<JobResult> Refuse(JobInput job, Finding finding, CancellationToken cancel)
    {
        if (Directory.Exists(job.Scratch)) Directory.Delete(job.Scratch, true);
        var set = Path.Combine(job.Scratch, "set");
        Directory.CreateDirectory(set);
        var sha = await SourceCopy.HashOf(job.SourcePath, cancel).ConfigureAwait(false);
        return Stopped(job, new SourceCopy(job.SourcePath, sha, 0), set, null, finding);
    }

    /// <summary>Hash of all that decides the result but the source's bytes: targets, stages, printers, resin, slip. Mail is left out.</summary>
    public static string RecipeHash(Recipe recipe, byte[]? slip)
    {
        var effective = JsonSerializer.Serialize(
            new { recipe.Name, recipe.Target, recipe.SourceMm, recipe.Printers, recipe.Resin, recipe.Stages, recipe.SlipMayChange }, WorkOrder.Json);
        using var hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        hash.AppendData(Encoding.UTF8.GetBytes(effective));
        hash.AppendData([0]);
        if (slip is not null) hash.AppendData(slip);
        return Convert.ToHexStringLower(hash.GetHashAndReset());
    }

    /// <summary>True if the set's summary can be read as the mail will read it.</summary>
    private static bool IsWhole(string set)
    {
        try
        {
            SummaryFiles.Read(set);
            return true;
        }
        catch (InvalidDataException)
        {
            return false; // The caller says so in a summary of its own.
        }
    }

    private static string LevelWord(string outcome) => outcome switch { "ready" => "Note", "check" => "Check", "stop" => "Stop", _ => "" };

    private static JobResult Stopped(JobInput job, SourceCopy copy, string set, WorkerReport? report, Finding finding)
    {
        // What a broken worker left is no set: nothing of it is shown.
        Directory.Delete(set, true);
        Directory.CreateDirectory(set);
        StopSummary.Write(set, job, copy.Sha256, finding);
        return new JobResult(set, Level.Stop, finding.Text, report, report?.End == WorkerEnd.Crashed);
    }
}
