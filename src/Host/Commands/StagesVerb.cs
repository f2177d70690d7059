using System.CommandLine;
using Stiltwright.Host.Configuration;

namespace Stiltwright.Host.Commands;

/// <summary>stages: what can be used in recipes, and from where.</summary>
public static class StagesVerb
{
    /// <summary>The verb.</summary>
    public static Command Make()
    {
        var config = CommonOptions.Config();
        var settings = new Option<bool>("--settings") { Description = "Says each setting with its unit, range and default." };
        var schemas = new Option<string?>("--write-schemas") { Description = "Writes the JSON schemas of all configuration files into a folder.", HelpName = "DIR" };
        var reference = new Option<string?>("--write-reference") { Description = "Writes the page of all stages and their settings.", HelpName = "FILE" };
        var verb = new Command("stages", "Lists the stages that can be loaded, and from where.") { config, settings, schemas, reference };
        verb.SetAction(parsed =>
        {
            var (_, catalog) = CommonOptions.Read(parsed.GetRequiredValue(config));
            foreach (var s in catalog.Stages.Values.OrderBy(s => s.Name, StringComparer.Ordinal))
            {
                Console.Out.WriteLine($"{s.Name} {s.Version}  {s.From}");
                if (!parsed.GetValue(settings)) continue;
                foreach (var f in SettingsBinder.ShapeOf(s.SettingsType).Fields)
                    Console.Out.WriteLine($"    {f.Key}: {f.Shape.Wanted}{(f.Default is null ? "" : $", default {f.Default.ToJsonString()}")}. {f.Meaning}");
            }

            if (parsed.GetValue(schemas) is { } folder)
            {
                Directory.CreateDirectory(folder);
                foreach (var (name, text) in SchemaFiles.All(catalog)) File.WriteAllText(Path.Combine(folder, name), text);
            }

            if (parsed.GetValue(reference) is { } page) File.WriteAllText(page, ReferencePage.Write(catalog));

            CommonOptions.Print(catalog.Problems, Console.Error);
            return catalog.Problems.Count > 0 ? ExitCode.Kept : ExitCode.Ready;
        });
        return verb;
    }
}
