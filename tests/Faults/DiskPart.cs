using System.Diagnostics;
using System.Text;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Faults;

/// <summary>
/// Disks that say no, on real file systems of a few MiB: full, read-only, broken, a right lost, a rename refused, before and
/// in the midst of the work; those of the share, of scratch, and of the ledger. The service goes on, nothing stands half,
/// what is in the way is said on the board, and once it is mended everything is done, once.
/// </summary>
internal static class DiskPart
{
    private const string Drop = "enlarge-200";
    private static readonly TimeSpan Longest = TimeSpan.FromMinutes(4);

    public static async Task<IReadOnlyList<string>> Run(Options options)
    {
        if (SmallDisk.WhyNot() is { } why)
        {
            Console.WriteLine($"Skipped: {why}.");
            return [];
        }

        var faults = new List<string>();
        // Mostly waiting: side by side they take as long as the longest.
        var all = new (string Name, Func<PrintRoom, Action<string>, Task> Do)[]
        {
            ("the share is full", ShareFull), ("the share is read-only", ShareReadOnly), ("a right on the share is lost", RightLost),
            ("a rename is refused", RenameRefused), ("the state folder's disk is full", StateFull), ("the state folder's disk fills up in mid-work", StateFillsUp),
            ("the disk of scratch is full", ScratchFull), ("the disk of scratch is read-only", ScratchReadOnly), ("the disk of scratch breaks in mid-work", (r, f) => ScratchFails(r, f, d => d.Break())),
            ("the disk of scratch goes read-only in mid-work", (r, f) => ScratchFails(r, f, d => d.GoReadOnly())), ("the ledger's disk breaks in mid-work", (r, f) => LedgerFails(r, f, d => d.Break())),
            ("the ledger's disk goes read-only in mid-work", (r, f) => LedgerFails(r, f, d => d.GoReadOnly())),
            ("the power fails while a finished set waits for the share", PowerFails),
        };
        await Task.WhenAll(all.Select(async scene =>
        {
            var clock = Stopwatch.StartNew();
            using var room = new PrintRoom(
                """{ "state": "STATE", "pluginFolders": ["PLUGINS"], "watch": { "sweepS": 0.5, "settleS": 0, "patienceS": 5 }, "worker": { "parallel": 2, "timeLimitS": 300 } }""",
                (Drop, PrintRoom.Recipe("before-inspect", "inspect", """{ "stage": "rescale", "oldCavities": "keep" }""", "estimate")));
            room.LayHostileStages();
            Directory.CreateDirectory(room.State);
            try
            {
                await scene.Do(room, fault =>
                {
                    lock (faults) faults.Add($"{scene.Name}: {fault}");
                });
            }
            catch (TimeoutException e)
            {
                lock (faults) faults.Add($"{scene.Name}: {e.Message}");
            }

            Console.WriteLine($"{scene.Name}: {clock.Elapsed.TotalSeconds:0} s");
        }));
        return faults;
    }

    private static async Task ShareFull(PrintRoom room, Action<string> fault)
    {
        using var disk = Mounted(room.Share, room);
        Put(room, "crab.stl", Unreadable(1));
        using var service = new ServiceProcess(room);
        await Until(service, () => Outcome(room, "crab") is not null, "the first set stands");
        Put(room, "crab.stl", Unreadable(2));
        disk.Fill();
        await Until(service, () => Waits(room, "crab.stl", "No space left"), "the ledger says that there is no space left");
        if (Outcome(room, "crab") is null) fault("the old set is gone");
        disk.Empty();
        await Until(service, () => Is(room, "crab.stl", "done") && Nothing(room), "the new set stands once there is room");
        End(service, room, fault, ("crab.stl", Unreadable(2)));
    }

