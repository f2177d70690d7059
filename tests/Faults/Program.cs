// dotnet run --project tests/Faults -c Release -- --short|--long [--part NAME] [--seed S]
// Breaks the service on purpose and checks afterwards that no file, result or mail was lost. Parts: publish, fuzz, stages, kill.
using System.Diagnostics;
using Stiltwright.Faults;

if (args is ["publish-child", .. var rest]) return await PublishPart.Child(rest);
var isLong = args.Contains("--long");
string? Option(string name) => Array.IndexOf(args, name) is var i and >= 0 && i + 1 < args.Length ? args[i + 1] : null;
if (!isLong && !args.Contains("--short"))
{
    Console.Error.WriteLine("Give --short (a few minutes) or --long (parts of an hour), and if wanted --part publish|fuzz|stages|kill and --seed NUMBER.");
    return 2;
}

var seed = int.Parse(Option("--seed") ?? Random.Shared.Next(1_000_000).ToString(), System.Globalization.CultureInfo.InvariantCulture);
Console.WriteLine($"Seed {seed}");
var parts = new Dictionary<string, Func<bool, int, Task<IReadOnlyList<string>>>>
{
    ["publish"] = PublishPart.Run,
    ["fuzz"] = FuzzPart.Run,
    ["stages"] = StagesPart.Run,
    ["kill"] = KillPart.Run,
};
var broken = 0;
foreach (var (name, run) in parts.Where(p => Option("--part") is not { } wanted || wanted == p.Key))
{
    Console.WriteLine($"== {name}");
    var clock = Stopwatch.StartNew();
    var faults = await run(isLong, seed);
    foreach (var f in faults) Console.WriteLine($"BROKEN: {f}");
    Console.WriteLine($"{name}: {(faults.Count == 0 ? "all invariants hold" : $"{faults.Count} broken")}, {clock.Elapsed.TotalSeconds:0} s");
    broken += faults.Count;
}

return broken == 0 ? 0 : 1;
