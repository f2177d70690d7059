using System.Diagnostics;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using Stiltwright.Host.Jobs;

namespace Stiltwright.Faults;

/// <summary>One print room whose service and workers are killed, and what must hold afterwards.</summary>
internal sealed class KillRound : IAsyncDisposable
{
    private const string Whole = "enlarge-200";
    private const string Plain = "enlarge-150";
    private const int OpenAtOnce = 5;
    private const double LongestSearchInStarts = 20;

    private readonly Random _random;
    private readonly KillTally _tally;
    private readonly MailSink _mails = new();
    private readonly PrintRoom _room;
    private readonly Dictionary<string, (byte[] Bytes, string Sha256)> _dropped = new(StringComparer.Ordinal);
    private readonly HashSet<(string Id, int Life)> _notNoted = [];
    private readonly Dictionary<string, int> _workers = new(StringComparer.Ordinal);
    private readonly Dictionary<string, (DateTime Written, string File, string Sha256)> _summaries = new(StringComparer.Ordinal);
    private readonly List<string> _faults = [];
    private ServiceProcess? _host;
    private TimeSpan _start = TimeSpan.FromSeconds(2); // what a start takes, until one was measured
    private int _names;
    private int _kills;

    public KillRound(int seed, KillTally tally)
    {
        (_random, _tally) = (new Random(seed), tally);
        string[] stages = ["inspect", "rescale", "shell", "drain-hole", "strut-thin", "estimate"];
        string[] plain = ["inspect", """{ "stage": "rescale", "oldCavities": "keep" }""", "estimate"];
        _room = new PrintRoom(
            $$"""{ "state": "STATE", "pluginFolders": ["PLUGINS"], "watch": { "sweepS": 0.5, "settleS": 0, "patienceS": 5 }, "worker": { "parallel": {{1 + (seed % 2)}}, "timeLimitS": 300 }, "mail": { "server": "127.0.0.1", "port": {{_mails.Port}}, "security": "none", "gatherS": 0, "digestFrom": 1000 } }""",
            PrintRoom.InMemory, // a kill takes nothing from a disk's cache, so nothing is gained by waiting for the disk
            (Whole, PrintRoom.Recipe([.. stages.SelectMany(s => (string[])["before-" + s, s]), "before-writing"])),
            (Plain, PrintRoom.Recipe(["before-inspect", plain[0], "before-rescale", plain[1], "before-estimate", plain[2], "before-writing"])));
        _room.LayHostileStages();
    }

    private TimeSpan LongestSearch => _start * LongestSearchInStarts;

    /// <summary>What the latest start of the service took.</summary>
    public TimeSpan Start => _start;

    /// <summary>A sentence about the round.</summary>
    public string Said { get; private set; } = "";

    /// <summary>Kills so many times, or until the time is over.</summary>
    public async Task Kill(int kills, TimeSpan limit)
    {
        var clock = Stopwatch.StartNew();
        for (var n = 0; n < kills && clock.Elapsed < limit && _faults.Count == 0; n++)
        {
            _host ??= new ServiceProcess(_room);
            KeepBusy();
            var before = _kills;
            if (_random.Next(4) > 0 && _tally.Least(_random) is { } least) await Aimed(least);
            if (_kills == before) await AtRandom();
            if (_host?.StartTook is { } took) _start = took;
        }
    }

    /// <summary>Lets the service finish everything, and stops it as a service manager would.</summary>
    public async Task Drain()
    {
        _host ??= new ServiceProcess(_room);
        var (left, clock) = (-1, Stopwatch.StartNew());
        while (Unfinished() is > 0 and var n && clock.Elapsed < TimeSpan.FromMinutes(6))
        {
            if (n != left) (left, clock) = (n, Stopwatch.StartNew());
            await Task.Delay(300);
        }

        await Task.Delay(1500);
        if (_host.Stop() is { } wrong) _faults.Add(wrong);
        _faults.AddRange(_host.Errors.Select(e => "the service said on its standard error: " + e));
        _host.Dispose();
        _host = null;
    }