    private static async Task ShareReadOnly(PrintRoom room, Action<string> fault)
    {
        using var disk = Mounted(room.Share, room);
        Put(room, "crab.stl", PrintRoom.Figure(new Random(1)));
        using var service = new ServiceProcess(room);
        await Until(service, () => KillStates.Runs(room).Any(r => KillStates.OfRun(r) == "inspect"), "the work has begun");
        disk.ReadOnly(true);
        await Until(service, () => Waits(room, "crab.stl", "Read-only"), "the ledger says that the share is read-only");
        if (Outcome(room, "crab") is not null) fault("a set stands on a share that is read-only");
        disk.ReadOnly(false);
        await Until(service, () => Is(room, "crab.stl", "done") && Nothing(room), "the set stands once the share can be written");
        End(service, room, fault, ("crab.stl", PrintRoom.Figure(new Random(1))));
    }

    private static async Task RightLost(PrintRoom room, Action<string> fault)
    {
        using var disk = Mounted(room.Share, room);
        var making = Directory.CreateDirectory(Path.Combine(room.Share, Drop, SetPlace.OwnFolder, "making")).FullName;
        try
        {
            SmallDisk.Run("chattr", "+i", making); // even root may then make nothing in it
        }
        catch (Exception e) when (e is IOException or System.ComponentModel.Win32Exception)
        {
            Console.WriteLine($"a right on the share is lost: skipped, {e.Message}");
            return;
        }

        Put(room, "crab.stl", Unreadable(1));
        using var service = new ServiceProcess(room);
        await Until(service, () => Waits(room, "crab.stl", making), "the ledger names the folder that it may not write to");
        await Until(service, () => Board(room).Contains("crab.stl", StringComparison.Ordinal) && Board(room).Contains(making, StringComparison.Ordinal), "the board says why");
        SmallDisk.Run("chattr", "-i", making);
        await Until(service, () => Is(room, "crab.stl", "done") && Nothing(room), "the set stands once the right is back");
        End(service, room, fault, ("crab.stl", Unreadable(1)));
    }

    private static async Task RenameRefused(PrintRoom room, Action<string> fault)
    {
        using var disk = Mounted(room.Share, room);
        Put(room, "crab.stl", Unreadable(1));
        using var service = new ServiceProcess(room);
        await Until(service, () => Is(room, "crab.stl", "done") && Nothing(room), "the first set stands");
        var set = Path.Combine(room.Share, Drop, "crab.set");
        SmallDisk.Run("mount", "--bind", set, set); // a folder that something is mounted on cannot be renamed
        try
        {
            Put(room, "crab.stl", Unreadable(2));
            await Until(service, () => Waits(room, "crab.stl", "cannot be renamed"), "the ledger says that the set cannot be renamed");
            await Until(service, () => Board(room).Contains("cannot be renamed", StringComparison.Ordinal), "the board says why");
            Put(room, "eel.stl", Unreadable(3));
            await Until(service, () => Is(room, "eel.stl", "done"), "another file of the same folder is done meanwhile");
        }
        finally
        {
            SmallDisk.Run("umount", set);
        }

        await Until(service, () => Is(room, "crab.stl", "done") && Nothing(room), "the new set stands once nobody holds the old one");
        End(service, room, fault, ("crab.stl", Unreadable(2)), ("eel.stl", Unreadable(3)));
    }

    private static async Task StateFull(PrintRoom room, Action<string> fault)
    {
        using var disk = SmallDisk.Over(room.State, 200);
        Put(room, "crab.stl", Unreadable(1));
        using var service = new ServiceProcess(room);
        await Until(service, () => Is(room, "crab.stl", "done"), "the first set stands");
        disk.Fill();
        Put(room, "eel.stl", Unreadable(2));
        await Until(service, () => Board(room).Contains("The ledger (", StringComparison.Ordinal), "the board says that the ledger cannot be written");
        await Task.Delay(TimeSpan.FromSeconds(5)); // nothing can be noted now; it only must live through it
        if (!service.Lives) fault("the service ended");
        disk.Empty();
        await Until(service, () => Is(room, "eel.stl", "done") && Nothing(room), "the next file is done once there is room");
        End(service, room, fault, ("crab.stl", Unreadable(1)), ("eel.stl", Unreadable(2)));
    }

