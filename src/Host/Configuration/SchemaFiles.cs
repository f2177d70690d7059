using System.Text.Json.Nodes;
using Stiltwright.Host.Plugins;

namespace Stiltwright.Host.Configuration;

/// <summary>The schema files of config/schema, made from the same declarations that the check uses.</summary>
public static class SchemaFiles
{
    /// <summary>File name and text of each.</summary>
    public static IReadOnlyDictionary<string, string> All(PluginCatalog catalog)
    {
        var recipe = JsonNode.Parse(SchemaWriter.Write("Recipe of a drop folder", FileShapes.Recipe))!;
        recipe["properties"]!["stages"]!["items"] = new JsonObject { ["oneOf"] = new JsonArray([.. catalog.Stages.Values.OrderBy(s => s.Name, StringComparer.Ordinal).Select(Entry)]) };
        return new Dictionary<string, string>
        {
            ["host.schema.json"] = SchemaWriter.Write("Settings of the host", FileShapes.Host),
            ["recipe.schema.json"] = SchemaWriter.Text(recipe),
            ["printer.schema.json"] = SchemaWriter.Write("A printer as it can really be used", FileShapes.Printer),
            ["resin.schema.json"] = SchemaWriter.Write("A resin", FileShapes.Resin),
            ["slip.schema.json"] = SchemaWriter.Write("What only a person knows of a figure", FileShapes.Slip),
        };
    }

    private static JsonNode Entry(StageInfo stage)
    {
        var entry = SchemaWriter.Of(SettingsBinder.ShapeOf(stage.SettingsType));
        var properties = new JsonObject { ["stage"] = new JsonObject { ["enum"] = new JsonArray(stage.Name) } };
        foreach (var (key, value) in entry["properties"]!.AsObject()) properties[key] = value?.DeepClone();
        entry["properties"] = properties;
        entry["required"] = new JsonArray("stage");
        return entry;
    }
}
