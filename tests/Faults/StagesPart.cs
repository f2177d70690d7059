using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Plugins;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Faults;

/// <summary>Ten plug-ins that do what a stage must not. Each ends its own job with a sentence that names it, and nothing else.</summary>
internal static class StagesPart
{
    public static async Task<IReadOnlyList<string>> Run(Options options)
    {
        var faults = new List<string>();
        string[] ends = ["throws", "hangs", "exhausts-memory", "overflows-the-stack", "fails-fast", "returns-nonsense", "prints-without-end"];
        string[] survives = ["writes-outside", "leaves-threads", "changes-culture"];
        using var room = new PrintRoom(
            """{ "state": "STATE", "pluginFolders": ["PLUGINS"], "worker": { "memoryMiB": 512, "timeLimitS": 20 } }""",
            [.. ends.Concat(survives).Select(s => (s, PrintRoom.Recipe("inspect", s, "rescale", "shell", "drain-hole", "estimate")))]);
        room.LayHostileStages();
        PluginCatalog? catalog = null;
        var ownPlugins = Path.Combine(Path.GetDirectoryName(PrintRoom.Program)!, "plugins");
        var config = ConfigReader.Read(room.Config, host => catalog = PluginCatalog.Load([ownPlugins, .. host.PluginFolders]));
        foreach (var m in config.Mistakes) faults.Add(m.ToString());
        foreach (var (name, recipe) in config.Recipes)
        {
            var source = Path.Combine(room.Share, name, "crab.stl");
            var bytes = PrintRoom.Figure(new Random(options.Seed));
            File.WriteAllBytes(source, bytes);
            var runner = new JobRunner(new WorkerCommand(PrintRoom.Program, ["work", "--tied"]), config.Host.Worker with { TimeLimitS = name is "hangs" or "prints-without-end" ? 15 : 150 }, catalog!, TimeProvider.System);
            var result = await runner.Run(new JobInput { JobId = name, Number = "1", SourcePath = source, Folder = name, Recipe = recipe, PluginFolders = [ownPlugins, .. config.Host.PluginFolders], Scratch = Path.Combine(room.State, "scratch", name) }, _ => { }, default);
            var said = SetGlance.Read(result.SetFolder)?.FirstFinding ?? "";
            Console.WriteLine($"{name}: {result.Worker?.End}, {result.Worker?.Seconds:0.0} s. {(said.Length > 160 ? said[..160] : said)}");
            if (ends.Contains(name) && (SetGlance.Read(result.SetFolder)?.Outcome != "stop" || !said.Contains($"\"{name}\"", StringComparison.Ordinal)))
                faults.Add($"{name}: the outcome is {result.Outcome} and its sentence does not name the stage: {said}");
            if (survives.Contains(name) && SetGlance.Read(result.SetFolder) is null) faults.Add($"{name}: there is no set");
            if (!File.ReadAllBytes(source).AsSpan().SequenceEqual(bytes)) faults.Add($"{name}: the source was changed");
            if (name == "changes-culture" && File.ReadAllText(Path.Combine(result.SetFolder, "summary.json")).Contains("\"scale\": 2,", StringComparison.Ordinal) is false
                && File.ReadAllText(Path.Combine(result.SetFolder, "summary.json")).Contains("\"scale\":2", StringComparison.Ordinal) is false)
                faults.Add("changes-culture: the summary has no scale 2");
        }

        return faults;
    }
}
