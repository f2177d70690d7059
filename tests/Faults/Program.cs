// dotnet run --project tests/Faults -c Release -- --short|--long [--part NAME] [--seed S] [--minutes M] [--program PATH]
// Breaks the service on purpose and checks afterwards that no file, result or mail was lost.
using System.Diagnostics;
using Stiltwright.Faults;

if (args is ["publish-child", .. var rest]) return await PublishPart.Child(rest);
if (args is ["service-child", var configuration, var share, var ofChild])
{
    PrintRoom.Program = ofChild;
    return await ServiceChild.Run(configuration, share);
}

var parts = new Dictionary<string, Func<Options, Task<IReadOnlyList<string>>>>
{
    ["publish"] = PublishPart.Run,
    ["fuzz"] = FuzzPart.Run,
    ["stages"] = StagesPart.Run,
    ["disk"] = DiskPart.Run,
    ["kill"] = KillPart.Run,
    ["services"] = ServicesPart.Run,
    ["crowd"] = CrowdPart.Run,
    ["soak"] = SoakPart.Run,
    ["idle"] = IdlePart.Run,
};
// What a quiet machine takes when idle can only be measured on a quiet machine: that part runs where it is named.
string[] wanted = Options.Value(args, "--part")?.Split(',') ?? [.. parts.Keys.Where(k => k != "idle")];
if (Options.Read(args) is not { } options || !wanted.All(parts.ContainsKey))
{
    Console.Error.WriteLine($"Give --short (a few minutes) or --long (parts of an hour), and if wanted --part {string.Join(',', parts.Keys)} (one or several), --seed NUMBER, --minutes NUMBER, --program PATH of a published program; for the kill trial --tally FILE that keeps its counts, --beside NUMBER of print rooms.");
    return 2;
}

if (Options.Value(args, "--program") is { } program) PrintRoom.Program = Path.GetFullPath(program);
Console.WriteLine($"Seed {options.Seed}");
var broken = 0;
foreach (var (name, run) in parts.Where(p => wanted.Contains(p.Key)))
{
    Console.WriteLine($"== {name}");
    var clock = Stopwatch.StartNew();
    var faults = await run(options);
    foreach (var f in faults) Console.WriteLine($"BROKEN: {f}");
    Console.WriteLine($"{name}: {(faults.Count == 0 ? "all invariants hold" : $"{faults.Count} broken")}, {clock.Elapsed.TotalSeconds:0} s");
    broken += faults.Count;
}

return broken == 0 ? 0 : 1;
