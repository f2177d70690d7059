using System.Text.Json.Nodes;
using Stiltwright.Geometry;
using Stiltwright.Host.Worker;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Configuration;

/// <summary>What a slip says.</summary>
/// <param name="Slip">Directions and boxes.</param>
/// <param name="Change">Settings changed, "stage.setting" to value.</param>
public sealed record SlipFile(Slip Slip, IReadOnlyDictionary<string, JsonNode> Change)
{
    /// <summary>Nothing said.</summary>
    public static readonly SlipFile Empty = new(new Slip(), new Dictionary<string, JsonNode>());
}

/// <summary>Reads NAME.slip.json, the file in which a person says what only a person knows of a figure.</summary>
public static class SlipReader
{
    /// <summary>Name of the slip that belongs to a source.</summary>
    public static string PathFor(string source) =>
        Path.Combine(Path.GetDirectoryName(source) ?? "", Path.GetFileNameWithoutExtension(source) + ".slip.json");

    /// <summary>The bytes of a source's slip; null where there is none, or only a link (which may lead out of the share).</summary>
    public static byte[]? BytesFor(string source)
    {
        var file = new FileInfo(PathFor(source));
        if (!file.Exists || file.LinkTarget is not null) return null;
        if (file.Length > ConfigNode.LargestFile) return "{ \"change\": \"This file is too large to be a slip.\" }"u8.ToArray();
        return File.ReadAllBytes(file.FullName);
    }

    /// <summary>Reads a slip; mistakes are told all at once and then nothing of it holds.</summary>
    public static SlipFile Read(ReadOnlySpan<byte> utf8, string shownAs, Recipe recipe, List<Mistake> mistakes)
    {
        var before = mistakes.Count;
        var node = ConfigNode.Parse(utf8, shownAs, mistakes);
        if (node is null || !new ShapeChecker(shownAs, mistakes).Check(node, FileShapes.Slip, "")) return SlipFile.Empty;
        var slip = new Slip
        {
            Front = Direction(node, "front", shownAs, mistakes),
            Up = Direction(node, "up", shownAs, mistakes),
            NoHoles = Boxes(node, "noHoles", shownAs, mistakes),
            KeepSolid = Boxes(node, "keepSolid", shownAs, mistakes),
        };
        var change = new Dictionary<string, JsonNode>();
        foreach (var (key, value) in node.Find("change")?.Members ?? [])
        {
            if (!recipe.SlipMayChange.Contains(key))
                mistakes.Add(new(shownAs, value.Line, $"change.{key}", $"The recipe {recipe.Name} does not let a slip change this; {NearestName.Advice(key, recipe.SlipMayChange.ToArray())} The print-room lead may add it to \"slipMayChange\"."));
            else if (value.ToJson() is { } json)
                change[key] = json;
        }

        return mistakes.Count == before ? new SlipFile(slip, change) : SlipFile.Empty;
    }

    /// <summary>The recipe's stages with a slip's changes in them.</summary>
    public static IReadOnlyList<StageOrder> Applied(Recipe recipe, SlipFile slip) =>
        [.. recipe.Stages.Select(s =>
        {
            var settings = (JsonObject)s.Settings.DeepClone();
            foreach (var (key, value) in slip.Change)
            {
                if (key.StartsWith(s.Stage + ".", StringComparison.Ordinal)) settings[key[(s.Stage.Length + 1)..]] = value.DeepClone();
            }

            return new StageOrder(s.Stage, settings);
        })];

    private static Vec3? Direction(ConfigNode node, string key, string file, List<Mistake> mistakes)
    {
        if (node.Find(key) is not { } list) return null;
        var v = Vector(list);
        if (v.Length > 1e-9) return v;
        mistakes.Add(new(file, list.Line, key, "A direction of length 0 points nowhere; write e.g. [0, -1, 0]."));
        return null;
    }

    private static List<Box3> Boxes(ConfigNode node, string key, string file, List<Mistake> mistakes)
    {
        var boxes = new List<Box3>();
        foreach (var item in node.Find(key)?.Items ?? [])
        {
            Vec3 a = Vector(item.Find("from")!), b = Vector(item.Find("to")!);
            if (a.X < b.X && a.Y < b.Y && a.Z < b.Z) boxes.Add(new Box3(a, b));
            else mistakes.Add(new(file, item.Line, $"{key}[{boxes.Count}]", "\"from\" must be smaller than \"to\" in x, y and z, or the box is empty."));
        }

        return boxes;
    }

    private static Vec3 Vector(ConfigNode list) => new(list.Items[0].Number, list.Items[1].Number, list.Items[2].Number);
}