    /// <summary>All promises; what is broken comes back.</summary>
    public IReadOnlyList<string> Check()
    {
        _summaries.Clear();
        var ledger = new Ledger(_room.State, TimeProvider.System);
        var over = ledger.InState(JobState.Done, JobState.Parked);
        foreach (var (name, (bytes, sha)) in _dropped)
        {
            var path = Path.Combine(_room.Share, name);
            if (!File.ReadAllBytes(path).AsSpan().SequenceEqual(bytes)) _faults.Add($"{name}: the source was changed");
            var sets = Sets(Path.GetDirectoryName(path)!).Where(s => s.File == Path.GetFileName(path)).ToList();
            if (sets.Count != 1) _faults.Add($"{name} has {sets.Count} sets");
            else if (sets[0].Sha256 != sha) _faults.Add($"{name}: its set is made of other bytes");
            if (!over.Any(j => j.Folder + "/" + j.Source == name)) _faults.Add($"{name}: no job of it is over");
        }

        foreach (var twice in over.GroupBy(j => j.Identity).Where(g => g.Count() > 1)) _faults.Add($"{twice.First().Source}: {twice.Count()} jobs for the same content");
        foreach (var job in ledger.InState(JobState.Queued, JobState.Running, JobState.Waiting, JobState.Publishing)) _faults.Add($"{job.Folder}/{job.Source} is still {job.State}: {job.Sentence}");
        foreach (var stray in Strays()) _faults.Add($"left behind: {stray}");
        if (ledger.WaitingMails().Count > 0) _faults.Add($"{ledger.WaitingMails().Count} mails still wait");
        var received = _mails.Received.GroupBy(m => m.Id).ToDictionary(g => g.Key, g => g.ToList());
        if (received.Count != over.Count) _faults.Add($"{received.Count} different mails came for {over.Count} finished jobs");
        foreach (var (id, came) in received)
        {
            // Sent by a service that was killed before it had noted that: the next one must send it again.
            var inTheGap = came.Distinct().Count(_notNoted.Contains);
            if (came.Count > 1 + inTheGap) _faults.Add($"the mail {id} came {came.Count} times (from starts {string.Join(", ", came.Select(c => c.Life))} of the service), and {inTheGap} kills fell between the server's answer and the note of it");
        }

        Said = $"{over.Count(j => j.State == JobState.Done)} jobs done and {over.Count(j => j.State == JobState.Parked)} set aside for {_dropped.Count} files; {received.Count} mails, {received.Count(r => r.Value.Count > 1)} of them twice";
        return _faults;
    }

    /// <summary>Where the print room lies, which is then not deleted.</summary>
    public string Keep()
    {
        _room.Kept = true;
        return _room.Root;
    }

    public async ValueTask DisposeAsync()
    {
        _host?.Dispose();
        await _mails.DisposeAsync();
        _room.Dispose();
    }

    /// <summary>A kill in the given state, if that state comes about before the search takes too long.</summary>
    private async Task Aimed(string state)
    {
        if (state == KillStates.Mailing)
        {
            var before = _random.Next(2) == 0;
            var fell = new TaskCompletionSource();
            _mails.OnMail = first =>
            {
                if (first != before || fell.Task.IsCompleted) return;
                _host!.Kill();
                fell.TrySetResult();
            };
            for (var waited = Stopwatch.StartNew(); !fell.Task.IsCompleted && waited.Elapsed < LongestSearch; KeepBusy()) await Task.WhenAny(fell.Task, Task.Delay(300));
            _mails.OnMail = _ => { };
            if (fell.Task.IsCompleted) AfterHostKill();
            return;
        }

        using var stirred = new Stirring(_room);
        var (clock, fed) = (Stopwatch.StartNew(), Stopwatch.StartNew());
        while (clock.Elapsed < LongestSearch)
        {
            // A service that has run out of work never comes into the state that is looked for.
            if (fed.ElapsedMilliseconds > 300)
            {
                KeepBusy();
                fed.Restart();
            }

            FindWorkers();
            if (KillStates.IsThere(_room, state))
            {
                if (_random.Next(2) == 0) Thread.Sleep(_random.Next(KillStates.Stages.Contains(state) ? (int)(_start.TotalMilliseconds / 6) : 4));
                if (state == KillStates.Queued || _random.Next(3) == 0 || !KillWorker(state)) KillHost();
                return;
            }

            stirred.Wait(TimeSpan.FromMilliseconds(20));
        }
    }

