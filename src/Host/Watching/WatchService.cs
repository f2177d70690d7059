using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging;
using Stiltwright.Host.Jobs;

namespace Stiltwright.Host.Watching;

/// <summary>Sweeps at its interval, and sooner when a change notification comes. Notifications may fail; sweeping does not.</summary>
public sealed class WatchService(ServiceState state, Sweeper sweeper, JobDesk desk, ILogger<WatchService> log) : BackgroundService
{
    private readonly SemaphoreSlim _wake = new(0, 1);
    private FileSystemWatcher? _watcher;

    /// <inheritdoc/>
    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        log.LogInformation("Serves {Share}: {Folders}", state.Share, string.Join(", ", state.Config.Recipes.Keys.Order(StringComparer.Ordinal)));
        await Recover(stoppingToken).ConfigureAwait(false);
        var pause = TimeSpan.FromSeconds(state.Config.Host.Watch.SweepS);
        while (!stoppingToken.IsCancellationRequested)
        {
            Listen();
            try
            {
                await sweeper.Sweep(stoppingToken).ConfigureAwait(false);
                // What is still arriving is looked at again soon enough to be taken when it has settled.
                var next = sweeper.Arriving.Count == 0 ? pause : TimeSpan.FromSeconds(Math.Min(pause.TotalSeconds, Math.Max(0.25, state.Config.Host.Watch.SettleS / 3)));
                if (await _wake.WaitAsync(next, stoppingToken).ConfigureAwait(false)) await Task.Delay(200, stoppingToken).ConfigureAwait(false);
            }
            catch (OperationCanceledException)
            {
                break;
            }
            catch (Exception e)
            {
                // The one loop that must never end: whatever it was is logged with its trace, and the next look comes.
                log.LogError(e, "A look at the share failed");
                await Task.Delay(pause, stoppingToken).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
            }
        }
    }

    /// <inheritdoc/>
    public override void Dispose()
    {
        _watcher?.Dispose();
        base.Dispose();
    }

    private async Task Recover(CancellationToken cancel)
    {
        try
        {
            await desk.RecoverAll(Directory.Exists(state.Share) ? state.Config.Recipes.Keys.Where(f => Directory.Exists(state.FolderPath(f))) : [], cancel).ConfigureAwait(false);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            log.LogWarning("What was begun before the start waits for the share: {Reason}", e.Message);
        }
    }

    private void Listen()
    {
        if (_watcher is { EnableRaisingEvents: true } || !Directory.Exists(state.Share)) return;
        _watcher?.Dispose();
        _watcher = null;
        try
        {
            var watcher = new FileSystemWatcher(state.Share) { IncludeSubdirectories = true, InternalBufferSize = 65536 };
            watcher.Created += Changed;
            watcher.Changed += Changed;
            watcher.Renamed += Changed;
            watcher.Deleted += Changed;
            // After an error the watcher is made anew at the next sweep; until then sweeping alone does the work.
            watcher.Error += (_, _) => watcher.EnableRaisingEvents = false;
            watcher.EnableRaisingEvents = true;
            _watcher = watcher;
        }
        catch (Exception e) when (e is IOException or ArgumentException or UnauthorizedAccessException)
        {
            log.LogInformation("No change notifications from {Share}: {Reason}", state.Share, e.Message);
        }
    }

    private void Changed(object sender, FileSystemEventArgs e)
    {
        // Our own writing must not wake us.
        var name = Path.GetFileName(e.Name ?? "");
        if (e.Name is null || e.Name.Contains(Publishing.SetPlace.OwnFolder, StringComparison.Ordinal) || e.Name.Contains(Publishing.SetPlace.Ending, StringComparison.OrdinalIgnoreCase) || name.StartsWith("board.html", StringComparison.Ordinal) || SourceNames.IsPassedOver(name)) return;
        try
        {
            if (_wake.CurrentCount == 0) _wake.Release();
        }
        catch (SemaphoreFullException)
        {
            // Two notifications at once: one look serves both.
        }
    }
}
