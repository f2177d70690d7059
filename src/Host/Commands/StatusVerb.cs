using System.CommandLine;
using System.Globalization;
using Stiltwright.Host.Jobs;

namespace Stiltwright.Host.Commands;

/// <summary>status: what the ledger says.</summary>
public static class StatusVerb
{
    private const int Shown = 20;

    /// <summary>The verb.</summary>
    public static Command Make()
    {
        var config = CommonOptions.Config();
        var verb = new Command("status", "Says whether a service runs, what it does, and what waits.") { config };
        verb.SetAction(parsed =>
        {
            var (read, _) = CommonOptions.Read(parsed.GetRequiredValue(config));
            var stateFolder = read.Host.State;
            if (!LedgerPlace.IsThere(read.Host))
            {
                Console.Out.WriteLine($"No service has run yet with the state folder {stateFolder}.");
                return ExitCode.Ready;
            }

            var ledger = LedgerPlace.Open(read.Host, TimeProvider.System);
            Console.Out.WriteLine(Runs(stateFolder) ? $"A service runs with the state folder {stateFolder}." : $"No service runs with the state folder {stateFolder}.");
            if (ledger.Store.Shared) Console.Out.WriteLine(ledger.Living() is { Count: > 0 } living ? $"Services that live, by {ledger.Store.Place}: {string.Join(", ", living)}." : $"No service lives, by {ledger.Store.Place}.");
            var open = ledger.InState(JobState.Running, JobState.Publishing, JobState.Queued, JobState.Waiting);
            foreach (var j in open) Console.Out.WriteLine($"  {j.State,-10} {j.Number,6}  {j.Folder}/{j.Source}{(j.Sentence is null ? "" : "  " + j.Sentence)}");
            if (open.Count == 0) Console.Out.WriteLine("  Nothing waits.");
            foreach (var j in ledger.InState(JobState.Done, JobState.Parked).OrderByDescending(j => j.Number).Take(Shown))
                Console.Out.WriteLine(string.Create(CultureInfo.InvariantCulture, $"  {(j.State == JobState.Parked ? "set aside" : j.Outcome),-10} {j.Number,6}  {j.Folder}/{j.Source}"));
            foreach (var m in ledger.UnsentMails()) Console.Out.WriteLine($"  mail       {m.Subject}: {m.Reason}");
            return ExitCode.Ready;
        });
        return verb;
    }

    private static bool Runs(string stateFolder)
    {
        try
        {
            using var taken = StateLock.Take(stateFolder);
            return false;
        }
        catch (IOException)
        {
            return true;
        }
    }
}
