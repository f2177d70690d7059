using System.Diagnostics;
using System.Globalization;
using Dapper;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Time.Testing;
using MimeKit;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Mail;
using Stiltwright.Host.Plugins;
using Stiltwright.Host.Watching;

namespace Stiltwright.Faults;

/// <summary>
/// Ninety days of a busy print room by a clock that is set forward: tens of thousands of files dropped, replaced, taken
/// away, broken; a mail server that is down for days. The worker is a stand-in in this process but for one job in a
/// hundred. Memory, handles and what lies on the disks are measured at intervals; from the middle to the end they must not grow.
/// </summary>
internal static class SoakPart
{
    private const int Days = 90;
    private const int KeptDays = 7;
    private const int RecordsDays = 20;
    private const string Drop = "enlarge-150";

    public static async Task<IReadOnlyList<string>> Run(Options options)
    {
        var (drops, batch) = options.IsLong ? (50_000, 100) : (500, 25);
        var random = new Random(options.Seed);
        var faults = new List<string>();
        using var room = new PrintRoom(
            $$"""{ "state": "STATE", "watch": { "sweepS": 0.2, "settleS": 0, "patienceS": 5 }, "worker": { "parallel": 2, "timeLimitS": 86400 }, "keep": { "replacedDays": {{KeptDays}}, "recordsDays": {{RecordsDays}} }, "mail": { "gatherS": 0 }, "log": { "level": "error" } }""",
            PrintRoom.InMemory, (Drop, PrintRoom.Recipe("inspect", """{ "stage": "rescale", "oldCavities": "keep" }""", "estimate")));
        var time = new FakeTimeProvider(new DateTimeOffset(2026, 1, 5, 7, 0, 0, TimeSpan.Zero));
        var mails = new Mails();
        var workers = new Workers(random, Path.Combine(room.Root, "orders"));
        PluginCatalog? catalog = null;
        var config = ConfigReader.Read(room.Config, _ => catalog = PluginCatalog.Load([Path.Combine(Path.GetDirectoryName(PrintRoom.Program)!, "plugins")]));
        foreach (var m in config.Mistakes) faults.Add(m.ToString());
        if (faults.Count > 0) return faults;
        using var host = ServiceHost.Build(config, catalog!, room.Share, new ServiceParts { Time = time, ConsoleLog = false, Sender = mails, Worker = new WorkerCommand("", []) { InProcess = workers.Do } });
        await host.StartAsync();
        var ledger = host.Services.GetRequiredService<Ledger>();
        var sweeper = host.Services.GetRequiredService<Sweeper>();
        var folder = room.Drops[0];
        var lying = new Queue<(string Path, DateTimeOffset At)>();
        var measures = new List<Measure>();
        var step = TimeSpan.FromDays(Days) / (drops / (double)batch);
        var clock = Stopwatch.StartNew();
        Console.WriteLine(Measure.Head);
        for (var dropped = 0; dropped < drops;)
        {
            for (var i = 0; i < batch; i++, dropped++)
            {
                var old = random.Next(10) == 0 && lying.Count > 0 ? lying.ElementAt(random.Next(Math.Min(lying.Count, 50))).Path : null;
                var path = old ?? Path.Combine(folder, $"figure-{dropped}.stl");
                File.WriteAllBytes(path + ".part", PrintRoom.Small(random));
                File.Move(path + ".part", path, overwrite: true);
                if (old is null) lying.Enqueue((path, time.GetUtcNow()));
                else if (random.Next(3) == 0) File.Delete(path); // taken away again before or while it is done
            }

            mails.IsDown = random.Next(20) == 0;
            if (!await Idle(ledger, sweeper)) faults.Add($"the queue stood still after {dropped} drops");
            // Days go by in hours, so that what is due every few hours gets its turn.
            for (var left = step; left > TimeSpan.Zero; left -= TimeSpan.FromHours(3)) time.Advance(left < TimeSpan.FromHours(3) ? left : TimeSpan.FromHours(3));
            while (lying.TryPeek(out var oldest) && time.GetUtcNow() - oldest.At > TimeSpan.FromDays(KeptDays))
            {
                // People take figure and set away when it is printed.
                lying.Dequeue();
                File.Delete(oldest.Path);
                var set = Path.ChangeExtension(oldest.Path, ".set");
                if (Directory.Exists(set)) Directory.Delete(set, true);
            }

            if (faults.Count > 0) break;
            if (dropped * 40L / drops == (dropped - batch) * 40L / drops) continue;
            await Idle(ledger, sweeper);
            await Task.Delay(options.IsLong ? 5000 : 500);
            measures.Add(Measure.Now(room, (double)Days * dropped / drops, dropped));
            Console.WriteLine(measures[^1]);
        }

        mails.IsDown = false;
        await host.StopAsync();
        Console.WriteLine($"{drops} drops in {clock.Elapsed.TotalMinutes:0.0} min; {workers.Real} jobs by a process of their own, {workers.Broke} runs broke down; {mails.Sent} mails sent");
        if (faults.Count == 0) faults.AddRange(Measure.Growth(measures[measures.Count / 2], measures[^1]));
        return faults;
    }

