using System.Text.Json.Nodes;
using Stiltwright.Host.Jobs;

namespace Stiltwright.Host.Tests;

/// <summary>What stands in for the worker in tests and trials writes: a set whose only figure is the source. Shared as a file with tests/Faults.</summary>
internal static class StandInSet
{
    /// <summary>Reads a work order and writes its set.</summary>
    /// <param name="orderPath">The order.</param>
    /// <param name="figure">False to leave the figure out: a summary alone.</param>
    /// <param name="stages">Entries for the summary's list of stages.</param>
    /// <param name="cancel">Stops the work.</param>
    public static async Task<WorkerReport> Write(string orderPath, bool figure, JsonArray stages, CancellationToken cancel)
    {
        var order = JsonNode.Parse(await File.ReadAllTextAsync(orderPath, cancel).ConfigureAwait(false))!;
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
        foreach (var list in (string[])["pieces", "cavities", "ways", "runs", "finish", "extras", "findings"]) summary[list] = new JsonArray();
        summary["stages"] = stages;
        await File.WriteAllTextAsync(Path.Combine(set, "summary.json"), summary.ToJsonString(), cancel).ConfigureAwait(false);
        await File.WriteAllTextAsync(Path.Combine(set, "summary.html"), "<p>A set.</p>", cancel).ConfigureAwait(false);
        if (figure) File.Copy(order["sourcePath"]!.GetValue<string>(), Path.Combine(set, "figure.stl"));
        return new WorkerReport(WorkerEnd.Done, 0, "estimate", "", 1, 0.1);
    }
}
