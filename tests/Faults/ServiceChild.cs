using Microsoft.Extensions.Hosting;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Plugins;

namespace Stiltwright.Faults;

/// <summary>A service in a process of its own whose worker is a light stand-in.</summary>
internal static class ServiceChild
{
    /// <summary>The whole service as the program runs it, but for the worker.</summary>
    public static async Task<int> Run(string configuration, string share)
    {
        PluginCatalog? catalog = null;
        var config = ConfigReader.Read(configuration, _ => catalog = PluginCatalog.Load([Path.Combine(Path.GetDirectoryName(PrintRoom.Program)!, "plugins")]));
        foreach (var m in config.Mistakes) Console.Error.WriteLine(m);
        var worker = new WorkerCommand(Path.Combine(AppContext.BaseDirectory, "Stiltwright.FakeWorker"), ["busy"]);
        using var service = ServiceHost.Build(config, catalog!, share, new ServiceParts { Worker = worker });
        await service.RunAsync();
        return 0;
    }
}
