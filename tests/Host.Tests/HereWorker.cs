using System.Text.Json.Nodes;
using Stiltwright.Host.Jobs;

namespace Stiltwright.Host.Tests;

/// <summary>Does an order in this process, for tests of what comes before and after the worker: the source becomes the figure.</summary>
internal static class HereWorker
{
    /// <summary>The stage that its summaries name, and the seconds that it says it took.</summary>
    public const string Stage = "inspect";

    public const double StageSeconds = 0.25;

    public static WorkerCommand Command { get; } = new("", []) { InProcess = (order, _, cancel) => Do(order, () => Task.CompletedTask, cancel) };

    /// <summary>Writes the set of an order, after something was waited for.</summary>
    public static async Task<WorkerReport> Do(string orderPath, Func<Task> first, CancellationToken cancel)
    {
        var order = JsonNode.Parse(await File.ReadAllTextAsync(orderPath, cancel))!;
        await first();
        var set = order["outDir"]!.GetValue<string>();
        var summary = new JsonObject
        {
            ["format"] = 1,
            ["number"] = order["number"]!.DeepClone(),
            ["source"] = new JsonObject { ["file"] = order["sourceName"]!.DeepClone(), ["sha256"] = new string('0', 64) },
            ["folder"] = order["folder"]!.DeepClone(),
            ["recipe"] = order["recipeName"]!.DeepClone(),
            ["outcome"] = "ready",
        };
        foreach (var list in (string[])["pieces", "cavities", "ways", "runs", "finish", "extras", "findings", "stages"]) summary[list] = new JsonArray();
        summary["stages"]!.AsArray().Add(new JsonObject { ["stage"] = Stage, ["version"] = "1.0", ["seconds"] = StageSeconds, ["peakMiB"] = 1 });
        await File.WriteAllTextAsync(Path.Combine(set, "summary.json"), summary.ToJsonString(), cancel);
        await File.WriteAllTextAsync(Path.Combine(set, "summary.html"), "<p>A set.</p>", cancel);
        File.Copy(order["sourcePath"]!.GetValue<string>(), Path.Combine(set, "figure.stl"));
        return new WorkerReport(WorkerEnd.Done, 0, "estimate", "", 1, 0.1);
    }
}
