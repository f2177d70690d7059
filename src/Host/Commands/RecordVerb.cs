using System.CommandLine;
using System.Globalization;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Commands;

/// <summary>record: what became of a print.</summary>
public static class RecordVerb
{
    /// <summary>The verb.</summary>
    public static Command Make()
    {
        var set = new Argument<string>("SET") { Description = "The set's folder, or its number." };
        var accepted = new Option<bool>("--accepted") { Description = "A person saw the check and lets it print." };
        var printed = new Option<bool>("--printed") { Description = "It printed well." };
        var failed = new Option<string?>("--failed") { Description = "It failed, and why.", HelpName = "REASON" };
        var piece = new Option<string?>("--piece") { Description = "Letter of the piece.", HelpName = "A" };
        var by = new Option<string?>("--by") { Description = "Who says so.", HelpName = "NAME" };
        var printer = new Option<string?>("--printer") { Description = "On which printer.", HelpName = "NAME" };
        var lot = new Option<string?>("--lot") { Description = "Lot of the resin.", HelpName = "LOT" };
        var config = CommonOptions.Config();
        var verb = new Command("record", "Records an outcome of a set: accepted, printed or failed.") { set, accepted, printed, failed, piece, by, printer, lot, config };
        verb.SetAction(parsed =>
        {
            string[] what = [.. new[] { parsed.GetValue(accepted) ? "accepted" : null, parsed.GetValue(printed) ? "printed" : null, parsed.GetValue(failed) is null ? null : "failed" }.OfType<string>()];
            if (what.Length != 1) return Wrong("Give exactly one of --accepted, --printed and --failed REASON.");
            var (read, _) = CommonOptions.Read(parsed.GetRequiredValue(config));
            var name = parsed.GetRequiredValue(set);
            var text = Directory.Exists(name) ? SetGlance.Read(name)?.Number : name;
            if (text is null) return Wrong($"{name} has no summary that can be read; name a set's folder or number.");
            if (!long.TryParse(text, NumberStyles.None, CultureInfo.InvariantCulture, out var number)) return Wrong($"\"{text}\" is no set of the service; only those have an entry in the ledger.");
            if (!LedgerPlace.IsThere(read.Host)) return Wrong($"There is no ledger in {read.Host.State}; name the service's configuration with --config.");
            var ledger = LedgerPlace.Open(read.Host, TimeProvider.System);
            if (ledger.ByNumber(number) is not { } job) return Wrong($"The ledger knows no set {number}.");
            ledger.Record(new OutcomeEntry(number, what[0], parsed.GetValue(failed), parsed.GetValue(piece)?.ToLowerInvariant(), parsed.GetValue(by), parsed.GetValue(printer), parsed.GetValue(lot)));
            Console.Out.WriteLine($"Set {number} ({job.Folder}/{job.Source}) is recorded as {what[0]}.");
            return ExitCode.Ready;
        });
        return verb;
    }

    private static int Wrong(string sentence)
    {
        Console.Error.WriteLine(sentence);
        return ExitCode.WrongUse;
    }
}