    /// <summary>Waits until nothing is open and two looks have gone by; false where nothing moves for five minutes.</summary>
    private static async Task<bool> Idle(Ledger ledger, Sweeper sweeper)
    {
        var (looks, open, clock) = (sweeper.Looks, -1, Stopwatch.StartNew());
        while (true)
        {
            var now = ledger.InState(JobState.Queued, JobState.Running, JobState.Publishing).Count;
            if (now == 0 && sweeper.Looks >= looks + 2) return true;
            if (now != open) (open, clock) = (now, Stopwatch.StartNew());
            if (clock.Elapsed > TimeSpan.FromMinutes(5)) return false;
            await Task.Delay(20);
        }
    }

    private sealed class Mails : IMailSender
    {
        public volatile bool IsDown;

        public int Sent;

        public bool HasServer => true;

        public Task<IReadOnlyList<string>> Send(MimeMessage message, CancellationToken cancel)
        {
            if (IsDown) throw new IOException("The mail server does not answer.");
            Interlocked.Increment(ref Sent);
            return Task.FromResult<IReadOnlyList<string>>([]);
        }
    }

    /// <summary>A small set at once; one run in forty breaks down; one in a hundred is a process of its own with the real stages.</summary>
    private sealed class Workers(Random random, string logs)
    {
        private readonly Lock _lock = new();
        private int _count;

        public int Real;

        public int Broke;

        public async Task<WorkerReport> Do(string orderPath, Action<WorkerLine> progress, CancellationToken cancel)
        {
            bool breaks;
            lock (_lock) breaks = random.Next(40) == 0;
            if (Interlocked.Increment(ref _count) % 100 == 0)
            {
                Interlocked.Increment(ref Real);
                Directory.CreateDirectory(logs);
                var process = new WorkerProcess(new WorkerCommand(PrintRoom.Program, ["work", "--tied"]), new WorkerSettings(), TimeProvider.System);
                return await process.Run(orderPath, Path.Combine(logs, "worker.log"), progress, cancel).ConfigureAwait(false);
            }

            progress(new WorkerLine(0.5, "inspect"));
            if (breaks)
            {
                Interlocked.Increment(ref Broke);
                return new WorkerReport(WorkerEnd.Crashed, 134, "inspect", "broke down on purpose", 1, 0.1);
            }

            return await Host.Tests.StandInSet.Write(orderPath, figure: false, [], cancel).ConfigureAwait(false);
        }
    }

    /// <summary>
    /// What the service holds at one moment. What is resident beyond the collector's committed memory and SQLite's is code,
    /// stacks and what the C library keeps for later.
    /// </summary>
    private sealed record Measure(double Day, int Drops, double ManagedMiB, double CommittedMiB, double SqliteMiB, double ResidentMiB, int Handles, int Threads, double LedgerMiB, long Jobs, long Mails, long Seen, long Messages, long Stale, int StateFiles)
    {
        public const string Head = "   day   drops  managed MiB  committed MiB  SQLite MiB  resident MiB  handles  threads  ledger MiB    jobs   mails    seen  messages   stale  state files";

