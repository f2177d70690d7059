using System.Collections.Concurrent;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Plugins;

namespace Stiltwright.Host.Jobs;

/// <summary>What the running service knows and shares between sweep, jobs, board and mail.</summary>
public sealed class ServiceState(Config config, PluginCatalog catalog, string share)
{
    private volatile Tuple<Config, PluginCatalog> _now = Tuple.Create(config, catalog);

    /// <summary>The configuration as last read without a mistake.</summary>
    public Config Config => _now.Item1;

    /// <summary>The stages.</summary>
    public PluginCatalog Catalog => _now.Item2;

    /// <summary>State folder, as at the start: it does not change while the service runs.</summary>
    public string StateFolder { get; } = config.Host.State;

    /// <summary>The share, absolute.</summary>
    public string Share { get; } = share;

    /// <summary>The share's id, once it was read; empty while the share is not to be trusted.</summary>
    public string ShareId { get; set; } = "";

    /// <summary>Runs going on, named "job-fence", with how far they are.</summary>
    public ConcurrentDictionary<string, WorkerLine> Runs { get; } = new(StringComparer.Ordinal);

    /// <summary>One publish at a time in each drop folder.</summary>
    public ConcurrentDictionary<string, SemaphoreSlim> FolderLocks { get; } = new(StringComparer.OrdinalIgnoreCase);

    /// <summary>Sentences about the service itself, by what they are about.</summary>
    public ConcurrentDictionary<string, string> Notices { get; } = new(StringComparer.Ordinal);

    /// <summary>Called when the board should be written anew.</summary>
    public Action BoardChanged { get; set; } = () => { };

    private int _lookAnew;

    /// <summary>Asks the next sweep to forget what it knows of files: one whose job came to nothing is to be looked at again.</summary>
    public void LookAnew() => Interlocked.Exchange(ref _lookAnew, 1);

    /// <summary>True once after each <see cref="LookAnew"/>.</summary>
    public bool TakeLookAnew() => Interlocked.Exchange(ref _lookAnew, 0) == 1;

    /// <summary>Puts a configuration that was read without a mistake in the place of the present one.</summary>
    public void Adopt(Config config, PluginCatalog catalog) => _now = Tuple.Create(config, catalog);

    /// <summary>Path of a drop folder.</summary>
    public string FolderPath(string folder) => Path.Combine(Share, folder);

    /// <summary>Local folder of a run.</summary>
    public string Scratch(string job, long fence) => Path.Combine(ScratchRoot, $"{job}-{fence}");

    /// <summary>Folder of all runs' folders.</summary>
    public string ScratchRoot => Path.Combine(StateFolder, "scratch");

    /// <summary>True for a source that waits in the queue of large jobs.</summary>
    public bool IsLarge(long bytes) => bytes >= LargeFromBytes;

    /// <summary>Size from which on a source is large.</summary>
    public long LargeFromBytes => (long)Math.Ceiling(Config.Host.Worker.LargeFromMiB * 1048576.0);
}
