using System.Diagnostics;
using System.Security.Cryptography;
using System.Text.Json;

namespace Stiltwright.Job.Tests;

/// <summary>The real program, run once on a real supported figure at 200 % as a technician would run it.</summary>
public sealed class Prepared : IDisposable
{
    private readonly string _room = Directory.CreateTempSubdirectory("stiltwright-job-").FullName;
    private readonly JsonDocument _json;

    public Prepared()
    {
        Source = Path.Combine(_room, "deer-figurine-70.stl");
        File.Copy(Path.Combine(AppContext.BaseDirectory, "Samples", "deer-figurine-70.stl"), Source);
        HashBefore = Hash(Source);
        (ExitCode, Said) = Run("prepare", Source, "--recipe", "enlarge-200");
        Set = Path.Combine(_room, "deer-figurine-70.set");
        _json = JsonDocument.Parse(File.ReadAllText(Path.Combine(Set, "summary.json")));
    }

    public string Source { get; }

    public string HashBefore { get; }

    public int ExitCode { get; }

    public string Said { get; }

    public string Set { get; }

    public JsonElement Summary => _json.RootElement;

    public static string Hash(string file) => Convert.ToHexStringLower(SHA256.HashData(File.ReadAllBytes(file)));

    /// <summary>Prepares bytes under a name; gives the exit code and the set's summary.</summary>
    public (int Exit, JsonElement Summary, string Set) Prepare(string name, byte[] bytes)
    {
        var folder = Directory.CreateDirectory(Path.Combine(_room, Guid.NewGuid().ToString("N"))).FullName;
        var file = Path.Combine(folder, name);
        File.WriteAllBytes(file, bytes);
        var (exit, said) = Run("prepare", file, "--recipe", "enlarge-200");
        var set = Directory.GetDirectories(folder, "*.set").SingleOrDefault() ?? throw new InvalidOperationException($"No set was made: {said}");
        using var json = JsonDocument.Parse(File.ReadAllText(Path.Combine(set, "summary.json")));
        Assert.Equal(Convert.ToHexStringLower(SHA256.HashData(bytes)), Hash(file));
        return (exit, json.RootElement.Clone(), set);
    }

    public void Dispose()
    {
        _json.Dispose();
        Directory.Delete(_room, true);
    }

    /// <summary>Runs the program with some arguments; gives its exit code and all that it said.</summary>
    public static (int Exit, string Said) Run(params string[] arguments)
    {
        var configuration = new DirectoryInfo(AppContext.BaseDirectory).Parent!.Name; // bin/<configuration>/net10.0
        var program = Path.GetFullPath(Path.Combine(AppContext.BaseDirectory, "../../../../../src/Host/bin", configuration, "net10.0", OperatingSystem.IsWindows() ? "stiltwright.exe" : "stiltwright"));
        var start = new ProcessStartInfo(program) { RedirectStandardOutput = true, RedirectStandardError = true };
        foreach (var a in arguments) start.ArgumentList.Add(a);
        using var process = Process.Start(start)!;
        var error = process.StandardError.ReadToEndAsync();
        var said = process.StandardOutput.ReadToEnd();
        process.WaitForExit();
        return (process.ExitCode, said + error.Result);
    }
}

/// <summary>All tests of the job share one run of it.</summary>
[CollectionDefinition("one run")]
public sealed class OneRun : ICollectionFixture<Prepared>;
