using System.Diagnostics;
using System.Text;
using Stiltwright.Geometry.Files;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Plugins;

namespace Stiltwright.Faults;

/// <summary>
/// Changed bytes in every kind of file that is read. Each input is either read or refused with a sentence; none throws
/// anything else, takes longer than ten seconds, or makes the process grow beyond its bound.
/// </summary>
internal static class FuzzPart
{
    private const double LongestS = 10;
    private const long LargestMiB = 3072;

    public static Task<IReadOnlyList<string>> Run(Options options)
    {
        var (isLong, seed) = (options.IsLong, options.Seed);
        var each = isLong ? 1_000_000 / Kinds().Count + 1 : 1500;
        var faults = new List<string>();
        var folder = Directory.CreateTempSubdirectory("stiltwright-fuzz-").FullName;
        try
        {
            foreach (var (kind, originals, read) in Kinds())
            {
                var (refused, longest) = (0, 0.0);
                for (var i = 0; i < each && faults.Count < 20; i++)
                {
                    var random = new Random(HashCode.Combine(seed, kind.Length, kind[0], i));
                    var bytes = Changed(originals[random.Next(originals.Length)], random);
                    var path = Path.Combine(folder, "fuzz" + kind);
                    File.WriteAllBytes(path, bytes);
                    var clock = Stopwatch.StartNew();
                    try
                    {
                        if (read(path) is { } sentence)
                        {
                            refused++;
                            if (sentence.Length < 15 || !sentence.Contains(' ', StringComparison.Ordinal)) Keep($"its sentence is \"{sentence}\"");
                        }
                    }
                    catch (Exception e)
                    {
                        Keep($"{e.GetType().Name}: {e.Message} {e.StackTrace?.Split('\n')[0].Trim()}");
                    }

                    longest = Math.Max(longest, clock.Elapsed.TotalSeconds);
                    if (clock.Elapsed.TotalSeconds > LongestS) Keep($"it took {clock.Elapsed.TotalSeconds:0.0} s");
                    if (Environment.WorkingSet >> 20 > LargestMiB) Keep($"the process has {Environment.WorkingSet >> 20} MiB");

                    void Keep(string what)
                    {
                        var kept = Path.Combine(Path.GetTempPath(), $"stiltwright-fuzz-{seed}-{i}{kind}");
                        File.WriteAllBytes(kept, bytes);
                        faults.Add($"{kind} input {i} of seed {seed} (kept as {kept}): {what}");
                    }
                }

                Console.WriteLine($"{kind}: {each} inputs, {refused} refused with a sentence, longest {longest:0.00} s");
            }
        }
        finally
        {
            Directory.Delete(folder, true);
        }

        return Task.FromResult<IReadOnlyList<string>>(faults);
    }

    private static List<(string Kind, byte[][] Originals, Func<string, string?> Read)> Kinds()
    {
        var samples = Path.Combine(PrintRoom.Repository, "tests", "Samples", "formats");
        byte[][] Of(string ending) => [.. Directory.GetFiles(samples, "*" + ending).Order(StringComparer.Ordinal).Select(File.ReadAllBytes).Where(b => b.Length < 150_000)];
        var config = Path.Combine(PrintRoom.Repository, "config");
        return
        [
            (".stl", Of(".stl"), Mesh),
            (".obj", Of(".obj"), Mesh),
            (".3mf", Of(".3mf"), Mesh),
            (".ply", Of(".ply"), Mesh),
            (".recipe.json", [.. Directory.GetFiles(Path.Combine(config, "folders")).Select(File.ReadAllBytes)], path => Json(path, FileShapes.Recipe)),
            (".host.json", [File.ReadAllBytes(Path.Combine(config, "stiltwright.json"))], HostFile),
            (".slip.json", [Encoding.UTF8.GetBytes("""{ "front": [0, -1, 0], "up": [0, 0, 1], "noHoles": [ { "from": [0, 0, 0], "to": [1, 1, 1] } ], "change": { "shell.wallMm": 2.5 } }""")], path => Json(path, FileShapes.Slip)),
        ];
    }

    private static string? Mesh(string path)
    {
        try
        {
            using var late = new CancellationTokenSource(TimeSpan.FromSeconds(LongestS));
            MeshReader.Read(path, new ReadLimits(), late.Token);
            return null;
        }
        catch (MeshReadException e)
        {
            return e.Message;
        }
    }

    private static string? Json(string path, Shape shape)
    {
        var mistakes = new List<Mistake>();
        var node = ConfigNode.ReadFile(path, Path.GetFileName(path), mistakes);
        if (node is not null) new ShapeChecker(Path.GetFileName(path), mistakes).Check(node, shape, "");
        return node is null && mistakes.Count == 0 ? "" : mistakes.FirstOrDefault()?.ToString();
    }

    private static string? HostFile(string path)
    {
        var folder = Directory.CreateDirectory(path + ".d").FullName;
        foreach (var sub in (string[])["folders", "printers", "resins"]) Directory.CreateDirectory(Path.Combine(folder, sub));
        File.Copy(path, Path.Combine(folder, "stiltwright.json"), overwrite: true);
        return ConfigReader.Read(folder, _ => new PluginCatalog([])).Mistakes.FirstOrDefault()?.ToString();
    }

    /// <summary>One to eight changes: bits, bytes that are often special, cuts, repeats, and pieces moved about.</summary>
    private static byte[] Changed(byte[] original, Random random)
    {
        var bytes = original.ToList();
        byte[] special = [0, 1, 0x7F, 0x80, 0xFF, (byte)'"', (byte)'{', (byte)'[', (byte)'<', (byte)'-', (byte)'9', (byte)'e', (byte)'\n'];
        for (var n = random.Next(1, 9); n > 0 && bytes.Count > 0; n--)
        {
            var at = random.Next(random.Next(2) == 0 ? bytes.Count : Math.Min(bytes.Count, 200)); // heads matter most
            var length = Math.Min(random.Next(1, 64), bytes.Count - at);
            switch (random.Next(7))
            {
                case 0: bytes[at] ^= (byte)(1 << random.Next(8)); break;
                case 1: bytes[at] = special[random.Next(special.Length)]; break;
                case 2: bytes.RemoveRange(at, length); break;
                case 3: bytes.InsertRange(at, bytes.GetRange(at, length)); break;
                case 4: bytes.InsertRange(random.Next(bytes.Count), bytes.GetRange(at, length)); break;
                case 5: bytes.RemoveRange(at, random.Next(4) == 0 ? bytes.Count - at : 0); break;
                default:
                    for (var i = 0; i < Math.Min(4, bytes.Count - at); i++) bytes[at + i] = random.Next(2) == 0 ? (byte)0xFF : (byte)0;
                    break;
            }
        }

        return [.. bytes];
    }
}
