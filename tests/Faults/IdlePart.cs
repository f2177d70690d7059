using System.Diagnostics;
using System.Globalization;
using System.Security.Cryptography;
using Dapper;
using Microsoft.Data.Sqlite;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Plugins;
using Stiltwright.Host.Watching;

namespace Stiltwright.Faults;

/// <summary>
/// What the service costs while it has nothing to do, with 200 drop folders and 20,000 files on the share at the default
/// settings, and how soon it begins with a file that has settled; with change notifications and without.
/// </summary>
internal static class IdlePart
{
    private const int Folders = 200;
    private const int SourcesEach = 50;
    private const double MostOfACore = 0.005;
    private const double SettleS = 15;
    private const double SweepS = 10;

    public static async Task<IReadOnlyList<string>> Run(Options options)
    {
        if (!OperatingSystem.IsLinux())
        {
            Console.WriteLine("Skipped: the time that a process takes is only read on Linux.");
            return [];
        }

        var faults = new List<string>();
        foreach (var notifications in (bool[])[true, false])
        {
            using var room = new PrintRoom(
                $$"""{ "state": "STATE", "watch": { "notifications": {{(notifications ? "true" : "false")}} } }""",
                [.. Enumerable.Range(1, Folders).Select(n => ($"enlarge-{n}", PrintRoom.Recipe("inspect", """{ "stage": "rescale", "oldCavities": "keep" }""", "estimate")))]);
            Fill(room);
            using var service = new ServiceProcess(room);
            await StartIsOver(service.Id, TimeSpan.FromSeconds(options.IsLong ? 60 : 30));
            var over = TimeSpan.FromSeconds(options.IsLong ? 300 : 60);
            var (before, clock) = (CpuSeconds(service.Id), Stopwatch.StartNew());
            await Task.Delay(over);
            var share = (CpuSeconds(service.Id) - before) / clock.Elapsed.TotalSeconds;
            var what = notifications ? "with notifications" : "without notifications";
            Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{what}: {share * 100:0.00} % of a core over {over.TotalSeconds:0} s, {Directory.GetFiles(room.Share, "*", SearchOption.AllDirectories).Length} files in {Folders} folders"));
            if (share > MostOfACore) faults.Add(string.Create(CultureInfo.InvariantCulture, $"{what}: {share * 100:0.00} % of a core while nothing is to be done; {MostOfACore * 100} % is allowed"));
            if (ServiceProcess.Jobs(room).Any(j => j.State != "done")) faults.Add("a job of a file that was done long ago was begun again");

            var latest = 0.0;
            for (var n = 0; n < (options.IsLong ? 10 : 2); n++)
            {
                var name = $"late-{n}.stl";
                File.WriteAllText(Path.Combine(room.Drops[n], name), $"solid {n}\nfacet normal 0 0 x\nendsolid\n");
                var dropped = Stopwatch.StartNew();
                // One row is asked for: reading ten thousand again and again would keep the machine from what is measured.
                while (ServiceProcess.Ask(room, db => db.ExecuteScalar<string?>("SELECT state FROM ledger_jobs WHERE source = @name AND state <> 'queued'", new { name }) ?? "") is not { Length: > 0 } && dropped.Elapsed < TimeSpan.FromMinutes(2)) await Task.Delay(20);
                latest = Math.Max(latest, dropped.Elapsed.TotalSeconds);
            }

            // Without notifications a file is seen first at the next look; only from there on can its standing still be told.
            var allowed = SettleS + 1 + (notifications ? 0 : SweepS);
            Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{what}: begun at the latest {latest:0.00} s after the last byte, of which {SettleS:0} s are the settling time{(notifications ? "" : $" and up to {SweepS:0} s the pause between two looks")}"));
            if (latest > allowed) faults.Add(string.Create(CultureInfo.InvariantCulture, $"{what}: begun {latest:0.00} s after the last byte; {allowed:0} s are allowed"));
            if (service.Stop() is { } wrong) faults.Add(wrong);
        }

        return faults;
    }

    /// <summary>Sources with their sets, all done long ago as far as the ledger knows.</summary>
    private static void Fill(PrintRoom room)
    {
        var stl = PrintRoom.Small(new Random(1));
        var sha = Convert.ToHexStringLower(SHA256.HashData(stl));
        foreach (var drop in room.Drops)
        {
            for (var n = 0; n < SourcesEach; n++)
            {
                File.WriteAllBytes(Path.Combine(drop, $"figure-{n}.stl"), stl);
                File.WriteAllText(Path.Combine(Directory.CreateDirectory(Path.Combine(drop, $"figure-{n}.set")).FullName, "summary.json"), $$"""{ "source": { "file": "figure-{{n}}.stl" }, "outcome": "ready" }""");
            }
        }

        var config = ConfigReader.Read(room.Config, _ => PluginCatalog.Load([Path.Combine(Path.GetDirectoryName(PrintRoom.Program)!, "plugins")]));
        var ledger = new Ledger(room.State, TimeProvider.System);
        var share = ShareIdentity.Of(room.Share, ledger);
        using var db = new SqliteConnection(ledger.Store.EngineConnection);
        db.Open();
        using var tx = db.BeginTransaction();
        var number = 0;
        foreach (var folder in ShareView.Take(room.Share, config.Recipes)!)
        {
            var hash = JobRunner.RecipeHash(folder.Recipe!, null);
            foreach (var source in folder.Sources!)
            {
                var row = new { id = Guid.NewGuid().ToString("N")[..16], number = ++number, identity = ShareIdentity.OfJob(sha, hash, share, folder.Name, source.Name), share, folder = folder.Name, source = source.Name, bytes = source.Bytes, written = source.Look.Written, path = folder.Name + "/" + source.Name, sha, target = Path.ChangeExtension(source.Name, ".set"), now = ledger.Now() };
                db.Execute("INSERT INTO ledger_jobs (id, number, identity, share, folder, source, recipe, bytes, state, attempts, fence, outcome, target, created, changed) VALUES (@id, @number, @identity, @share, @folder, @source, @folder, @bytes, 'done', 1, 1, 'ready', @target, @now, @now)", row, tx);
                db.Execute("INSERT INTO ledger_seen (share, path, bytes, written, sha256) VALUES (@share, @path, @bytes, @written, @sha)", row, tx);
            }
        }

        tx.Commit();
    }

    /// <summary>
    /// A service runs for months: its start, first looks and the compiling of what runs often are not what is measured. On a
    /// busy machine they take minutes.
    /// </summary>
    private static async Task StartIsOver(int id, TimeSpan atLeast)
    {
        await Task.Delay(atLeast);
        for (var waited = Stopwatch.StartNew(); waited.Elapsed < TimeSpan.FromMinutes(4);)
        {
            var before = CpuSeconds(id);
            await Task.Delay(TimeSpan.FromSeconds(20));
            if (CpuSeconds(id) - before < 0.2) return;
        }
    }

    /// <summary>Processor time of a process, user and system, in ticks of 10 ms (proc(5)).</summary>
    private static double CpuSeconds(int id)
    {
        var fields = File.ReadAllText($"/proc/{id}/stat").Split(' ');
        return (double.Parse(fields[13], CultureInfo.InvariantCulture) + double.Parse(fields[14], CultureInfo.InvariantCulture)) / 100;
    }
}
