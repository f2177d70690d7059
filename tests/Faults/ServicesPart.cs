using System.Diagnostics;
using System.Globalization;
using System.Runtime.InteropServices;
using System.Security.Cryptography;
using System.Text.Json;
using Microsoft.Extensions.Hosting;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Plugins;
using Stiltwright.Host.Tests;

namespace Stiltwright.Faults;

/// <summary>
/// Two and three services on one PostgreSQL and one share, with small jobs: of real stages in the short form, many of a
/// light stand-in for the worker in the long one, where it is the services that are tried. Services are killed (SIGKILL),
/// and put to sleep (SIGSTOP) for longer than their lease and woken, the engine's leader among them. Afterwards: every
/// source as it was dropped, one whole set each, of exactly its bytes, published once, nothing left behind, each mail
/// received, twice only where a service was stopped in the midst of sending it. Says how long taking over took.
/// </summary>
internal static class ServicesPart
{
    private const string Drop = "enlarge-200";
    private const int Stop = 19, Continue = 18; // SIGSTOP and SIGCONT on Linux
    private const double JobsAMinute = 5;
    private const int LeastTroubles = 4;
    private const int LeastKillsInLong = 20, LeastSleepsInLong = 20; // in each trial of the long form
    private const int OpenAtOnce = 12;
    private static readonly TimeSpan Sleep = PostgresStore.Lease + TimeSpan.FromSeconds(7);

    public static async Task<IReadOnlyList<string>> Run(Options options)
    {
        if (!OperatingSystem.IsLinux()) return ["this part needs SIGSTOP"];
        if (PostgresServer.WhyNone is { } why)
        {
            Console.WriteLine("left out: " + why);
            return [];
        }

        var faults = new List<string>();
        await using var server = await PostgresServer.Start();
        var many = (int)Math.Clamp(options.Minutes * JobsAMinute, 16, 250); // a shorter long form tries the same with fewer
        var runs = options.IsLong ? ((int Services, int Jobs)[])[(2, many), (3, many)] : [(2, 16)];
        foreach (var (services, jobs) in runs)
        {
            await using var trial = await Trial.Make(server, options.IsLong, services, jobs, new Random(options.Seed));
            await trial.Go(options, faults);
        }

        return faults;
    }

    private sealed class Trial(PostgresServer server, string connection, MailSink mails, PrintRoom room, bool light, int services, int jobs, Random random) : IAsyncDisposable
    {
        private readonly Dictionary<string, string> _dropped = new(StringComparer.Ordinal);
        private readonly Process?[] _hosts = new Process?[services];
        private readonly bool[] _up = new bool[services];
        private readonly List<double> _takeOvers = [], _begunAnew = [];
        private readonly Ledger _ledger = new(new PostgresStore(connection, server.Password), TimeProvider.System, "onlooker");
        private int _kills, _sleeps, _leaders, _workerKills, _restarts, _names;

        public static async Task<Trial> Make(PostgresServer server, bool light, int services, int jobs, Random random)
        {
            var mails = new MailSink();
            var connection = await server.NewDatabase();
            var room = new PrintRoom(
                $$"""{ "state": "STATE", "ledger": { "postgres": "{{connection}}" }, "watch": { "sweepS": 1, "settleS": 0, "patienceS": 5 }, "worker": { "parallel": {{(light ? 3 : 1)}}, "timeLimitS": 300 }, "mail": { "server": "127.0.0.1", "port": {{mails.Port}}, "security": "none", "gatherS": 0, "digestFrom": 1000 } }""",
                (Drop, PrintRoom.Recipe("inspect", "rescale", "estimate").Replace("\"rescale\"", "\"rescale\", \"oldCavities\": \"keep\"", StringComparison.Ordinal)));
            for (var pc = 0; pc < services; pc++) CopyConfig(room, pc);
            return new Trial(server, connection, mails, room, light, services, jobs, random);
        }