    private async Task AtRandom()
    {
        // In the first moments of a start, or well into the work; by the clock of this machine as busy as it is.
        var span = _host!.StartTook is null ? _random.Next(3) == 0 ? 1.5 : 4 : 1.5;
        await Task.Delay(_start * (span * _random.NextDouble()));
        FindWorkers();
        if (_random.Next(3) == 0 || !KillWorker(null)) KillHost();
    }

    /// <summary>Halts a worker, looks what it is at, and kills it. False where there is none.</summary>
    private bool KillWorker(string? preferred)
    {
        var runs = KillStates.Runs(_room).Where(r => _workers.TryGetValue(r, out var id) && IsWorker(id, r)).ToArray();
        if (runs.Length == 0) return false;
        var run = runs.FirstOrDefault(r => KillStates.OfRun(r) == preferred) ?? runs[_random.Next(runs.Length)];
        if (ServiceProcess.Signal(_workers[run], 19) != 0) return false;
        var state = KillStates.OfRun(run);
        if (!Directory.Exists(run))
        {
            ServiceProcess.Signal(_workers[run], 18); // its run is over: nothing is killed, and nobody is left halted
            return false;
        }

        if (ServiceProcess.Signal(_workers[run], 9) != 0) return false; // it had ended
        _tally.NoteWorker(state);
        _kills++;
        return true;
    }

    private void KillHost()
    {
        _host!.Kill();
        AfterHostKill();
    }

    private void AfterHostKill()
    {
        FindWorkers();
        _host!.Kill();
        _host.Dispose();
        _host = null;
        var clock = Stopwatch.StartNew();
        while (_workers.Any(w => IsWorker(w.Value, w.Key)))
        {
            Thread.Sleep(5);
            if (clock.Elapsed < TimeSpan.FromSeconds(30)) continue;
            _faults.Add("a worker outlived its service by more than half a minute");
            break;
        }

        _workers.Clear();
        _tally.NoteHost(KillStates.AfterKill(_room));
        _kills++;
        foreach (var id in KillStates.MailsNotNoted(_room)) _notNoted.Add((id, _mails.Life));
        _mails.Life++;
    }

    /// <summary>Notes the worker of each run as soon as there is one: a state may be over in a few milliseconds.</summary>
    private void FindWorkers()
    {
        foreach (var run in KillStates.Runs(_room).Where(r => !_workers.ContainsKey(r)))
        {
            foreach (var folder in Directory.GetDirectories("/proc"))
                if (int.TryParse(Path.GetFileName(folder), out var id) && IsWorker(id, run)) _workers[run] = id;
        }
    }

    private static bool IsWorker(int id, string run)
    {
        try
        {
            var line = File.ReadAllText($"/proc/{id}/cmdline");
            return line.Contains(run + "/", StringComparison.Ordinal) && line.Contains("--tied", StringComparison.Ordinal);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            return false; // It ended while we looked.
        }
    }

    private void KeepBusy()
    {
        while (Unfinished() < OpenAtOnce) DropOne();
    }

