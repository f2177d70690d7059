using System.Globalization;
using Dapper;
using Microsoft.Data.Sqlite;

namespace Stiltwright.Faults;

/// <summary>The states of a job in which a kill may fall, told from what lies on the disks.</summary>
internal static class KillStates
{
    public const string Queued = "queued";
    public const string Copying = "copying the source";
    public const string Starting = "starting the worker";
    public const string CopyingOut = "copying out";
    public const string Renames = "around the two renames";
    public const string Mailing = "mailing";

    /// <summary>The real stages, in the order of the recipe, and the audit, pictures and writing after them.</summary>
    public static readonly IReadOnlyList<string> Stages = ["inspect", "rescale", "shell", "drain-hole", "strut-thin", "estimate", "writing"];

    /// <summary>All of them, in the order in which a job goes through them.</summary>
    public static readonly IReadOnlyList<string> All = [Queued, Copying, Starting, .. Stages, CopyingOut, Renames, Mailing];

    /// <summary>The run whose worker works in that scratch folder: copying, starting, or the stage it is in.</summary>
    public static string OfRun(string scratch)
    {
        for (var i = Stages.Count - 1; i >= 0; i--)
            if (File.Exists(Path.Combine(scratch, "in-" + Stages[i]))) return Stages[i];
        return File.Exists(Path.Combine(scratch, "order.json")) ? Starting : Copying;
    }

    /// <summary>True if a running service has a job in that state now, as far as its files and its ledger tell.</summary>
    public static bool IsThere(PrintRoom room, string state) => state switch
    {
        Queued => AfterKill(room).Contains(Queued),
        CopyingOut => Making(room).Any(m => !File.Exists(m + ".intent.json")),
        Renames => room.Drops.Any(d => Files(Path.Combine(d, ".stiltwright", "making"), "*.intent.json").Length > 0),
        Copying or Starting => Runs(room).Any(r => OfRun(r) == state),
        _ => Runs(room).Any(r => Stages.Contains(state) && OfRun(r) == state),
    };

    /// <summary>The state of each unfinished job and mail after the service was killed and before it is started again.</summary>
    public static IReadOnlyList<string> AfterKill(PrintRoom room)
    {
        return ServiceProcess.Ask(room, db => States(room, db)) ?? [];
    }

    private static List<string> States(PrintRoom room, SqliteConnection db)
    {
        var states = new List<string>();
        foreach (var (id, fence, folder, state) in db.Query<(string, long, string, string)>("SELECT id, fence, folder, state FROM ledger_jobs WHERE state IN ('queued', 'waiting', 'running', 'publishing')"))
        {
            var name = id + "-" + fence.ToString(CultureInfo.InvariantCulture);
            var making = Path.Combine(room.Share, folder, ".stiltwright", "making", name);
            states.Add(state is "queued" or "waiting" ? Queued
                : state == "running" ? OfRun(Path.Combine(room.State, "scratch", name))
                : File.Exists(making + ".intent.json") ? Renames : CopyingOut);
        }

        states.AddRange(Enumerable.Repeat(Mailing, (int)db.ExecuteScalar<long>("SELECT COUNT(*) FROM ledger_mails WHERE state = 'waiting'")));
        return states;
    }

    /// <summary>Message ids of the mails of which the service does not know that they were sent.</summary>
    public static IReadOnlyList<string> MailsNotNoted(PrintRoom room) =>
        ServiceProcess.Ask(room, db => db.Query<byte[]>("SELECT bytes FROM ledger_mails WHERE state <> 'sent'").Select(MessageId).ToList()) ?? [];

    /// <summary>The id in a message's head.</summary>
    public static string MessageId(byte[] message)
    {
        using var bytes = new MemoryStream(message);
        return MimeKit.MimeMessage.Load(bytes, CancellationToken.None).MessageId ?? "";
    }

    /// <summary>Scratch folders of runs.</summary>
    public static string[] Runs(PrintRoom room) => Folders(Path.Combine(room.State, "scratch"));

    private static IEnumerable<string> Making(PrintRoom room) =>
        room.Drops.SelectMany(d => Folders(Path.Combine(d, ".stiltwright", "making"))).Where(m => !Path.GetFileName(m).StartsWith('.'));

    private static string[] Folders(string folder) => Listed(folder, Directory.GetDirectories);

    private static string[] Files(string folder, string pattern) => Listed(folder, f => Directory.GetFiles(f, pattern));

    private static string[] Listed(string folder, Func<string, string[]> list)
    {
        try
        {
            return Directory.Exists(folder) ? list(folder) : [];
        }
        catch (DirectoryNotFoundException)
        {
            return []; // It went while we looked.
        }
    }
}
