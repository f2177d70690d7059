using System.Collections.Concurrent;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Plugins;

namespace Stiltwright.Host.Jobs;

/// <summary>What the running service knows and shares between sweep, jobs, board and mail.</summary>
public sealed class ServiceState(Config config, PluginCatalog catalog, string share)
{
    /// <summary>The configuration.</summary>
    public Config Config { get; } = config;

    /// <summary>The stages.</summary>
    public PluginCatalog Catalog { get; } = catalog;

    /// <summary>The share, absolute.</summary>
    public string Share { get; } = share;

    /// <summary>The share's id, once it was read.</summary>
    public string ShareId { get; set; } = "";

    /// <summary>Runs going on, named "job-fence", with how far they are.</summary>
    public ConcurrentDictionary<string, WorkerLine> Runs { get; } = new(StringComparer.Ordinal);

    /// <summary>One publish at a time in each drop folder.</summary>
    public ConcurrentDictionary<string, SemaphoreSlim> FolderLocks { get; } = new(StringComparer.OrdinalIgnoreCase);

    /// <summary>Sentences about the service itself, by what they are about.</summary>
    public ConcurrentDictionary<string, string> Notices { get; } = new(StringComparer.Ordinal);

    /// <summary>Called when the board should be written anew.</summary>
    public Action BoardChanged { get; set; } = () => { };

    /// <summary>Path of a drop folder.</summary>
    public string FolderPath(string folder) => Path.Combine(Share, folder);

    /// <summary>Local folder of a run.</summary>
    public string Scratch(string job, long fence) => Path.Combine(Config.Host.State, "scratch", $"{job}-{fence}");

    /// <summary>True for a source that waits in the queue of large jobs.</summary>
    public bool IsLarge(long bytes) => bytes >= Config.Host.Worker.LargeFromMiB * 1048576;
}