    /// <summary>Something new, or now and then another version of a file that has its set.</summary>
    private void DropOne()
    {
        var bytes = _random.Next(7) == 0 ? Encoding.ASCII.GetBytes($"solid {_random.Next()}\nfacet normal 0 0 x\nendsolid\n") : PrintRoom.MixedFigure(_random);
        var older = _dropped.Keys.Where(HasSet).Order(StringComparer.Ordinal).ToArray();
        var name = older.Length > 0 && _random.Next(5) == 0 ? older[_random.Next(older.Length)] : $"{(_random.Next(3) == 0 ? Whole : Plain)}/figure-{_names++}.stl";
        var path = Path.Combine(_room.Share, name);
        File.WriteAllBytes(path + ".part", bytes);
        File.Move(path + ".part", path, overwrite: true);
        _dropped[name] = (bytes, Convert.ToHexStringLower(SHA256.HashData(bytes)));
    }

    private bool HasSet(string name) => Directory.Exists(Path.ChangeExtension(Path.Combine(_room.Share, name), ".set"));

    /// <summary>Files whose present content has no finished job yet, and mails that wait.</summary>
    private int Unfinished()
    {
        var done = _room.Drops.SelectMany(Sets).Select(s => s.Sha256).ToHashSet();
        var waiting = KillStates.AfterKill(_room).Count(s => s is KillStates.Mailing or KillStates.Renames);
        return _dropped.Values.Count(d => !done.Contains(d.Sha256)) + waiting;
    }

    private IEnumerable<string> Strays()
    {
        foreach (var p in Directory.GetFileSystemEntries(_room.Share, "*", SearchOption.AllDirectories))
            if (p.EndsWith(".tmp", StringComparison.Ordinal) && !Path.GetFileName(p).StartsWith(".board.html", StringComparison.Ordinal)) yield return p;
        foreach (var p in _room.Drops.SelectMany(d => Directory.GetFileSystemEntries(Path.Combine(d, ".stiltwright", "making")))) yield return p;
        foreach (var p in KillStates.Runs(_room)) yield return p;
    }

    private IEnumerable<(string File, string Sha256)> Sets(string drop)
    {
        foreach (var folder in Directory.GetDirectories(drop, "*.set"))
        {
            var path = Path.Combine(folder, "summary.json");
            var written = File.GetLastWriteTimeUtc(path);
            if (!_summaries.TryGetValue(path, out var known) || known.Written != written)
            {
                if (ReadOrNull(path) is not { } text) continue; // between the two renames
                using var json = JsonDocument.Parse(text);
                var source = json.RootElement.GetProperty("source");
                _summaries[path] = known = (written, source.GetProperty("file").GetString()!, source.GetProperty("sha256").GetString()!);
            }

            yield return (known.File, known.Sha256);
        }
    }

    private static string? ReadOrNull(string path)
    {
        try
        {
            return File.ReadAllText(path);
        }
        catch (Exception e) when (e is FileNotFoundException or DirectoryNotFoundException)
        {
            return null;
        }
    }

    /// <summary>Wakes as soon as something changes in scratch or where sets are made.</summary>
    private sealed class Stirring : IDisposable
    {
        private readonly ManualResetEventSlim _event = new();
        private readonly List<FileSystemWatcher> _watchers = [];

        public Stirring(PrintRoom room)
        {
            Directory.CreateDirectory(Path.Combine(room.State, "scratch"));
            foreach (var folder in (string[])[Path.Combine(room.State, "scratch"), .. room.Drops])
            {
                var w = new FileSystemWatcher(folder) { IncludeSubdirectories = true, EnableRaisingEvents = true };
                w.Created += (_, _) => _event.Set();
                w.Renamed += (_, _) => _event.Set();
                _watchers.Add(w);
            }
        }

        public void Wait(TimeSpan most)
        {
            _event.Wait(most);
            _event.Reset();
        }

        public void Dispose()
        {
            foreach (var w in _watchers) w.Dispose();
            _event.Dispose();
        }
    }
}
