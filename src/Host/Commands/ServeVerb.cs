using System.CommandLine;
using Microsoft.Extensions.Hosting;
using Stiltwright.Host.Jobs;

namespace Stiltwright.Host.Commands;

/// <summary>serve: the service.</summary>
public static class ServeVerb
{
    /// <summary>The verb.</summary>
    public static Command Make()
    {
        var share = CommonOptions.Share();
        var config = CommonOptions.Config();
        var verb = new Command("serve", "Serves the drop folders of a share until it is stopped.") { share, config };
        verb.SetAction(async (parsed, cancel) =>
        {
            var (read, catalog) = CommonOptions.Read(parsed.GetRequiredValue(config));
            var folder = parsed.GetValue(share) ?? read.Host.Share;
            if (folder is null)
            {
                Console.Error.WriteLine("No share is named; give --share DIR, or \"share\" in stiltwright.json.");
                return ExitCode.WrongUse;
            }

            if (read.Mistakes.Count > 0)
            {
                // A service that starts with half a configuration would let files lie without a word.
                CommonOptions.Print(read.Mistakes, Console.Error);
                return ExitCode.Kept;
            }

            using var host = ServiceHost.Build(read, catalog, folder);
            await host.RunAsync(cancel);
            return ExitCode.Ready;
        });
        return verb;
    }
}
