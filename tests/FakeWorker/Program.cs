// Stands in for the worker in tests: FakeWorker MODE [MARKER] ORDER behaves as MODE says.
using System.Text.Json;
using System.Text.Json.Nodes;

var mode = args[0];
var orderPath = args[^1];
var order = JsonNode.Parse(File.ReadAllText(orderPath))!;
var name = order["sourceName"]!.GetValue<string>();
Tell("inspect", 0.1);
switch (mode)
{
    case "ready" or "check" or "stop":
        WriteSet(mode);
        return 0;
    case "busy":
        // As long as small work takes, from a fifth of a second to one and a half, the same for the same file.
        Thread.Sleep(200 + (name.Sum(c => c) * 37 % 1300));
        WriteSet("ready");
        return 0;
    case "crash":
        Environment.FailFast("This worker breaks down on purpose.");
        return 0;
    case "crash-once":
        if (!File.Exists(args[1]))
        {
            File.WriteAllText(args[1], "");
            Environment.FailFast("This worker breaks down on purpose, once.");
        }

        WriteSet("ready");
        return 0;
    case "slow-first":
        if (!File.Exists(args[1]))
        {
            File.WriteAllText(args[1], "");
            Thread.Sleep(20_000);
        }

        WriteSet("ready");
        return 0;
    case "leaves-a-child":
        System.Diagnostics.Process.Start(new System.Diagnostics.ProcessStartInfo(Environment.ProcessPath!, ["hang", orderPath]) { RedirectStandardInput = true })!.Dispose();
        WriteSet("ready");
        return 0;
    case "fill":
        using (var file = File.Create(Path.Combine(order["outDir"]!.GetValue<string>(), "endless.bin")))
        {
            var zeros = new byte[1 << 20];
            for (; ; ) file.Write(zeros);
        }

    case "fail":
        Console.Error.WriteLine("The stage shell could not go on.");
        return 1;
    case "hang":
        Thread.Sleep(Timeout.Infinite);
        return 0;
    case "hog":
        var kept = new List<byte[]>();
        for (; ; )
        {
            var block = new byte[32 << 20];
            Array.Fill(block, (byte)1);
            kept.Add(block);
        }

    case "print":
        var line = new string('x', 100_000);
        for (var i = 0; i < 500; i++) Console.Out.WriteLine(line);
        Console.Out.WriteLine("\u001e{not ours");
        WriteSet("ready");
        return 0;
    case "nothing":
        return 0;
    default:
        Console.Error.WriteLine($"unknown mode {mode}");
        return 9;
}

static void Tell(string stage, double progress) => Console.Out.WriteLine("\u001e" + JsonSerializer.Serialize(new { progress, stage }));

void WriteSet(string outcome)
{
    var set = order["outDir"]!.GetValue<string>();
    var findings = new JsonArray();
    if (outcome != "ready")
        findings.Add(new JsonObject { ["id"] = "island", ["level"] = outcome, ["text"] = $"{name}: an island of 1.2 mm2 begins in layer 40.", ["advice"] = "Add a strut there." });
    var summary = new JsonObject
    {
        ["format"] = 1,
        ["number"] = order["number"]!.DeepClone(),
        ["source"] = new JsonObject { ["file"] = name, ["sha256"] = new string('0', 64) },
        ["folder"] = order["folder"]!.DeepClone(),
        ["recipe"] = order["recipeName"]!.DeepClone(),
        ["outcome"] = outcome,
        ["pieces"] = new JsonArray(),
        ["cavities"] = new JsonArray(),
        ["ways"] = new JsonArray(),
        ["runs"] = new JsonArray(),
        ["finish"] = new JsonArray(),
        ["extras"] = new JsonArray(),
        ["findings"] = findings,
        ["stages"] = new JsonArray(),
    };
    File.WriteAllText(Path.Combine(set, "summary.json"), summary.ToJsonString());
    File.WriteAllText(Path.Combine(set, "summary.html"), "<p>A set.</p>");
    File.Copy(order["sourcePath"]!.GetValue<string>(), Path.Combine(set, "figure.stl"));
    Tell("estimate", 1);
}