        public async Task Go(Options options, List<string> faults)
        {
            var isLong = options.IsLong;
            var clock = Stopwatch.StartNew();
            KeepBusy(jobs);
            for (var pc = 0; pc < services; pc++) _hosts[pc] = Start(pc);
            if (!await Until(() => Done() >= Math.Min(4, jobs / 4), TimeSpan.FromMinutes(5)))
            {
                faults.Add("hardly anything was done within five minutes");
                return;
            }

            // Of trouble; what is left then is done undisturbed. The files come by and by, so that there is work in hand at
            // each of the troubles; where all have come before enough of those fell, some more come.
            var (limit, begun) = (isLong ? TimeSpan.FromMinutes(options.Minutes / 2) : TimeSpan.FromSeconds(50), clock.Elapsed);
            for (var troubles = 0; troubles < LeastTroubles || (clock.Elapsed - begun < limit && (isLong ? !Enough || _dropped.Count < jobs : Done() < jobs)); troubles++)
            {
                KeepBusy(isLong ? int.MaxValue : jobs);
                await Trouble();
                // Time to work in between, else the two attempts of a job are used up by kills alone.
                await Task.Delay(random.Next(1000, isLong ? 5000 : 3000));
            }

            while (_dropped.Count < jobs) DropOne();
            var (left, since) = (int.MaxValue, clock.Elapsed);
            while (Left() is var now && now > 0)
            {
                // One that gives up when it wakes in the midst of its start is started again, as a service manager does.
                for (var pc = 0; pc < services; pc++)
                    if (_hosts[pc] is not { HasExited: false }) _hosts[pc] = Restart(pc);
                if (now < left) (left, since) = (now, clock.Elapsed);
                if (clock.Elapsed - since > TimeSpan.FromMinutes(3))
                {
                    faults.Add($"{services} services: nothing got on for three minutes, {now} jobs and mails left");
                    Console.WriteLine(ServicesStall.Say(_ledger.Store, Enumerable.Range(0, services).Select(pc => StateOf(room, pc))));
                    break;
                }

                await Task.Delay(500);
            }

            // One that was killed tidies up at its first look after its next start.
            await Until(() => Enumerable.Range(0, services).All(pc => _up[pc] && !Scratch(pc).Any()), TimeSpan.FromMinutes(2));
            await Task.Delay(3000);
            foreach (var host in _hosts) Signal(host!, 15);
            foreach (var host in _hosts)
                if (!host!.WaitForExit(60_000)) faults.Add("a service did not stop within 60 s of being asked to");
            var before = faults.Count;
            Check(faults);
            if (faults.Count > before)
            {
                room.Kept = true;
                Console.WriteLine($"The print room is kept in {room.Root}");
            }

            Console.WriteLine(string.Create(CultureInfo.InvariantCulture,
                $"{services} services, {_dropped.Count} jobs in {clock.Elapsed.TotalSeconds:0} s: {_kills} services and {_workerKills} workers killed, {_sleeps} services asleep for {Sleep.TotalSeconds:0} s ({_leaders} times the engine's leader), {_restarts} ended by themselves; {Said(_takeOvers)} taken over by another, {Said(_begunAnew)} begun anew within 20 s more"));
            if (isLong && !Enough) faults.Add($"{services} services: only {_kills} kills and {_sleeps} sleeps fell into the trial; give it more --minutes");
            if (_takeOvers.Any(t => t > 15)) faults.Add(string.Create(CultureInfo.InvariantCulture, $"a job was taken over only after {_takeOvers.Max():0.0} s"));
            if (_takeOvers.Count == 0) faults.Add("no job was taken over: nothing was tried");
        }

        /// <summary>Kills a service or puts it to sleep, most often in the midst of a job, and measures how long that job stays with it.</summary>
        private async Task Trouble()
        {
            for (var i = 0; i < services; i++)
                if (_hosts[i] is not { HasExited: false }) _hosts[i] = Restart(i);
            var pc = random.Next(services);
            var host = _hosts[pc]!;
            // Somebody must be there to take over: one that was just started is not up yet.
            if (!await Until(() => Enumerable.Range(0, services).Any(o => o != pc && _up[o] && _hosts[o] is { HasExited: false } && _ledger.Living().Contains(NameOf(o))), TimeSpan.FromSeconds(60))) return;
            if (random.Next(6) == 0)
            {
                if (Workers(pc) is [var worker, ..])
                {
                    Signal(worker, 9);
                    _workerKills++;
                }

                return;
            }

            await Until(() => Held(pc).Count > 0, TimeSpan.FromSeconds(8));
            await Task.Delay(random.Next(0, 600));
            var held = Held(pc);
            if (_kills < _sleeps || (_kills == _sleeps && random.Next(2) == 0))
            {
                var began = Stopwatch.GetTimestamp();
                Signal(host, 9);
                host.WaitForExit(10_000);
                _hosts[pc] = null;
                _kills++;
                // Half of the time it starts again at once, and takes its own work up; else another one does.
                if (random.Next(2) == 0) await TakenOver(held, began);
                _hosts[pc] = Start(pc);
            }
            else
            {
                if (!host.HasExited && IsLeader(pc)) _leaders++;
                var began = Stopwatch.GetTimestamp();
                Signal(host, Stop);
                _sleeps++;
                await TakenOver(held, began);
                if (Sleep - Stopwatch.GetElapsedTime(began) is { Ticks: > 0 } rest) await Task.Delay(rest);
                Signal(host, Continue);
            }
        }

