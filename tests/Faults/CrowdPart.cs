using System.Diagnostics;
using System.Globalization;
using System.Security.Cryptography;
using System.Text.RegularExpressions;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Hosting;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Plugins;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Faults;

/// <summary>
/// Thousands of files dropped at once on a share that is not well: one call in a hundred fails, before, in or after what it
/// does, a source's reading among them, and in the midst of it the whole share goes away for a while. Afterwards: every
/// source as it was dropped, one set each, of exactly its bytes, nothing left behind; on the way: memory bounded, a board
/// that counts every file and stays short enough to be read.
/// </summary>
internal static partial class CrowdPart
{
    private const string Drop = "enlarge-150";
    private const double Faulty = 0.01;
    private const long LongestBoard = 1 << 20;
    private const double MostMiBMore = 300;

    public static async Task<IReadOnlyList<string>> Run(Options options)
    {
        var count = options.IsLong ? 5000 : 600;
        var faults = new List<string>();
        using var room = new PrintRoom(
            """{ "state": "STATE", "watch": { "sweepS": 1, "settleS": 0, "patienceS": 5 }, "worker": { "parallel": 3, "timeLimitS": 600 }, "log": { "level": "error" } }""",
            PrintRoom.InMemory, (Drop, PrintRoom.Recipe("inspect", """{ "stage": "rescale", "oldCavities": "keep" }""", "estimate")));
        var folder = room.Drops[0];
        var random = new Random(options.Seed);
        var dropped = new Dictionary<string, string>(StringComparer.Ordinal);
        for (var i = 0; i < count; i++)
        {
            var bytes = PrintRoom.Small(random);
            File.WriteAllBytes(Path.Combine(folder, $"figure-{i}.stl"), bytes);
            dropped[$"figure-{i}.stl"] = Convert.ToHexStringLower(SHA256.HashData(bytes));
        }

        PluginCatalog? catalog = null;
        var config = ConfigReader.Read(room.Config, _ => catalog = PluginCatalog.Load([Path.Combine(Path.GetDirectoryName(PrintRoom.Program)!, "plugins")]));
        if (config.Mistakes.Count > 0) return [.. config.Mistakes.Select(m => m.ToString())];
        var files = new FaultyFiles(new Random(options.Seed + 1));
        using var host = ServiceHost.Build(config, catalog!, room.Share, new ServiceParts { ConsoleLog = false, Files = files, Worker = new WorkerCommand("", []) { InProcess = Do } });
        var (before, most, board, away, clock) = (ResidentMiB(), 0.0, 0L, false, Stopwatch.StartNew());
        await host.StartAsync();
        var ledger = host.Services.GetRequiredService<Ledger>();
        var (done, since, counted) = (0, clock.Elapsed, 0);
        while (done < count)
        {
            var now = ledger.InState(JobState.Done).Count;
            if (now != done) (done, since) = (now, clock.Elapsed);
            if (clock.Elapsed - since > TimeSpan.FromMinutes(3))
            {
                faults.Add($"nothing was done for three minutes, {count - done} files left: {string.Join("; ", ledger.InState(JobState.Queued, JobState.Running, JobState.Waiting, JobState.Publishing).Take(5).Select(j => $"{j.Source} {j.State} {j.Sentence}"))}");
                break;
            }

            most = Math.Max(most, ResidentMiB());
            if (Path.Combine(room.Share, "board.html") is var page && File.Exists(page) && new FileInfo(page).Length is var length)
            {
                board = Math.Max(board, length);
                // The lead counts every file, listed or not, as soon as all are entered.
                if (ledger.TopNumber() == count && Lead().Match(await File.ReadAllTextAsync(page)) is { Success: true } lead)
                    counted = Math.Max(counted, Numbers().Matches(lead.Groups[1].Value).Sum(m => int.Parse(m.Value, NumberStyles.AllowThousands, CultureInfo.InvariantCulture)));
            }

            if (!away && done > count / 3)
            {
                away = true;
                Directory.Move(room.Share, room.Share + ".away");
                await Task.Delay(TimeSpan.FromSeconds(4));
                if (Directory.Exists(room.Share)) faults.Add("something was made where the share had been");
                else Directory.Move(room.Share + ".away", room.Share);
                since = clock.Elapsed;
            }

            await Task.Delay(200);
        }

        files.IsFaulty = false;
        await Task.Delay(3000); // a look or two, to tidy up without faults
        await host.StopAsync();
        Check(room, folder, dropped, ledger, faults);
        Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{count} files in {clock.Elapsed.TotalSeconds:0} s; {files.Thrown} of {files.Calls} calls on the share failed; at most {most - before:0} MiB more resident memory, a board of at most {board / 1024.0:0} KiB that counted {counted} files"));
        if (!away) faults.Add("the share never went away: nothing of that was tried");
        if (files.Thrown < count / 20) faults.Add($"only {files.Thrown} calls failed: hardly anything was tried");
        if (most - before > MostMiBMore) faults.Add(string.Create(CultureInfo.InvariantCulture, $"{most - before:0} MiB more memory than before the files came; {MostMiBMore:0} are allowed"));
        if (board > LongestBoard) faults.Add($"the board had {board} bytes: nobody reads that");
        if (counted != count) faults.Add($"the board counted {counted} files of {count}");
        return faults;
    }

