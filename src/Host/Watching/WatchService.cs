using System.Data.Common;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Hosting.Systemd;
using Microsoft.Extensions.Logging;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using ServiceState = Stiltwright.Host.Jobs.ServiceState;

namespace Stiltwright.Host.Watching;

/// <summary>Sweeps at its interval, and sooner when a change notification comes. Notifications may fail; sweeping does not.</summary>
public sealed class WatchService(ServiceState state, Ledger ledger, Sweeper sweeper, ConfigWatch configuration, Upkeep upkeep, Mail.Outbox outbox, TimeProvider time, ILogger<WatchService> log, ISystemdNotifier? systemd = null) : BackgroundService
{
    private const string LedgerNotice = "ledger";
    private static readonly TimeSpan Hangs = TimeSpan.FromMinutes(15);

    // A timer may be early by its own grain; the look must find the file settled.
    private static readonly TimeSpan Breath = TimeSpan.FromMilliseconds(20);

    private readonly SemaphoreSlim _wake = new(0, 1);
    private FileSystemWatcher? _watcher;
    private readonly Lock _telling = new();
    private HashSet<string> _touched = new(StringComparer.Ordinal);
    private bool _lostSome;

    /// <inheritdoc/>
    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        log.LogInformation("Serves {Share}: {Folders}", state.Share, string.Join(", ", state.Config.Recipes.Keys.Order(StringComparer.Ordinal)));
        using var alive = WatchdogTimer();
        while (!stoppingToken.IsCancellationRequested)
        {
            var pause = TimeSpan.FromSeconds(state.Config.Host.Watch.SweepS);
            Listen();
            try
            {
                if (configuration.Look()) await outbox.TryAll().ConfigureAwait(false);
                await LookAtTold(stoppingToken).ConfigureAwait(false);
                if (state.Notices.TryRemove(LedgerNotice, out _))
                {
                    log.LogInformation("The ledger can be used again");
                    state.BoardChanged();
                }

                // What is still arriving is looked at again soon enough to be taken when it has settled: only its folder is
                // looked into, so that a large share does not hold it up.
                var next = sweeper.Arriving.Count == 0 ? pause : TimeSpan.FromSeconds(Math.Min(pause.TotalSeconds, Math.Clamp(state.Config.Host.Watch.SettleS / 3, 0.25, 1)));
                if (sweeper.NextSettles is { } settles && settles < next) next = settles + Breath;
                if (await _wake.WaitAsync(next, stoppingToken).ConfigureAwait(false)) await Task.Delay(200, stoppingToken).ConfigureAwait(false);
            }
            catch (OperationCanceledException)
            {
                break;
            }
            catch (DbException e)
            {
                // Said once, and on the board for as long as it lasts: the share is there, only this machine cannot work.
                var reason = $"The ledger ({ledger.Store.Place}) cannot be used: {e.Message} Nothing new is begun until it can; look at its disk (room, rights, faults) or its server.";
                if (!state.Notices.TryGetValue(LedgerNotice, out var said) || said != reason) log.LogError("{Reason}", reason);
                state.Notices[LedgerNotice] = reason;
                state.BoardChanged();
                await Task.Delay(pause, stoppingToken).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
            }
            catch (Exception e)
            {
                // The one loop that must never end: whatever it was is logged with its trace, and the next look comes.
                log.LogError(e, "A look at the share failed");
                await Task.Delay(pause, stoppingToken).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
            }
        }

        // A set that is being published when the service stops is finished, or waits in scratch.
        await upkeep.Settled.WaitAsync(TimeSpan.FromSeconds(20), CancellationToken.None).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
    }

    /// <inheritdoc/>
    public override void Dispose()
    {
        _watcher?.Dispose();
        base.Dispose();
    }

    /// <summary>Tells systemd's watchdog that looking goes on; a look that hangs (a dead share in the kernel) lets it act.</summary>
    private ITimer? WatchdogTimer()
    {
        if (systemd is not { IsEnabled: true } || !long.TryParse(Environment.GetEnvironmentVariable("WATCHDOG_USEC"), out var microseconds) || microseconds <= 0) return null;
        var every = TimeSpan.FromMicroseconds(microseconds / 3.0);
        return time.CreateTimer(_ =>
        {
            if (time.GetElapsedTime(sweeper.LastStep) < Hangs) systemd.Notify(new Microsoft.Extensions.Hosting.Systemd.ServiceState("WATCHDOG=1"));
        }, null, every, every);
    }

    private void Listen()
    {
        var wanted = state.Config.Host.Watch.Notifications;
        if ((wanted && _watcher is { EnableRaisingEvents: true }) || (!wanted && _watcher is null) || !Directory.Exists(state.Share)) return;
        _watcher?.Dispose();
        _watcher = null;
        if (!wanted) return;
        try
        {
            var watcher = new FileSystemWatcher(state.Share) { IncludeSubdirectories = true, InternalBufferSize = 65536 };
            watcher.Created += Changed;
            watcher.Changed += Changed;
            watcher.Renamed += Changed;
            watcher.Deleted += Changed;
            // After an error the watcher is made anew at the next sweep, which looks at everything; until then sweeping alone
            // does the work.
            watcher.Error += (_, _) =>
            {
                watcher.EnableRaisingEvents = false;
                lock (_telling) _lostSome = true;
            };
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
        if (!Tell(e.Name) & !(e is RenamedEventArgs renamed && Tell(renamed.OldName))) return;
        try
        {
            if (_wake.CurrentCount == 0) _wake.Release();
        }
        catch (SemaphoreFullException)
        {
            // Two notifications at once: one look serves both.
        }
    }

    /// <summary>Notes the drop folder in which something changed; false for our own writing, which must not wake us.</summary>
    private bool Tell(string? path)
    {
        var name = Path.GetFileName(path ?? "");
        if (path is null || path.Contains(Publishing.SetPlace.OwnFolder, StringComparison.Ordinal) || path.Contains(Publishing.SetPlace.Ending, StringComparison.OrdinalIgnoreCase) || name.StartsWith("board.html", StringComparison.Ordinal) || SourceNames.IsPassedOver(name)) return false;
        lock (_telling) _touched.Add(path.Split(Path.DirectorySeparatorChar, 2)[0]);
        return true;
    }

    /// <summary>Looks, into what notifications told of above all; where the look fails, that is kept for the next.</summary>
    private async Task LookAtTold(CancellationToken cancel)
    {
        var (lostSome, touched) = TakeTold();
        var looked = false;
        try
        {
            looked = await sweeper.Sweep(lostSome, cancel, touched).ConfigureAwait(false);
        }
        finally
        {
            if (!looked)
            {
                lock (_telling)
                {
                    _lostSome |= lostSome;
                    _touched.UnionWith(touched);
                }
            }
        }
    }

    private (bool LostSome, IReadOnlySet<string> Touched) TakeTold()
    {
        lock (_telling)
        {
            var told = (_lostSome, _touched);
            (_lostSome, _touched) = (false, new HashSet<string>(StringComparer.Ordinal));
            return told;
        }
    }
}
