using System.Globalization;
using Stiltwright.Host.Configuration;

namespace Stiltwright.Host.Board;

/// <summary>A recipe in a few words, for the board.</summary>
public static class RecipeWords
{
    /// <summary>E.g. "200 %, wall 2 mm, workshop-grey".</summary>
    public static string Of(Recipe recipe)
    {
        var t = recipe.Target;
        var target = t.Percent is { } p ? $"{N(p)} %" : t.HeightMm is { } h ? $"{N(h)} mm tall" : $"{N(t.From!.Value)} to {N(t.To!.Value)}";
        var wall = recipe.Stages.FirstOrDefault(s => s.Stage == "shell")?.Settings["wallMm"];
        return wall is null ? $"{target}, {recipe.Resin.Name}" : $"{target}, wall {wall.ToJsonString()} mm, {recipe.Resin.Name}";
    }

    private static string N(double v) => v.ToString("0.##", CultureInfo.InvariantCulture);
}
