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
        await first();
        return await StandInSet.Write(orderPath, figure: true, [new JsonObject { ["stage"] = Stage, ["version"] = "1.0", ["seconds"] = StageSeconds, ["peakMiB"] = 1 }], cancel);
    }
}
