using System.Diagnostics;
using System.Globalization;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using Stiltwright.Host.Jobs;

namespace Stiltwright.Faults;

/// <summary>
/// SIGKILL to the service or its worker at random instants, over a load of small figures with real stages and a real mail
/// server. Afterwards: every source byte for byte as it was dropped, every source exactly one set, made of exactly its
/// bytes, nothing temporary left, and every mail received, twice only where a kill fell between the server's answer and our note.
/// </summary>
internal static class KillPart
{
    private const string Drop = "enlarge-200";

    public static async Task<IReadOnlyList<string>> Run(bool isLong, int seed)
    {
        var faults = new List<string>();
        var random = new Random(seed);
        await using var mails = new MailSink();
        using var room = new PrintRoom(
            $$"""{ "state": "STATE", "watch": { "sweepS": 0.5, "settleS": 0, "patienceS": 5 }, "worker": { "parallel": 2, "timeLimitS": 120 }, "mail": { "server": "127.0.0.1", "port": {{mails.Port}}, "security": "none", "gatherS": 0, "digestFrom": 1000 } }""",
            (Drop, PrintRoom.Recipe("inspect", "rescale", "shell", "drain-hole", "strut-thin", "estimate")));
        var dropped = new Dictionary<string, string>(StringComparer.Ordinal);
        var states = new SortedDictionary<string, int>(StringComparer.Ordinal);
        var (wanted, limit) = isLong ? (2000, TimeSpan.FromMinutes(55)) : (40, TimeSpan.FromSeconds(75));
        var clock = Stopwatch.StartNew();
        var kills = 0;
        Process? host = null;
        try
        {
            // One figure undisturbed says how long a start and a job take on this machine; the kills are spread over that.
            host = Start(room);
            DropOne();
            while (Sets(room).Count == 0)
            {
                await Task.Delay(100);
                if (clock.Elapsed > TimeSpan.FromMinutes(5)) return ["not even one figure was done within five minutes"];
            }

            var undisturbed = clock.Elapsed;
            limit += undisturbed;
            while (kills < wanted && clock.Elapsed < limit)
            {
                host ??= Start(room);
                if (random.Next(3) > 0 && Open(room) < 4) DropOne();
                await Task.Delay(random.Next(50, (int)(1.3 * undisturbed.TotalMilliseconds)));
                var workers = Workers(room);
                Count(states, StateNow(room));
                if (random.Next(2) == 0 && workers.Count > 0)
                {
                    using var worker = workers[random.Next(workers.Count)];
                    Kill(worker);
                    kills++;
                }
                else
                {
                    Kill(host);
                    host.Dispose();
                    host = null;
                    kills++;
                }
            }

            host ??= Start(room);
            // Until all is done, or nothing has moved for as long as several jobs take.
            var (sets, since) = (-1, clock.Elapsed);
            while (Open(room) > 0 || Unsent(room) > 0 || Sets(room).Count < dropped.Count)
            {
                if (Sets(room).Count != sets) (sets, since) = (Sets(room).Count, clock.Elapsed);
                if (clock.Elapsed - since > TimeSpan.FromSeconds(90) + (5 * undisturbed)) break;
                await Task.Delay(500);
            }

            await Task.Delay(1500);
        }
        finally
        {
            if (host is not null) Kill(host);
        }

        Check();
        Console.WriteLine($"{kills} kills over {dropped.Count} figures in {clock.Elapsed.TotalSeconds:0} s; at the kill: {string.Join(", ", states.Select(s => $"{s.Key} {s.Value}"))}");
        return faults;

        void DropOne()
        {
            var name = $"figure-{dropped.Count}.stl";
            var bytes = PrintRoom.Figure(random);
            File.WriteAllBytes(Path.Combine(room.Share, Drop, name), bytes);
            dropped[name] = Convert.ToHexStringLower(SHA256.HashData(bytes));
        }

        void Check()
        {
            var folder = Path.Combine(room.Share, Drop);
            foreach (var (name, sha) in dropped)
            {
                if (Convert.ToHexStringLower(SHA256.HashData(File.ReadAllBytes(Path.Combine(folder, name)))) != sha) faults.Add($"{name}: the source was changed");
            }

            var sets = Sets(room);
            foreach (var (name, sha) in dropped)
            {
                if (sets.Count(s => s.File == name) is var n and not 1) faults.Add($"{name} has {n} sets");
                else if (sets.First(s => s.File == name).Sha256 != sha) faults.Add($"{name}: its set is made of other bytes");
            }

            var strays = Directory.GetFileSystemEntries(room.Share, "*", SearchOption.AllDirectories)
                .Where(p => p.EndsWith(".tmp", StringComparison.Ordinal) && !Path.GetFileName(p).StartsWith(".board.html", StringComparison.Ordinal)).ToList();
            strays.AddRange(Directory.GetFileSystemEntries(Path.Combine(folder, ".stiltwright", "making")));
            if (Directory.Exists(Path.Combine(room.State, "scratch"))) strays.AddRange(Directory.GetDirectories(Path.Combine(room.State, "scratch")));
            foreach (var s in strays) faults.Add($"left behind: {s}");

            var ledger = new Ledger(room.State, TimeProvider.System);
            var done = ledger.InState(JobState.Done, JobState.Parked);
            if (done.Count != dropped.Count) faults.Add($"{done.Count} jobs are done for {dropped.Count} files");
            var twice = mails.Received.GroupBy(m => m).Count(g => g.Count() == 2);
            if (mails.Received.GroupBy(m => m).Any(g => g.Count() > 2)) faults.Add("a mail came three times");
            if (mails.Received.Distinct().Count() != dropped.Count) faults.Add($"{mails.Received.Distinct().Count()} different mails came for {dropped.Count} files");
            Console.WriteLine($"{done.Count(j => j.State == JobState.Done)} done, {done.Count(j => j.State == JobState.Parked)} set aside after two broken runs; {mails.Received.Count} mails, {twice} of them twice");
        }
    }

