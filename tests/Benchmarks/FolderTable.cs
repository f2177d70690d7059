using System.Diagnostics;
using System.Globalization;
using System.Text.Json;

namespace Stiltwright.Benchmarks;

/// <summary>Prepares every mesh below a folder with one recipe, each in a process of its own, and prints what came out.</summary>
internal static class FolderTable
{
    /// <summary>The program as built beside this one: its plug-ins and configuration lie in its own output folder.</summary>
    private static readonly string OwnProgram = Path.GetFullPath(Path.Combine(
        AppContext.BaseDirectory, "../../../../../src/Host/bin/Release/net10.0", OperatingSystem.IsWindows() ? "stiltwright.exe" : "stiltwright"));

    private static readonly string[] Endings = [".stl", ".obj", ".ply", ".3mf"];

    public static int Print(string folder, string[] options)
    {
        string Option(string name, string fallback) => Array.IndexOf(options, name) is >= 0 and var i && i + 1 < options.Length ? options[i + 1] : fallback;
        var recipe = Option("--recipe", "enlarge-200");
        var only = Option("--only", "");
        var outFolder = Option("--out", Path.Combine(Path.GetTempPath(), "stiltwright-folder"));
        var program = Option("--program", OwnProgram);
        Directory.CreateDirectory(outFolder);
        var files = Directory.EnumerateFiles(folder, "*", SearchOption.AllDirectories)
            .Where(f => Endings.Contains(Path.GetExtension(f).ToLowerInvariant()) && f.Contains(only, StringComparison.OrdinalIgnoreCase)).Order(StringComparer.Ordinal).ToList();
        Console.WriteLine("| file | triangles | s | peak MiB | figure / struts / raft / unsure | outcome | findings | closed | as-is g | hollowed g | thinned g | saved |");
        Console.WriteLine("|---|---|---|---|---|---|---|---|---|---|---|---|");
        var crashes = 0;
        foreach (var file in files) crashes += Row(program, file, Path.GetRelativePath(folder, file), recipe, outFolder) ? 0 : 1;
        Console.WriteLine();
        Console.WriteLine($"{files.Count} files, {crashes} without a set");
        return crashes == 0 ? 0 : 1;
    }

    private static bool Row(string program, string file, string shown, string recipe, string outFolder)
    {
        var target = Path.Combine(outFolder, Path.GetDirectoryName(shown) ?? "");
        Directory.CreateDirectory(target);
        var clock = Stopwatch.StartNew();
        using var process = Process.Start(new ProcessStartInfo(program)
        {
            ArgumentList = { "prepare", file, "--recipe", recipe, "--out", target },
            RedirectStandardOutput = true,
            RedirectStandardError = true,
        })!;
        var error = process.StandardError.ReadToEndAsync();
        process.StandardOutput.ReadToEnd();
        process.WaitForExit();
        var seconds = clock.Elapsed.TotalSeconds;
        var set = Directory.GetDirectories(target).Where(d => Path.GetFileName(d) == Path.GetFileNameWithoutExtension(file) + ".set" || Path.GetFileName(d) == Path.GetFileName(file) + ".set").OrderByDescending(Directory.GetLastWriteTimeUtc).FirstOrDefault();
        if (set is null || !File.Exists(Path.Combine(set, "summary.json")))
        {
            Console.WriteLine($"| {shown} | | {seconds:0.0} | | | NO SET, exit {process.ExitCode}: {error.Result.ReplaceLineEndings(" ")} |");
            return false;
        }
        using var json = JsonDocument.Parse(File.ReadAllText(Path.Combine(set, "summary.json")));
        var s = json.RootElement;
        JsonElement? Get(params string[] path)
        {
            var e = s;
            foreach (var p in path) if (e.ValueKind != JsonValueKind.Object || !e.TryGetProperty(p, out e)) return null;
            return e;
        }
        string Number(JsonElement? e, string format) => e is { ValueKind: JsonValueKind.Number } n ? n.GetDouble().ToString(format, CultureInfo.InvariantCulture) : "";
        var peak = s.GetProperty("stages").EnumerateArray().Select(x => x.GetProperty("peakMiB").GetDouble()).DefaultIfEmpty(0).Max();
        var findings = string.Join(", ", s.GetProperty("findings").EnumerateArray().Where(f => f.GetProperty("level").GetString() != "note").Select(f => f.GetProperty("id").GetString()).Distinct());
        var closed = s.GetProperty("pieces").EnumerateArray().Select(p => p.GetProperty("closed").GetBoolean()).ToList();
        var ways = s.GetProperty("ways").EnumerateArray().Select(w => w.GetProperty("massG").GetDouble()).ToList();
        var saved = s.GetProperty("ways").EnumerateArray().Select(w => w.GetProperty("savedShare").GetDouble()).ToList();
        string Way(int i) => i < ways.Count ? ways[i].ToString("0.0", CultureInfo.InvariantCulture) : "";
        Console.WriteLine(string.Create(CultureInfo.InvariantCulture,
            $"| {shown} | {Number(Get("source", "triangles"), "0")} | {seconds:0.0} | {peak:0} | {Number(Get("roles", "figureShells"), "0")} / {Number(Get("roles", "struts"), "0")} / {Number(Get("roles", "rafts"), "0")} / {Number(Get("roles", "unsure"), "0")} | {s.GetProperty("outcome").GetString()} | {findings} | {(closed.Count == 0 ? "" : closed.All(c => c) ? "yes" : "no")} | {Way(0)} | {Way(1)} | {Way(2)} | {(saved.Count == 3 ? saved[2].ToString("P0", CultureInfo.InvariantCulture) : "")} |"));
        if (s.GetProperty("outcome").GetString() == "stop")
            foreach (var f in s.GetProperty("findings").EnumerateArray().Where(f => f.GetProperty("level").GetString() == "stop").Take(1))
                Console.WriteLine($"|  | | | | | | {f.GetProperty("text").GetString()} |");
        return true;
    }
}