        /// <summary>Starts a service that ended by itself, as systemd does: one that is put to sleep in the midst of its start gives up when it wakes.</summary>
        private Process Restart(int pc)
        {
            _restarts++;
            return Start(pc);
        }

        /// <summary>
        /// Waits until the jobs that a service had are another's, and notes how long that took; then until they are begun
        /// anew. Between the two lies the queue: a job taken over stands at its end.
        /// </summary>
        private async Task TakenOver(List<(string Id, long Fence)> held, long began)
        {
            // Taking over raises the number by one, beginning anew by another. One that was just done is neither.
            foreach (var (id, fence) in held)
            {
                var over = await Until(() => _ledger.Find(id) is not { } now || now.Fence > fence || now.State is JobState.Done or JobState.Parked, TimeSpan.FromSeconds(60));
                if (!over) _takeOvers.Add(99);
                else if (_ledger.Find(id) is { } job && job.Fence > fence) _takeOvers.Add(Stopwatch.GetElapsedTime(began).TotalSeconds);
            }

            foreach (var (id, fence) in held)
                if (await Until(() => _ledger.Find(id) is not { } now || now.Fence >= fence + 2 || now.State is JobState.Done or JobState.Parked, TimeSpan.FromSeconds(20)) && _ledger.Find(id) is { } job && job.Fence >= fence + 2)
                    _begunAnew.Add(Stopwatch.GetElapsedTime(began).TotalSeconds);
        }

        private List<(string Id, long Fence)> Held(int pc)
        {
            var name = NameOf(pc);
            return [.. _ledger.InState(JobState.Running, JobState.Publishing).Where(j => j.Owner == name).Select(j => (j.Id, j.Fence))];
        }

        private static string Said(List<double> seconds) => seconds.Count == 0 ? "no job was"
            : string.Create(CultureInfo.InvariantCulture, $"{seconds.Count} jobs, after {seconds.Min():0.0} to {seconds.Max():0.0} s, median {seconds.Order().ElementAt(seconds.Count / 2):0.0} s,");

        private string[] Scratch(int pc) => Directory.Exists(Path.Combine(StateOf(room, pc), "scratch")) ? Directory.GetDirectories(Path.Combine(StateOf(room, pc), "scratch")) : [];

        private string NameOf(int pc) => ServiceName.Of(StateOf(room, pc));

        /// <summary>The leader of the engine is the node that holds the advisory lock of its database.</summary>
        private bool IsLeader(int pc)
        {
            var id = _hosts[pc]!.Id;
            using var db = _ledger.Store.Open();
            using var command = db.CreateCommand();
            command.CommandText = "SELECT a.client_port FROM pg_locks l JOIN pg_stat_activity a ON a.pid = l.pid WHERE l.locktype = 'advisory' AND a.application_name = 'stiltwright engine' AND a.datname = current_database() AND l.granted";
            using var reader = command.ExecuteReader();
            var ports = new List<int>();
            while (reader.Read()) ports.Add(reader.GetInt32(0));
            return ports.Any(p => PortsOf(id).Contains(p));
        }

        private int Done() => _ledger.InState(JobState.Done, JobState.Parked).Count;

        private int Left() => _dropped.Count - Done() + _ledger.WaitingMails().Count + _ledger.InState(JobState.Queued, JobState.Running, JobState.Waiting, JobState.Publishing).Count;

        private bool Enough => _kills >= LeastKillsInLong && _sleeps >= LeastSleepsInLong;