    private static async Task StateFillsUp(PrintRoom room, Action<string> fault)
    {
        using var disk = SmallDisk.Over(room.State, 200);
        Put(room, "crab.stl", PrintRoom.Figure(new Random(1)));
        using var service = new ServiceProcess(room);
        await Until(service, () => KillStates.Runs(room).Any(r => KillStates.OfRun(r) == "inspect"), "the work has begun");
        disk.Fill();
        await Until(service, () => Is(room, "crab.stl", "waiting") || service.Said.Any(s => s.Contains("waits", StringComparison.Ordinal)) || KillStates.Runs(room).Length == 0, "the run has come to its end");
        await Task.Delay(2000);
        disk.Empty();
        await Until(service, () => Is(room, "crab.stl", "done") && Nothing(room), "the set stands once there is room");
        if (Outcome(room, "crab") == "stop") fault("the set says that the file could not be done, which was the disk's fault");
        End(service, room, fault, ("crab.stl", PrintRoom.Figure(new Random(1))));
    }

    private static async Task ScratchFull(PrintRoom room, Action<string> fault)
    {
        using var disk = SmallDisk.Over(Scratch(room), 200);
        disk.Fill();
        Put(room, "crab.stl", Unreadable(1));
        using var service = new ServiceProcess(room);
        await Until(service, () => Waits(room, "crab.stl", "MiB left"), "the ledger says that there is no room");
        await Until(service, () => Board(room).Contains("MiB left", StringComparison.Ordinal), "the board says so");
        disk.Empty();
        await Until(service, () => Is(room, "crab.stl", "done") && Nothing(room), "the set stands once there is room");
        Once(service, room, fault, "crab.stl", Unreadable(1));
    }

    private static async Task ScratchReadOnly(PrintRoom room, Action<string> fault)
    {
        using var disk = SmallDisk.Over(Scratch(room), 200);
        disk.ReadOnly(true);
        Put(room, "crab.stl", Unreadable(1));
        using var service = new ServiceProcess(room);
        await Until(service, () => Waits(room, "crab.stl", "Read-only"), "the ledger says that scratch is read-only");
        await Until(service, () => Board(room).Contains("Read-only", StringComparison.Ordinal), "the board says so");
        disk.ReadOnly(false);
        await Until(service, () => Is(room, "crab.stl", "done") && Nothing(room), "the set stands once scratch can be written");
        Once(service, room, fault, "crab.stl", Unreadable(1));
    }

    /// <summary>Scratch fails under the worker's hands: that is no fault of the file, and the service does the job again by itself.</summary>
    private static async Task ScratchFails(PrintRoom room, Action<string> fault, Action<BreakableDisk> fail)
    {
        using var disk = BreakableDisk.Over(Scratch(room), Path.Combine(room.Root, "scratch.img"), 200);
        var figure = PrintRoom.Figure(new Random(1));
        Put(room, "crab.stl", figure);
        using var service = new ServiceProcess(room);
        await Until(service, () => KillStates.Runs(room).Any(r => KillStates.OfRun(r) == "inspect"), "the work has begun");
        fail(disk);
        await Until(service, () => ServiceProcess.Jobs(room).Any(j => j is { Source: "crab.stl", State: "waiting", Sentence.Length: > 0 }), "the ledger says why the job waits");
        var reason = ServiceProcess.Jobs(room).Last(j => j.Source == "crab.stl").Sentence;
        if (!reason.Contains("put/output error", StringComparison.OrdinalIgnoreCase) && !reason.Contains("Read-only", StringComparison.Ordinal)) fault("the ledger's sentence is: " + reason);
        await Until(service, () => Board(room).Contains("put/output error", StringComparison.OrdinalIgnoreCase) || Board(room).Contains("Read-only", StringComparison.Ordinal), "the board says so");
        disk.Mend();
        await Until(service, () => Is(room, "crab.stl", "done") && Nothing(room), "the set stands once the disk is in order");
        Once(service, room, fault, "crab.stl", figure);
    }