    private static Process Start(PrintRoom room)
    {
        var host = Process.Start(new ProcessStartInfo(PrintRoom.Program, ["serve", "--share", room.Share, "--config", room.Config]) { RedirectStandardOutput = true, RedirectStandardError = true })!;
        host.OutputDataReceived += (_, _) => { };
        host.ErrorDataReceived += (_, e) =>
        {
            if (!string.IsNullOrWhiteSpace(e.Data)) Console.WriteLine("host: " + e.Data);
        };
        host.BeginOutputReadLine();
        host.BeginErrorReadLine();
        return host;
    }

    private static void Kill(Process process)
    {
        try
        {
            process.Kill(); // this one only: what it started must end by itself
            process.WaitForExit(10_000);
        }
        catch (InvalidOperationException)
        {
            // It ended by itself a moment before.
        }
    }

    private static List<Process> Workers(PrintRoom room)
    {
        var found = new List<Process>();
        foreach (var folder in Directory.GetDirectories("/proc"))
        {
            if (!int.TryParse(Path.GetFileName(folder), out var id)) continue;
            try
            {
                var line = File.ReadAllText(Path.Combine(folder, "cmdline"));
                if (line.Contains(room.State, StringComparison.Ordinal) && line.Contains("--tied", StringComparison.Ordinal)) found.Add(Process.GetProcessById(id));
            }
            catch (Exception e) when (e is IOException or ArgumentException or UnauthorizedAccessException)
            {
                // It ended while we looked.
            }
        }

        return found;
    }

    /// <summary>What the furthest job is at, told from what lies in scratch and on the share.</summary>
    private static string StateNow(PrintRoom room)
    {
        try
        {
            var making = Path.Combine(room.Share, Drop, ".stiltwright", "making");
            if (Directory.Exists(making) && Directory.GetFiles(making, "*.intent.json").Length > 0) return "around the renames";
            if (Directory.Exists(making) && Directory.GetDirectories(making).Length > 0) return "copying out";
            var scratch = Path.Combine(room.State, "scratch");
            var runs = Directory.Exists(scratch) ? Directory.GetDirectories(scratch) : [];
            if (runs.Any(r => Directory.Exists(Path.Combine(r, "set")) && Directory.GetFileSystemEntries(Path.Combine(r, "set")).Length > 0)) return "writing the set";
            if (runs.Any(r => File.Exists(Path.Combine(r, "order.json")))) return "stages";
            if (runs.Length > 0) return "copying in";
            return Unsent(room) > 0 ? "mailing" : Open(room) > 0 ? "queued" : "idle";
        }
        catch (DirectoryNotFoundException)
        {
            return "between two"; // It went on while we looked.
        }
    }

    private static void Count(SortedDictionary<string, int> states, string state) => states[state] = states.GetValueOrDefault(state) + 1;

    private static int Open(PrintRoom room) => !File.Exists(Path.Combine(room.State, "ledger.db")) ? 0
        : new Ledger(room.State, TimeProvider.System).InState(JobState.Queued, JobState.Running, JobState.Waiting, JobState.Publishing).Count;

    private static int Unsent(PrintRoom room) => !File.Exists(Path.Combine(room.State, "ledger.db")) ? 0 : new Ledger(room.State, TimeProvider.System).WaitingMails().Count;

    private static List<(string File, string Sha256)> Sets(PrintRoom room)
    {
        var sets = new List<(string, string)>();
        foreach (var folder in Directory.GetDirectories(Path.Combine(room.Share, Drop), "*.set"))
        {
            var path = Path.Combine(folder, "summary.json");
            if (!File.Exists(path)) continue;
            using var json = JsonDocument.Parse(File.ReadAllText(path));
            var source = json.RootElement.GetProperty("source");
            sets.Add((source.GetProperty("file").GetString()!, source.GetProperty("sha256").GetString()!));
        }

        return sets;
    }
}
