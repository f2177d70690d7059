using System.Data.Common;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging;

namespace Stiltwright.Host.Jobs;

/// <summary>
/// Where several services share a ledger: gives a sign of life and looks for services that stopped giving theirs, however
/// long a look at the share takes meanwhile.
/// </summary>
public sealed class Pulse(Ledger ledger, Upkeep upkeep, TimeProvider time, ILogger<Pulse> log) : BackgroundService
{
    private bool _lost;

    /// <inheritdoc/>
    public override async Task StopAsync(CancellationToken cancellationToken)
    {
        await base.StopAsync(cancellationToken).ConfigureAwait(false);
        try
        {
            ledger.EndBeat();
        }
        catch (DbException e)
        {
            log.LogWarning("The ledger could not be told that this service ends; others take its jobs over {Seconds} s from now: {Reason}", PostgresStore.Lease.TotalSeconds, e.Message);
        }
    }

    /// <inheritdoc/>
    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        if (!ledger.Store.Shared) return;
        using var timer = new PeriodicTimer(PostgresStore.Pulse, time);
        try
        {
            while (await timer.WaitForNextTickAsync(stoppingToken).ConfigureAwait(false)) await Beat(stoppingToken).ConfigureAwait(false);
        }
        catch (OperationCanceledException) when (stoppingToken.IsCancellationRequested)
        {
            // The service ends.
        }
    }

    private async Task Beat(CancellationToken cancel)
    {
        try
        {
            await upkeep.TakeUp(cancel).ConfigureAwait(false);
            if (_lost) log.LogInformation("The ledger is there again");
            _lost = false;
        }
        catch (Exception e) when (e is DbException or IOException or UnauthorizedAccessException)
        {
            // Said once; the next beat tries again.
            if (!_lost) log.LogError("No sign of life could be given, or a job not be taken over: {Reason}", e.Message);
            _lost = true;
        }
    }
}