        /// <summary>Drops files until so many are not done yet, or so many have come in all.</summary>
        private void KeepBusy(int most)
        {
            for (var open = _dropped.Count - Done(); open < (light ? OpenAtOnce : most) && _dropped.Count < most; open++) DropOne();
        }

        private void DropOne()
        {
            var name = $"figure-{_names++}.stl";
            var bytes = PrintRoom.Figure(random, rings: 12);
            File.WriteAllBytes(Path.Combine(room.Share, Drop, name), bytes);
            _dropped[name] = Convert.ToHexStringLower(SHA256.HashData(bytes));
        }

        private void Check(List<string> faults)
        {
            var folder = Path.Combine(room.Share, Drop);
            var about = $"{services} services: ";
            var parked = _ledger.InState(JobState.Parked).Select(j => j.Source).ToHashSet(StringComparer.Ordinal);
            foreach (var (name, sha) in _dropped)
            {
                if (Sha(Path.Combine(folder, name)) != sha) faults.Add(about + $"{name}: the source was changed");
                var set = Path.Combine(folder, Path.ChangeExtension(name, ".set"));
                if (!File.Exists(Path.Combine(set, "summary.json"))) faults.Add(about + $"{name} has no set");
                // The stand-in for the worker gives the source as the figure; a job that was set aside has its summary alone.
                else if (Summary(set) is var s && (s.File != name || (light && !parked.Contains(name) ? Sha(Path.Combine(set, "figure.stl")) : s.Sha256) != sha)) faults.Add(about + $"{name}: its set is made of {s.File} with other bytes");
            }

            if (Directory.GetDirectories(folder, "*.set").Length != _dropped.Count) faults.Add(about + $"{Directory.GetDirectories(folder, "*.set").Length} sets for {_dropped.Count} files");
            // A set that was published a second time has put the first into replaced/.
            var replaced = Path.Combine(folder, ".stiltwright", "replaced");
            if (Directory.Exists(replaced)) foreach (var twice in Directory.GetDirectories(replaced)) faults.Add(about + $"published more than once: {Path.GetFileName(twice)}");
            foreach (var stray in Directory.GetFileSystemEntries(Path.Combine(folder, ".stiltwright", "making"))) faults.Add(about + $"left behind: {stray}");
            foreach (var stray in Directory.GetFileSystemEntries(room.Share, "*.tmp", SearchOption.AllDirectories).Where(p => !Path.GetFileName(p).StartsWith(".board.html", StringComparison.Ordinal))) faults.Add(about + $"left behind: {stray}");
            for (var pc = 0; pc < services; pc++)
                foreach (var stray in Scratch(pc)) faults.Add(about + $"left behind: {stray}");

            var done = _ledger.InState(JobState.Done, JobState.Parked);
            if (done.Count != _dropped.Count) faults.Add(about + $"{done.Count} jobs are done for {_dropped.Count} files");
            if (_ledger.InState(JobState.Dropped).Count > 0) faults.Add(about + $"{_ledger.InState(JobState.Dropped).Count} jobs were dropped and entered anew");
            var counts = mails.Received.GroupBy(m => m).Select(g => g.Count()).ToArray();
            if (counts.Length != _dropped.Count) faults.Add(about + $"{counts.Length} different mails came for {_dropped.Count} files");
            if (counts.Any(c => c > 2)) faults.Add(about + "a mail came three times");
            Console.WriteLine($"{done.Count(j => j.State == JobState.Done)} done by {string.Join(", ", done.GroupBy(j => j.Owner).Select(g => g.Count()))}, {done.Count(j => j.State == JobState.Parked)} set aside after two broken runs, {done.Count(j => j.Fence > 1)} in more than one run; {mails.Received.Count} mails, {counts.Count(c => c == 2)} of them twice");
        }

        public async ValueTask DisposeAsync()
        {
            foreach (var host in _hosts.OfType<Process>().Where(h => !h.HasExited)) Signal(host, 9);
            await server.Drop(connection);
            await mails.DisposeAsync();
            room.Dispose();
        }

