using System.Diagnostics;
using System.Text;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Faults;

/// <summary>
/// Disks that say no, on real file systems of a few MiB: full, read-only, a right lost, a rename refused, full in the midst
/// of the work. The service goes on, nothing stands half, what is in the way is said, and once it is mended everything is done.
/// </summary>
internal static class DiskPart
{
    private const string Drop = "enlarge-200";
    private static readonly TimeSpan Longest = TimeSpan.FromMinutes(5);

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
        };
        await Task.WhenAll(all.Select(async scene =>
        {
            var clock = Stopwatch.StartNew();
            var before = faults.Count;
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
        await Task.Delay(TimeSpan.FromSeconds(15)); // nothing can be noted now; it only must live through it
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
            if (clock.Elapsed > Longest) throw new TimeoutException($"it did not come about within {Longest.TotalMinutes:0} minutes that {what}; {string.Join("; ", ServiceProcess.Jobs(service.Room))}");
            await Task.Delay(200);
        }
    }
}
