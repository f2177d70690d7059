using System.CommandLine;

namespace Stiltwright.Host.Commands;

/// <summary>Runs a verb: wrong use is exit code 2, what keeps it from running is a sentence and exit code 1.</summary>
public static class CommandRunner
{
    /// <summary>Runs.</summary>
    public static async Task<int> Run(RootCommand root, string[] args)
    {
        var parsed = root.Parse(args);
        if (args.Length == 0) parsed = root.Parse(["--help"]);
        else if (parsed.Errors.Count > 0)
        {
            foreach (var e in parsed.Errors) Console.Error.WriteLine(e.Message);
            Console.Error.WriteLine("See --help.");
            return ExitCode.WrongUse;
        }

        try
        {
            var code = await parsed.InvokeAsync(new InvocationConfiguration { EnableDefaultExceptionHandler = false }).ConfigureAwait(false);
            return args.Length == 0 ? ExitCode.WrongUse : code;
        }
        catch (OperationCanceledException)
        {
            Console.Error.WriteLine("Stopped before it was done.");
            return ExitCode.Kept;
        }
        catch (System.Data.Common.DbException e)
        {
            Console.Error.WriteLine($"The ledger cannot be read or written: {e.Message} Look at the disk of the state folder (room, rights), or at the database that \"ledger\" in stiltwright.json names, then start again.");
            return ExitCode.Kept;
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or InvalidDataException or InvalidOperationException)
        {
            Console.Error.WriteLine(e.Message);
            return ExitCode.Kept;
        }
    }
}