    /// <summary>Ledger and scratch fail in mid-work: the service lives and says so; after a mend and a new start all is done once.</summary>
    private static async Task LedgerFails(PrintRoom room, Action<string> fault, Action<BreakableDisk> fail)
    {
        using var disk = BreakableDisk.Over(room.State, Path.Combine(room.Root, "state.img"), 200);
        var figure = PrintRoom.Figure(new Random(1));
        Put(room, "eel.stl", Unreadable(2));
        using (var service = new ServiceProcess(room))
        {
            await Until(service, () => Is(room, "eel.stl", "done"), "the first set stands");
            Put(room, "crab.stl", figure);
            await Until(service, () => KillStates.Runs(room).Any(r => KillStates.OfRun(r) == "inspect"), "the work has begun");
            fail(disk);
            Put(room, "squid.stl", Unreadable(3));
            await Until(service, () => Board(room).Contains("The ledger (", StringComparison.Ordinal), "the board says that the ledger cannot be used");
            await Task.Delay(TimeSpan.FromSeconds(5));
            if (!service.Lives) fault("the service ended: " + string.Join(" ", service.Errors.Take(3)));
            service.Kill();
        }

        disk.Mend();
        using var next = new ServiceProcess(room);
        await Until(next, () => Is(room, "crab.stl", "done") && Is(room, "squid.stl", "done") && Nothing(room), "both sets stand after the next start");
        if (Board(room).Contains("The ledger (", StringComparison.Ordinal)) await Until(next, () => !Board(room).Contains("The ledger (", StringComparison.Ordinal), "the board says nothing of the ledger any more");
        Once(next, room, fault, "crab.stl", figure, ("eel.stl", Unreadable(2)), ("squid.stl", Unreadable(3)));
    }

    /// <summary>A finished set waits in scratch for a share that is full when the power fails: what the ledger then says of it is true.</summary>
    private static async Task PowerFails(PrintRoom room, Action<string> fault)
    {
        using var state = BreakableDisk.Over(room.State, Path.Combine(room.Root, "state.img"), 200);
        using var share = Mounted(room.Share, room);
        var figure = PrintRoom.Figure(new Random(1));
        Put(room, "eel.stl", Unreadable(1));
        using (var service = new ServiceProcess(room))
        {
            await Until(service, () => Is(room, "eel.stl", "done"), "the first set stands");
            Put(room, "crab.stl", figure);
            await Until(service, () => KillStates.Runs(room).Any(r => KillStates.OfRun(r) == "inspect"), "the work has begun");
            share.Fill();
            await Until(service, () => Waits(room, "crab.stl", "No space left"), "the finished set waits for the share");
            // Long enough that the names of its files are on the disk (ext4 commits every 5 s), not so long that all they hold is (30 s).
            await Task.Delay(TimeSpan.FromSeconds(8));
            state.Break();
            service.Kill();
        }

        state.Mend();
        share.Empty();
        using var next = new ServiceProcess(room);
        await Until(next, () => Is(room, "crab.stl", "done") && Nothing(room), "the set stands after the next start");
        Once(next, room, fault, "crab.stl", figure, ("eel.stl", Unreadable(1)));
        var set = Path.Combine(room.Share, Drop, "crab.set");
        foreach (var file in Directory.GetFiles(set, "*", SearchOption.AllDirectories))
            if (new FileInfo(file).Length == 0 || File.ReadAllBytes(file).All(b => b == 0)) fault($"{Path.GetRelativePath(set, file)} is empty");
    }

    private static string Scratch(PrintRoom room) => Directory.CreateDirectory(Path.Combine(room.State, "scratch")).FullName;

    private static SmallDisk Mounted(string folder, PrintRoom room)
    {
        var disk = SmallDisk.Over(folder, 16);
        foreach (var d in room.Drops) Directory.CreateDirectory(d);
        return disk;
    }

    private static byte[] Unreadable(int n) => Encoding.ASCII.GetBytes($"solid {n}\nfacet normal 0 0 x\nendsolid\n");