        private const string Incoming = "wolverine_incoming_envelopes";

        public static Measure Now(PrintRoom room, double day, int drops)
        {
            GC.Collect();
            GC.WaitForPendingFinalizers();
            GC.Collect();
            using var self = Process.GetCurrentProcess();
            long Rows(string table) => (ServiceProcess.Ask(room, db => db.ExecuteScalar<long>($"SELECT COUNT(*) FROM {table}").ToString(CultureInfo.InvariantCulture)) is { } n) ? long.Parse(n, CultureInfo.InvariantCulture) : 0;
            var engine = ServiceProcess.Ask(room, db => db.Query<string>("SELECT name FROM sqlite_master WHERE type = 'table' AND name LIKE 'wolverine_%'").AsList()) ?? [];
            var handles = OperatingSystem.IsLinux() ? Directory.GetFiles("/proc/self/fd").Length : self.HandleCount;
            return new Measure(day, drops, GC.GetTotalMemory(true) / 1048576.0, GC.GetGCMemoryInfo().TotalCommittedBytes / 1048576.0, SQLitePCL.raw.sqlite3_memory_used() / 1048576.0, self.WorkingSet64 / 1048576.0, handles, self.Threads.Count,
                new FileInfo(Path.Combine(room.State, "ledger.db")).Length / 1048576.0, Rows("ledger_jobs"), Rows("ledger_mails"), Rows("ledger_seen"), engine.Sum(Rows),
                engine.Sum(Rows) - Rows($"{Incoming} WHERE status = 'Handled' AND keep_until > strftime('%Y-%m-%d %H:%M:%S', 'now', '-2 minutes')"),
                Directory.GetFiles(room.State, "*", SearchOption.AllDirectories).Length);
        }

        public override string ToString() => string.Create(CultureInfo.InvariantCulture,
            $"{Day,6:0.0}  {Drops,6}  {ManagedMiB,11:0.0}  {CommittedMiB,13:0.0}  {SqliteMiB,10:0.0}  {ResidentMiB,12:0}  {Handles,7}  {Threads,7}  {LedgerMiB,10:0.0}  {Jobs,6}  {Mails,6}  {Seen,6}  {Messages,8}  {Stale,6}  {StateFiles,11}");

        /// <summary>
        /// What grew from one to the other by more than a fifth and a little. The engine keeps a handled message for five
        /// minutes by its own clock, so how many there are tells only how fast the last ones came: what counts is those that
        /// were not handled, or lie on two minutes later.
        /// </summary>
        public static IEnumerable<string> Growth(Measure a, Measure b)
        {
            foreach (var (what, from, to, little) in new[]
            {
                ("managed memory, MiB", a.ManagedMiB, b.ManagedMiB, 8.0), ("SQLite's memory, MiB", a.SqliteMiB, b.SqliteMiB, 8), ("resident memory, MiB", a.ResidentMiB, b.ResidentMiB, 60), ("handles", a.Handles, b.Handles, 30),
                ("threads", a.Threads, b.Threads, 15), ("the ledger, MiB", a.LedgerMiB, b.LedgerMiB, 3), ("jobs in the ledger", a.Jobs, b.Jobs, 100), ("mails in the ledger", a.Mails, b.Mails, 100),
                ("hashes in the ledger", a.Seen, b.Seen, 100), ("messages of the engine that are not handled or long handled", a.Stale, b.Stale, 100), ("files in the state folder", a.StateFiles, b.StateFiles, 50),
            })
            {
                Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"  {what}: {from:0.#} in the middle, {to:0.#} at the end"));
                if (to > (from * 1.2) + little) yield return string.Create(CultureInfo.InvariantCulture, $"{what} grew from {from:0.#} in the middle to {to:0.#} at the end");
            }
        }
    }
}
