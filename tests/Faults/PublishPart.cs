using System.Diagnostics;
using System.Globalization;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Faults;

/// <summary>
/// A publish in a process of its own that kills itself (SIGKILL) at each change of the share in turn: before it, after it,
/// and in the midst of a file. Afterwards the older or the newer set stands whole, and recovery leaves nothing else.
/// </summary>
internal static class PublishPart
{
    private const int Finished = 7;

    public static async Task<IReadOnlyList<string>> Run(Options options)
    {
        var faults = new List<string>();
        var kills = 0;
        foreach (var hadOlder in options.IsLong ? (bool[])[false, true] : [true])
        {
            foreach (var when in options.IsLong ? (string[])["before", "midway", "after"] : ["midway", "after"])
            {
                for (var n = 1; ; n++)
                {
                    var root = Directory.CreateTempSubdirectory("stiltwright-faults-").FullName;
                    try
                    {
                        if (await One(root, n, when, hadOlder, faults) == Finished) break;
                        kills++;
                    }
                    finally
                    {
                        Directory.Delete(root, true);
                    }
                }
            }
        }

        Console.WriteLine($"{kills} kills, one at each change of the share");
        if (kills < 20) faults.Add($"only {kills} kills happened");
        return faults;
    }

    /// <summary>The process that is killed: publishes and kills itself at its nth change.</summary>
    public static async Task<int> Child(string[] args)
    {
        var publisher = new Publisher(args[0], new Killing(int.Parse(args[2], CultureInfo.InvariantCulture), args[3]));
        publisher.Close((await publisher.Publish(args[1], "crab.stl", "job", 2, () => true, default))!);
        return Finished;
    }

    private static async Task<int> One(string root, int n, string when, bool hadOlder, List<string> faults)
    {
        var drop = Directory.CreateDirectory(Path.Combine(root, "drop")).FullName;
        var source = Path.Combine(drop, "crab.stl");
        File.WriteAllText(source, "source");
        if (hadOlder) new Publisher(drop).Close((await new Publisher(drop).Publish(Set(root, "old"), "crab.stl", "job", 1, () => true, default))!);
        using var child = Process.Start(new ProcessStartInfo(Environment.ProcessPath!, ["publish-child", drop, Set(root, "new"), n.ToString(CultureInfo.InvariantCulture), when]))!;
        await child.WaitForExitAsync();
        if (child.ExitCode == Finished) return Finished;

        var about = $"publish killed {when} change {n} ({(hadOlder ? "over an older set" : "first set")})";
        var told = 0;
        await new Publisher(drop).Recover((_, fence) => fence == 2, _ => false, _ => Task.FromResult(told++), default);
        var stands = Content(Path.Combine(drop, "crab.set"));
        if (told > 0 ? stands != "new" : stands != "new" && stands != (hadOlder ? "old" : null)) faults.Add($"{about}: {stands ?? "nothing"} stands, told {told} times");
        if (Directory.GetFileSystemEntries(Path.Combine(drop, ".stiltwright", "making")).Length > 0) faults.Add($"{about}: something is left in making");
        if (File.ReadAllText(source) != "source") faults.Add($"{about}: the source changed");
        return child.ExitCode;
    }

    private static string Set(string root, string content)
    {
        var folder = Directory.CreateDirectory(Path.Combine(root, content, "pictures")).Parent!.FullName;
        File.WriteAllText(Path.Combine(folder, "summary.json"), $$"""{ "source": { "file": "crab.stl" }, "outcome": "ready", "is": "{{content}}" }""");
        File.WriteAllText(Path.Combine(folder, "crab-200.stl"), content);
        File.WriteAllText(Path.Combine(folder, "pictures", "front.png"), content);
        return folder;
    }

    /// <summary>What a set is, where all its files agree; "torn" where they do not.</summary>
    private static string? Content(string set)
    {
        if (!Directory.Exists(set)) return null;
        string[] all = [Path.Combine(set, "crab-200.stl"), Path.Combine(set, "pictures", "front.png")];
        if (!all.All(File.Exists) || !File.Exists(Path.Combine(set, "summary.json"))) return "torn";
        var content = File.ReadAllText(all[0]);
        return File.ReadAllText(all[1]) == content && File.ReadAllText(Path.Combine(set, "summary.json")).Contains($"\"is\": \"{content}\"", StringComparison.Ordinal) ? content : "torn";
    }

    private sealed class Killing(int at, string when) : Host.Tests.WatchedFiles
    {
        private int _count;

        protected override async Task<string> Copy(string from, string to, Func<Task<string>> act)
        {
            var mine = ++_count == at;
            if (mine && when == "before") Die();
            if (mine && when == "midway")
            {
                CopyHalf(from, to);
                Die();
            }

            var sha = await act();
            if (mine) Die();
            return sha;
        }

        protected override void Change(string what, Action act)
        {
            var mine = ++_count == at;
            if (mine && when != "after") Die();
            act();
            if (mine) Die();
        }

        private static void Die()
        {
            using var self = Process.GetCurrentProcess();
            self.Kill();
            Thread.Sleep(Timeout.Infinite);
        }
    }
}
