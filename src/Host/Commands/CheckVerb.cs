using System.CommandLine;

namespace Stiltwright.Host.Commands;

/// <summary>check: reads the whole configuration and says every mistake at once.</summary>
public static class CheckVerb
{
    /// <summary>The verb.</summary>
    public static Command Make()
    {
        var config = CommonOptions.Config();
        var verb = new Command("check", "Reads the whole configuration and says every mistake at once.") { config };
        verb.SetAction(parsed =>
        {
            var (read, catalog) = CommonOptions.Read(parsed.GetRequiredValue(config));
            CommonOptions.Print(read.Mistakes, Console.Out);
            if (read.Mistakes.Count > 0) return ExitCode.Kept;
            Console.Out.WriteLine($"{read.Folder} is right: {read.Recipes.Count} recipes, {catalog.Stages.Count} stages.");
            foreach (var r in read.Recipes.Values.OrderBy(r => r.Name, StringComparer.Ordinal))
                Console.Out.WriteLine($"  {r.Name}: {string.Join(", ", r.Stages.Select(s => s.Stage))}");
            return ExitCode.Ready;
        });
        return verb;
    }
}