    private static void Put(PrintRoom room, string name, byte[] bytes)
    {
        var path = Path.Combine(room.Share, Drop, name);
        File.WriteAllBytes(path + ".part", bytes);
        File.Move(path + ".part", path, overwrite: true);
    }

    private static string? Outcome(PrintRoom room, string name) => SetGlance.Read(Path.Combine(room.Share, Drop, name + ".set"))?.Outcome;

    private static bool Is(PrintRoom room, string source, string state) => ServiceProcess.Jobs(room).LastOrDefault(j => j.Source == source).State == state;

    private static bool Waits(PrintRoom room, string source, string says) =>
        ServiceProcess.Jobs(room).Any(j => j.Source == source && j.State is "waiting" or "publishing" && j.Sentence.Contains(says, StringComparison.Ordinal));

    private static string Board(PrintRoom room) => File.Exists(Path.Combine(room.Share, "board.html")) ? System.Net.WebUtility.HtmlDecode(File.ReadAllText(Path.Combine(room.Share, "board.html"))) : "";

    /// <summary>Nothing lies about: neither where sets are made nor in scratch.</summary>
    private static bool Nothing(PrintRoom room) =>
        KillStates.Runs(room).Length == 0 && room.Drops.All(d => Directory.GetFileSystemEntries(Path.Combine(d, SetPlace.OwnFolder, "making")).Length == 0);

    /// <summary>The end of a scene in which a figure was done that is in order: it is prepared, and no set was made twice.</summary>
    private static void Once(ServiceProcess service, PrintRoom room, Action<string> fault, string name, byte[] bytes, params (string Name, byte[] Bytes)[] others)
    {
        End(service, room, fault, [(name, bytes), .. others]);
        if (bytes.Length > 1000 && Outcome(room, Path.GetFileNameWithoutExtension(name)) == "stop") fault("the set says that the file could not be done, which was the disk's fault");
        foreach (var job in ServiceProcess.Jobs(room).GroupBy(j => j.Source).Where(g => g.Count() > 1)) fault($"{job.Key} has {job.Count()} jobs");
        var replaced = Path.Combine(room.Share, Drop, SetPlace.OwnFolder, "replaced");
        if (Directory.Exists(replaced)) foreach (var twice in Directory.GetDirectories(replaced)) fault("published twice: " + Path.GetFileName(twice));
    }

    private static void End(ServiceProcess service, PrintRoom room, Action<string> fault, params (string Name, byte[] Bytes)[] sources)
    {
        if (service.Stop() is { } wrong) fault(wrong);
        foreach (var e in service.Errors.Take(3)) fault("on its standard error: " + e);
        foreach (var (name, bytes) in sources)
        {
            if (!File.ReadAllBytes(Path.Combine(room.Share, Drop, name)).AsSpan().SequenceEqual(bytes)) fault($"{name} was changed");
            if (SetGlance.Read(Path.Combine(room.Share, Drop, Path.ChangeExtension(name, ".set")))?.SourceFile != name) fault($"{name} has no set");
        }
    }

    private static string JobsOf(PrintRoom room)
    {
        try
        {
            return string.Join("; ", ServiceProcess.Jobs(room));
        }
        catch (Microsoft.Data.Sqlite.SqliteException e)
        {
            return "the ledger says: " + e.Message;
        }
    }

    private static async Task Until(ServiceProcess service, Func<bool> condition, string what)
    {
        var clock = Stopwatch.StartNew();
        while (true)
        {
            try
            {
                if (condition()) return;
            }
            catch (Exception e) when (e is IOException or Microsoft.Data.Sqlite.SqliteException)
            {
                // The disk that was made to fail fails us too; it is asked again.
            }

            if (!service.Lives) throw new TimeoutException($"the service ended while it was waited for that {what}: {string.Join(" ", service.Errors.Take(5))}");
            if (clock.Elapsed > Longest) throw new TimeoutException($"it did not come about within {Longest.TotalMinutes:0} minutes that {what}; {JobsOf(service.Room)}");
            await Task.Delay(200);
        }
    }
}
