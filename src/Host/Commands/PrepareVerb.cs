using System.CommandLine;
using System.Globalization;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Publishing;
using Stiltwright.Host.Watching;

namespace Stiltwright.Host.Commands;

/// <summary>prepare: one file, now, in the foreground.</summary>
public static class PrepareVerb
{
    /// <summary>The verb.</summary>
    public static Command Make()
    {
        var file = new Argument<string>("FILE") { Description = "The source." };
        var recipe = new Option<string>("--recipe") { Description = "Name of the recipe.", HelpName = "NAME", Required = true };
        var to = new Option<string?>("--out") { Description = "Folder that receives <source name>.set. Default: beside the source.", HelpName = "DIR" };
        var config = CommonOptions.Config();
        var verb = new Command("prepare", "Prepares one file now. Exit code: 0 ready, 3 check, 4 stop, 2 wrong use, 1 anything that kept it from running.") { file, recipe, to, config };
        verb.SetAction((parsed, cancel) => Run(parsed.GetRequiredValue(file), parsed.GetRequiredValue(recipe), parsed.GetValue(to), parsed.GetRequiredValue(config), cancel));
        return verb;
    }

    private static async Task<int> Run(string file, string recipeName, string? outFolder, string configFolder, CancellationToken cancel)
    {
        file = Path.GetFullPath(file);
        if (!File.Exists(file)) return Wrong($"There is no file {file}.");
        if (!SourceNames.IsSource(file)) return Wrong($"{file} is no source: its name must end in {string.Join(", ", SourceNames.Endings)}.");
        var (config, catalog) = CommonOptions.Read(configFolder);
        if (!config.Recipes.TryGetValue(recipeName, out var recipe))
        {
            if (config.Mistakes.Count > 0)
            {
                CommonOptions.Print(config.Mistakes, Console.Error);
                return ExitCode.Kept;
            }

            return Wrong($"There is no recipe \"{recipeName}\"; {NearestName.Advice(recipeName, config.Recipes.Keys.ToArray())}");
        }

        var folder = Path.GetFullPath(outFolder ?? Path.GetDirectoryName(file)!);
        Directory.CreateDirectory(folder);
        var id = "prepare-" + Guid.NewGuid().ToString("N")[..12];
        var scratch = Path.Combine(config.Host.State, "scratch", id);
        var job = new JobInput
        {
            JobId = id,
            Number = "P" + TimeProvider.System.GetLocalNow().ToString("yyMMdd-HHmmss", CultureInfo.InvariantCulture),
            SourcePath = file,
            Folder = Path.GetFileName(Path.GetDirectoryName(file)!),
            Recipe = recipe,
            Slip = SlipReader.BytesFor(file),
            PluginFolders = config.Host.AllPluginFolders,
            Scratch = scratch,
        };
        var runner = new JobRunner(WorkerCommand.OfThisProgram(), config.Host.Worker, catalog, TimeProvider.System);
        JobResult result;
        using (var bar = ProgressBar.OnConsole())
        {
            bar.Show(0, "reading " + Path.GetFileName(file));
            result = await runner.Run(job, line => bar.Show(line.Progress, line.Stage), cancel);
        }

        var publisher = new Publisher(folder);
        var intent = await publisher.Publish(result.SetFolder, Path.GetFileName(file), id, 1, () => true, cancel);
        publisher.Close(intent!);
        Console.Out.WriteLine($"{OutcomeWord.Of(result.Outcome)}: {Path.Combine(folder, intent!.Target)}");
        if (result.FirstFinding.Length > 0) Console.Out.WriteLine(result.FirstFinding);
        if (result.Worker is { } w) Console.Error.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{w.Seconds:0.0} s, at most {w.PeakMiB:0} MiB."));
        if (result.Worker is { End: not WorkerEnd.Done }) Console.Error.WriteLine($"The log of the job is {Path.Combine(scratch, "worker.log")}.");
        else Directory.Delete(scratch, true);
        return ExitCode.Of(result.Outcome);
    }

    private static int Wrong(string sentence)
    {
        Console.Error.WriteLine(sentence);
        return ExitCode.WrongUse;
    }
}
