using System.Text.Json.Nodes;
using Stiltwright.Host.Plugins;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Configuration;

/// <summary>What must hold between the stages of a recipe, beyond each value's own range.</summary>
public static class RecipeRules
{
    /// <summary>Checks the stages of a recipe file.</summary>
    public static void Check(ConfigNode recipe, string file, PluginCatalog catalog, List<Mistake> mistakes)
    {
        if (recipe.Find("stages") is not { Kind: NodeKind.List } list) return;
        var chosen = new List<(StageInfo Info, ConfigNode Node, int Index)>();
        for (var i = 0; i < list.Items.Count; i++)
        {
            var node = list.Items[i];
            if (node.Find("stage") is not { Kind: NodeKind.Text } name) continue;
            var path = $"stages[{i}]";
            if (!catalog.Stages.TryGetValue(name.Text, out var info))
            {
                mistakes.Add(new(file, name.Line, $"{path}.stage", $"No stage \"{name.Text}\" is loaded; {NearestName.Advice(name.Text, [.. catalog.Stages.Keys.Order(StringComparer.Ordinal)])}"));
                continue;
            }

            var earlier = chosen.FindIndex(c => c.Info.Name == info.Name);
            if (earlier >= 0)
                mistakes.Add(new(file, name.Line, $"{path}.stage", $"\"{info.Name}\" stands twice in the recipe, first in line {chosen[earlier].Node.Line}; keep one of them."));
            mistakes.AddRange(SettingsBinder.Bind(info.SettingsType, node.Without("stage"), file, path).Mistakes.Select(m => m.Line > 0 ? m : m with { Line = node.Line }));
            chosen.Add((info, node, i));
        }

        Order(chosen, file, mistakes);
        FilledNeedsShell(chosen, file, mistakes);
        // With a stage unknown its settings are unknown too: one mistake, told once.
        if (chosen.Count == list.Items.Count) SlipMayChange(recipe, chosen, file, mistakes);
    }

    /// <summary>The settings of a stage entry without its name.</summary>
    public static JsonObject SettingsOf(ConfigNode entry)
    {
        var o = (JsonObject)entry.ToJson()!;
        o.Remove("stage");
        return o;
    }

    private static void Order(List<(StageInfo Info, ConfigNode Node, int Index)> chosen, string file, List<Mistake> mistakes)
    {
        for (var later = 1; later < chosen.Count; later++)
        {
            for (var before = 0; before < later; before++)
            {
                var broken = chosen[before].Info.Settles & chosen[later].Info.Changes;
                if (broken == Parts.Nothing) continue;
                mistakes.Add(new(file, chosen[later].Node.Line, $"stages[{chosen[later].Index}]",
                    $"\"{chosen[later].Info.Name}\" changes {Words(broken)}, which \"{chosen[before].Info.Name}\" (stages[{chosen[before].Index}]) needs settled; put \"{chosen[later].Info.Name}\" before \"{chosen[before].Info.Name}\"."));
            }
        }
    }

    private static void FilledNeedsShell(List<(StageInfo Info, ConfigNode Node, int Index)> chosen, string file, List<Mistake> mistakes)
    {
        if (chosen.Any(c => c.Info.Name == "shell")) return;
        foreach (var (info, node, index) in chosen.Where(c => c.Info.Name == "rescale"))
        {
            var given = node.Find("oldCavities");
            var value = given?.Text ?? SettingsBinder.ShapeOf(info.SettingsType).Fields.FirstOrDefault(f => f.Key == "oldCavities")?.Default?.GetValue<string>();
            if (!string.Equals(value, "fill", StringComparison.OrdinalIgnoreCase)) continue;
            mistakes.Add(new(file, (given ?? node).Line, $"stages[{index}].oldCavities",
                "\"rescale\" fills the source's cavities, but no \"shell\" hollows the figure again; add \"shell\", or write \"oldCavities\": \"keep\"."));
        }
    }

    private static void SlipMayChange(ConfigNode recipe, List<(StageInfo Info, ConfigNode Node, int Index)> chosen, string file, List<Mistake> mistakes)
    {
        if (recipe.Find("slipMayChange") is not { Kind: NodeKind.List } list) return;
        string[] known = [.. chosen.SelectMany(c => SettingsBinder.ShapeOf(c.Info.SettingsType).Fields.Select(f => $"{c.Info.Name}.{f.Key}"))];
        for (var i = 0; i < list.Items.Count; i++)
        {
            var item = list.Items[i];
            if (item.Kind == NodeKind.Text && !known.Contains(item.Text))
                mistakes.Add(new(file, item.Line, $"slipMayChange[{i}]", $"\"{item.Text}\" is no setting of this recipe's stages; {NearestName.Advice(item.Text, known)}"));
        }
    }

    private static string Words(Parts parts) =>
        string.Join(" and ", Enum.GetValues<Parts>().Where(p => p != Parts.Nothing && parts.HasFlag(p)).Select(p => p switch
        {
            Parts.Figure => "the figure",
            Parts.Struts => "the struts",
            Parts.Raft => "the raft",
            Parts.Estimate => "the estimate",
            Parts.Pieces => "the pieces",
            Parts.Placement => "the placement",
            _ => "the roles",
        }));
}