        private Process Start(int pc)
        {
            var (program, arguments) = light ? (Environment.ProcessPath!, (string[])["service-child", ConfigOf(room, pc), room.Share, PrintRoom.Program]) : (PrintRoom.Program, ["serve", "--share", room.Share, "--config", ConfigOf(room, pc)]);
            var start = new ProcessStartInfo(program, arguments) { RedirectStandardOutput = true, RedirectStandardError = true };
            start.Environment[LedgerPlace.Variable] = server.Password;
            var host = Process.Start(start)!;
            _up[pc] = false;
            host.OutputDataReceived += (_, e) =>
            {
                if (e.Data?.Contains(" Serves ", StringComparison.Ordinal) == true) _up[pc] = true;
            };
            host.ErrorDataReceived += (_, e) =>
            {
                if (!string.IsNullOrWhiteSpace(e.Data)) Console.WriteLine($"service {pc}: {e.Data}");
            };
            host.BeginOutputReadLine();
            host.BeginErrorReadLine();
            return host;
        }

        private List<Process> Workers(int pc)
        {
            var found = new List<Process>();
            foreach (var folder in Directory.GetDirectories("/proc"))
            {
                if (!int.TryParse(Path.GetFileName(folder), out var id)) continue;
                try
                {
                    var line = File.ReadAllText(Path.Combine(folder, "cmdline"));
                    if (line.Contains(StateOf(room, pc), StringComparison.Ordinal) && line.Contains("order.json", StringComparison.Ordinal)) found.Add(Process.GetProcessById(id));
                }
                catch (Exception e) when (e is IOException or ArgumentException or UnauthorizedAccessException)
                {
                    // It ended while we looked.
                }
            }

            return found;
        }
    }

    private static string ConfigOf(PrintRoom room, int pc) => Path.Combine(room.Root, "config-" + pc);

    private static string StateOf(PrintRoom room, int pc) => Path.Combine(room.Root, "state-" + pc);

    /// <summary>The room's configuration again, with a state folder of this service's own.</summary>
    private static void CopyConfig(PrintRoom room, int pc)
    {
        foreach (var file in Directory.GetFiles(room.Config, "*.json", SearchOption.AllDirectories))
        {
            var to = Path.Combine(ConfigOf(room, pc), Path.GetRelativePath(room.Config, file));
            Directory.CreateDirectory(Path.GetDirectoryName(to)!);
            File.WriteAllText(to, File.ReadAllText(file).Replace($"\"{room.State}\"", $"\"{StateOf(room, pc)}\"", StringComparison.Ordinal));
        }
    }

    private static string Sha(string file) => File.Exists(file) ? Convert.ToHexStringLower(SHA256.HashData(File.ReadAllBytes(file))) : "";

    private static (string File, string Sha256) Summary(string set)
    {
        using var json = JsonDocument.Parse(File.ReadAllText(Path.Combine(set, "summary.json")));
        var source = json.RootElement.GetProperty("source");
        return (source.GetProperty("file").GetString()!, source.GetProperty("sha256").GetString()!);
    }

    private static async Task<bool> Until(Func<bool> condition, TimeSpan most)
    {
        for (var began = Stopwatch.GetTimestamp(); Stopwatch.GetElapsedTime(began) < most; await Task.Delay(50))
            if (condition()) return true;
        return condition();
    }

    /// <summary>Local ports of a process's connections (proc(5): fd links name sockets, net/tcp their ports).</summary>
    private static HashSet<int> PortsOf(int process)
    {
        var sockets = Directory.GetFiles($"/proc/{process}/fd").Select(f => new FileInfo(f).LinkTarget).OfType<string>().Where(t => t.StartsWith("socket:[", StringComparison.Ordinal)).Select(t => t[8..^1]).ToHashSet(StringComparer.Ordinal);
        var ports = new HashSet<int>();
        foreach (var table in (string[])["tcp", "tcp6"])
        {
            foreach (var line in File.ReadLines($"/proc/{process}/net/{table}").Skip(1))
            {
                var parts = line.Split(' ', StringSplitOptions.RemoveEmptyEntries);
                if (sockets.Contains(parts[9])) ports.Add(int.Parse(parts[1].Split(':')[1], NumberStyles.HexNumber, CultureInfo.InvariantCulture));
            }
        }

        return ports;
    }

    private static void Signal(Process process, int signal)
    {
        if (!process.HasExited) _ = NativeKill(process.Id, signal);
    }

    [DllImport("libc", EntryPoint = "kill", SetLastError = true)]
    private static extern int NativeKill(int process, int signal);
}
