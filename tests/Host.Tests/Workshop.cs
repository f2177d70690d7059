using System.Buffers.Binary;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Plugins;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Tests;

/// <summary>A print room in a temporary folder: configuration, share, state, and stages that are at hand without loading.</summary>
internal sealed class Workshop : IDisposable
{
    public const string Recipe = """
        {
          "target": { "percent": 200 },
          "printers": ["bench-small"],
          "resin": "workshop-grey",
          "mail": { "to": ["printroom@example.org"], "when": "check" },
          "stages": [ { "stage": "inspect" }, { "stage": "shell", "wallMm": 2.0 } ],
          "slipMayChange": ["shell.wallMm"]
        }
        """;

    public Workshop()
    {
        Directory.CreateDirectory(Share);
        Write("stiltwright.json", """{ "watch": { "sweepS": 0.3, "settleS": 0, "patienceS": 1 }, "worker": { "memoryMiB": 512, "timeLimitS": 600 } }""");
        Write("printers/bench-small.json", """{ "widthMm": 143, "depthMm": 89, "heightMm": 175 }""");
        Write("resins/workshop-grey.json", "{}");
        Write("folders/enlarge-200.json", Recipe);
    }

    public string Root { get; } = Directory.CreateTempSubdirectory("stiltwright-test-").FullName;

    public string ConfigFolder => Path.Combine(Root, "config");

    public string Share => Path.Combine(Root, "share");

    public string State => Path.Combine(Root, "state");

    public string Drop => Path.Combine(Share, "enlarge-200");

    public static PluginCatalog Catalog { get; } = new([StageInfo.Of(typeof(InspectStage), "here"), StageInfo.Of(typeof(ShellStage), "here"), StageInfo.Of(typeof(ThinStage), "here"), StageInfo.Of(typeof(RescaleStage), "here")]);

    public void Write(string name, string text)
    {
        var path = Path.Combine(ConfigFolder, name);
        Directory.CreateDirectory(Path.GetDirectoryName(path)!);
        File.WriteAllText(path, text);
    }

    public Config Read()
    {
        var config = ConfigReader.Read(ConfigFolder, _ => Catalog);
        return config with { Host = config.Host with { State = State } };
    }

    public static WorkerCommand Worker(params string[] mode)
    {
        var program = Path.Combine(AppContext.BaseDirectory, "Stiltwright.FakeWorker" + (OperatingSystem.IsWindows() ? ".exe" : ""));
        return new WorkerCommand(program, mode);
    }

    /// <summary>A binary STL of one tetrahedron; the count it claims may be another than it has.</summary>
    public static byte[] Stl(int claims = 4, byte mark = 0)
    {
        var bytes = new byte[84 + (50 * 4)];
        bytes[0] = mark;
        BinaryPrimitives.WriteUInt32LittleEndian(bytes.AsSpan(80), (uint)claims);
        float[][] p = [[0, 0, 0], [10, 0, 0], [0, 10, 0], [0, 0, 10]];
        int[][] corners = [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]];
        for (var t = 0; t < 4; t++)
            for (var c = 0; c < 3; c++)
                for (var a = 0; a < 3; a++)
                    BinaryPrimitives.WriteSingleLittleEndian(bytes.AsSpan(84 + (50 * t) + 12 + (12 * c) + (4 * a)), p[corners[t][c]][a]);
        return bytes;
    }

    public string DropFile(string name, byte[] bytes)
    {
        Directory.CreateDirectory(Drop);
        var path = Path.Combine(Drop, name);
        File.WriteAllBytes(path, bytes);
        return path;
    }

    public void Dispose() => Directory.Delete(Root, true);
}

internal abstract class TestStage(string name, Type settings, Parts changes, Parts settles) : IStage
{
    public string Name => name;

    public string Version => "1.0";

    public Type SettingsType => settings;

    public Parts Changes => changes;

    public Parts Settles => settles;

    public StageResult Run(Workpiece workpiece, object settings, IStageContext context, CancellationToken cancel) => StageResult.Done(workpiece);
}

internal sealed class NoSettings;

internal sealed class ShellSettings
{
    [Setting("Wall.", "mm", Least = 0.4, Most = 20)]
    public double WallMm { get; set; } = 2;

    [Setting("How many tries.", Least = 1, Most = 9)]
    public int Tries { get; init; } = 3;

    [Setting("Rule.", OneOf = ["both", "relative"])]
    public string Rule { get; set; } = "both";

    [Setting("Layers.", "mm")]
    public double[] Bands { get; set; } = [];

    [Setting("Refine.")]
    public bool Refine { get; set; }
}

internal sealed class RescaleSettings
{
    [Setting("Closed inner shells.", OneOf = ["fill", "keep"])]
    public string OldCavities { get; set; } = "fill";
}

internal sealed class InspectStage() : TestStage("inspect", typeof(NoSettings), Parts.Roles, Parts.Nothing);

internal sealed class ShellStage() : TestStage("shell", typeof(ShellSettings), Parts.Figure, Parts.Placement);

internal sealed class ThinStage() : TestStage("strut-thin", typeof(NoSettings), Parts.Struts, Parts.Figure);

internal sealed class RescaleStage() : TestStage("rescale", typeof(RescaleSettings), Parts.Placement, Parts.Roles);
