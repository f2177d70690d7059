using Microsoft.Extensions.Logging;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Plugins;

namespace Stiltwright.Host.Configuration;

/// <summary>
/// Takes over a changed configuration, or changed stages, without a restart. A configuration with a mistake changes nothing:
/// the last good one goes on, and the board says so with every mistake.
/// </summary>
public sealed class ConfigWatch(ServiceState state, ILogger<ConfigWatch> log)
{
    private const string About = "configuration";
    private string _taken = StampOf(state.Config);
    private string _seen = "";

    /// <summary>Looks whether anything changed, and takes it over once it has stood still for one look. True if it did.</summary>
    public bool Look()
    {
        // A service that a program put together by hand has no folder to look at.
        if (!Directory.Exists(state.Config.Folder)) return false;
        var stamp = StampOf(state.Config);
        if (stamp == _taken) return false;
        if (stamp != _seen)
        {
            _seen = stamp; // Somebody may still be writing.
            return false;
        }

        _taken = stamp;
        return Take();
    }

    private bool Take()
    {
        PluginCatalog? catalog = null;
        var read = ConfigReader.Read(state.Config.Folder, host => catalog = PluginCatalog.Load(host.AllPluginFolders, host.AllowedPlugins));
        if (read.Mistakes.Count > 0)
        {
            state.Notices[About] = $"The configuration was changed and has mistakes; the last good one goes on until they are mended. {string.Join(" ", read.Mistakes.Take(5))}{(read.Mistakes.Count > 5 ? $" And {read.Mistakes.Count - 5} more; \"stiltwright check\" says all." : "")}";
            log.LogError("The changed configuration has {Count} mistakes; the last good one goes on. The first: {Mistake}", read.Mistakes.Count, read.Mistakes[0]);
            state.BoardChanged();
            return false;
        }

        // What a running service holds open stays as it was at the start.
        var host = read.Host with { State = state.Config.Host.State, Share = state.Config.Host.Share };
        var needsStart = state.Config.Host.Worker.Parallel != host.Worker.Parallel || state.Config.Host.Worker.TotalMiB != host.Worker.TotalMiB || state.Config.Host.Log != host.Log || state.Config.Host.Ledger != host.Ledger;
        state.Adopt(read with { Host = host }, catalog!);
        state.Notices.TryRemove(About, out _);
        if (needsStart) state.Notices[About] = "The changed configuration is in use, but ledger, worker.parallel, worker.totalMiB and log are only read at a start: start the service again when it suits.";
        log.LogInformation("The changed configuration is in use: {Folders}", string.Join(", ", read.Recipes.Keys.Order(StringComparer.Ordinal)));
        state.BoardChanged();
        return true;
    }

    /// <summary>Names, times and sizes of all that a configuration is made of.</summary>
    private static string StampOf(Config config)
    {
        var parts = new List<string>();
        foreach (var folder in (string[])[config.Folder, .. config.Host.PluginFolders, HostSettings.OwnPlugins])
        {
            try
            {
                var found = new DirectoryInfo(folder);
                if (!found.Exists) continue;
                foreach (var f in found.EnumerateFiles("*", SearchOption.AllDirectories))
                    if (f.Extension is ".json" or ".dll") parts.Add($"{f.FullName}|{f.LastWriteTimeUtc.Ticks}|{f.Length}");
            }
            catch (Exception e) when (e is IOException or UnauthorizedAccessException)
            {
                parts.Add(e.Message); // What cannot be read now is looked at again next time.
            }
        }

        parts.Sort(StringComparer.Ordinal);
        return string.Join('\n', parts);
    }
}