    private static void Check(PrintRoom room, string folder, Dictionary<string, string> dropped, Ledger ledger, List<string> faults)
    {
        foreach (var (name, sha) in dropped)
        {
            if (Sha(Path.Combine(folder, name)) != sha) faults.Add($"{name}: the source was changed");
            if (Sha(Path.Combine(folder, Path.ChangeExtension(name, ".set"), "figure.stl")) != sha) faults.Add($"{name}: its set is not there or is made of other bytes");
        }

        if (Directory.GetDirectories(folder, "*.set").Length != dropped.Count) faults.Add($"{Directory.GetDirectories(folder, "*.set").Length} sets for {dropped.Count} files");
        if (ledger.InState(JobState.Dropped).Count is > 0 and var gone) faults.Add($"{gone} jobs were dropped, and no file was taken away");
        var own = Path.Combine(folder, ".stiltwright");
        foreach (var stray in Directory.GetFileSystemEntries(Path.Combine(own, "making"))) faults.Add($"left behind: {stray}");
        if (Directory.Exists(Path.Combine(own, "replaced"))) foreach (var twice in Directory.GetDirectories(Path.Combine(own, "replaced"))) faults.Add($"published more than once: {Path.GetFileName(twice)}");
        foreach (var stray in Directory.GetFileSystemEntries(room.Share, "*.tmp", SearchOption.AllDirectories)) faults.Add($"left behind: {stray}");
        if (Directory.Exists(Path.Combine(room.State, "scratch"))) foreach (var stray in Directory.GetDirectories(Path.Combine(room.State, "scratch"))) faults.Add($"left behind: {stray}");
    }

    /// <summary>Stands in for the worker: the source becomes the figure.</summary>
    private static async Task<WorkerReport> Do(string orderPath, Action<WorkerLine> progress, CancellationToken cancel)
    {
        progress(new WorkerLine(0.5, "inspect"));
        return await Host.Tests.StandInSet.Write(orderPath, figure: true, [], cancel).ConfigureAwait(false);
    }

    private static string Sha(string file) => File.Exists(file) ? Convert.ToHexStringLower(SHA256.HashData(File.ReadAllBytes(file))) : "";

    private static double ResidentMiB()
    {
        using var self = Process.GetCurrentProcess();
        return self.WorkingSet64 / 1048576.0;
    }

    [GeneratedRegex("id=\"now\">(.*?)</p>")]
    private static partial Regex Lead();

    [GeneratedRegex("[0-9][0-9,]*")]
    private static partial Regex Numbers();

    /// <summary>A share on which a call fails now and then: half of the times before it does anything, half of the times after.</summary>
    private sealed class FaultyFiles(Random random) : Host.Tests.WatchedFiles
    {
        private readonly Lock _lock = new();

        public volatile bool IsFaulty = true;

        public int Calls { get; private set; }

        public int Thrown { get; private set; }

        public override async Task<SourceCopy> CopyOut(string source, string to, CancellationToken cancel)
        {
            var (first, last) = Lot();
            Throw(first);
            var copy = await base.CopyOut(source, to, cancel).ConfigureAwait(false);
            Throw(last);
            return copy;
        }

        protected override async Task<string> Copy(string from, string to, Func<Task<string>> act)
        {
            var (first, last) = Lot();
            if (first) CopyHalf(from, to);
            Throw(first);
            var sha = await act().ConfigureAwait(false);
            Throw(last);
            return sha;
        }

        public override async Task<string> Hash(string path, CancellationToken cancel)
        {
            var (first, last) = Lot();
            Throw(first || last);
            return await base.Hash(path, cancel).ConfigureAwait(false);
        }

        protected override void Change(string what, Action act)
        {
            var (first, last) = Lot();
            Throw(first);
            act();
            Throw(last);
        }

        private (bool First, bool Last) Lot()
        {
            lock (_lock)
            {
                Calls++;
                var fails = IsFaulty && random.NextDouble() < Faulty;
                if (fails) Thrown++;
                var before = random.Next(2) == 0;
                return (fails && before, fails && !before);
            }
        }

        private static void Throw(bool now)
        {
            if (now) throw new IOException("Input/output error (on purpose).");
        }
    }
}
