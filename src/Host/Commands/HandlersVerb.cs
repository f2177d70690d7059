using System.CommandLine;
using JasperFx;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Plugins;

namespace Stiltwright.Host.Commands;

/// <summary>write-handlers: makes the engine's handlers anew (developers only; DEVELOPERS.md).</summary>
public static class HandlersVerb
{
    /// <summary>The verb.</summary>
    public static Command Make()
    {
        var state = new Argument<string>("STATE") { Description = "An empty folder for the state of this one run." };
        var verb = new Command("write-handlers", "Writes the engine's handlers into STILTWRIGHT_HANDLERS_TO.") { state };
        verb.Hidden = true;
        verb.SetAction(async (parsed, _) =>
        {
            var config = new Config("", new HostSettings { State = Path.GetFullPath(parsed.GetRequiredValue(state)) }, new Dictionary<string, Recipe>(), []);
            using var host = ServiceHost.Build(config, new PluginCatalog([]), config.Host.State);
            return await host.RunJasperFxCommands(["codegen", "write"]);
        });
        return verb;
    }
}
