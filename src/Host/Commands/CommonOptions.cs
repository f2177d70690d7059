using System.CommandLine;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Plugins;

namespace Stiltwright.Host.Commands;

/// <summary>Options that several verbs take, made anew for each.</summary>
public static class CommonOptions
{
    /// <summary>The configuration that comes with the program.</summary>
    public static string DefaultConfig => Path.Combine(AppContext.BaseDirectory, "config");

    /// <summary>--config DIR.</summary>
    public static Option<string> Config() => new("--config")
    {
        Description = "Configuration folder. Default: the one beside the program.",
        HelpName = "DIR",
        DefaultValueFactory = _ => DefaultConfig,
    };

    /// <summary>--share DIR.</summary>
    public static Option<string?> Share() => new("--share") { Description = "Folder that holds the drop folders.", HelpName = "DIR" };

    /// <summary>Reads the configuration and loads the stages.</summary>
    public static (Config Config, PluginCatalog Catalog) Read(string folder)
    {
        PluginCatalog? catalog = null;
        var config = ConfigReader.Read(folder, host => catalog = PluginCatalog.Load(host.AllPluginFolders, host.AllowedPlugins));
        return (config, catalog ?? new PluginCatalog([]));
    }

    /// <summary>Prints mistakes, one a line, and how many they are.</summary>
    public static void Print(IReadOnlyList<Mistake> mistakes, TextWriter to)
    {
        foreach (var m in mistakes) to.WriteLine(m);
        if (mistakes.Count > 1) to.WriteLine($"{mistakes.Count} mistakes.");
    }
}
