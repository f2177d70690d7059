using System.Globalization;
using System.Text;
using Stiltwright.Host.Plugins;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Configuration;

/// <summary>The page of all stages and their settings, made from the declarations that the check of recipes uses.</summary>
public static class ReferencePage
{
    /// <summary>The page as Markdown.</summary>
    public static string Write(PluginCatalog catalog)
    {
        var page = new StringBuilder("# Stages and their settings\n\nMade by `stiltwright stages --write-reference FILE` from what the stages declare; `stiltwright check` holds recipes to it.\n");
        foreach (var stage in catalog.Stages.Values.OrderBy(s => s.Name, StringComparer.Ordinal))
        {
            page.Append(CultureInfo.InvariantCulture, $"\n## {stage.Name}\n\nVersion {stage.Version}. Changes {Words(stage.Changes)}; before it must be settled {Words(stage.Settles)}.\n");
            var fields = SettingsBinder.ShapeOf(stage.SettingsType).Fields;
            if (fields.Count == 0)
            {
                page.Append("\nNo settings.\n");
                continue;
            }
            page.Append("\n| setting | takes | default | meaning |\n|---|---|---|---|\n");
            foreach (var f in fields)
                page.Append(CultureInfo.InvariantCulture, $"| `{f.Key}` | {Cell(f.Shape.Wanted)} | {(f.Default is null ? "" : $"`{f.Default.ToJsonString()}`")} | {Cell(f.Meaning)} |\n");
        }
        return page.ToString();
    }

    private static string Words(Parts parts) => parts == Parts.Nothing ? "nothing" : parts.ToString().ToLowerInvariant();

    private static string Cell(string text) => text.Replace("|", "\\|", StringComparison.Ordinal).ReplaceLineEndings(" ");
}
