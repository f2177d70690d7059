using System.Data.Common;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging;

namespace Stiltwright.Host.Jobs;

/// <summary>
/// Where several services share a ledger: gives a sign of life and looks for services that stopped giving theirs, however
/// long a look at the share takes meanwhile. On a thread of its own: where all others wait for a share or for the database,
/// a service that lives must not be taken for dead.
/// </summary>
public sealed class Pulse(Ledger ledger, Upkeep upkeep, TimeProvider time, ILogger<Pulse> log) : BackgroundService
{
    private bool _lost;
    private Task _takingUp = Task.CompletedTask;

    /// <inheritdoc/>
    public override async Task StopAsync(CancellationToken cancellationToken)
    {
        await base.StopAsync(cancellationToken).ConfigureAwait(false);
        await _takingUp.WaitAsync(TimeSpan.FromSeconds(5), time, CancellationToken.None).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
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
    public override Task StartAsync(CancellationToken cancellationToken)
    {
        if (ledger.Store.Shared) ledger.ReleaseMails();
        return base.StartAsync(cancellationToken);
    }

    /// <inheritdoc/>
    protected override Task ExecuteAsync(CancellationToken stoppingToken)
    {
        if (!ledger.Store.Shared) return Task.CompletedTask;
        var ended = new TaskCompletionSource(TaskCreationOptions.RunContinuationsAsynchronously);
        var thread = new Thread(() =>
        {
            while (!stoppingToken.WaitHandle.WaitOne(PostgresStore.Pulse)) Beat(stoppingToken);
            ended.SetResult();
        })
        {
            IsBackground = true,
            Name = "signs of life",
        };
        thread.Start();
        return ended.Task;
    }

    private void Beat(CancellationToken cancel)
    {
        try
        {
            ledger.Beat();
            if (_lost) log.LogInformation("The ledger is there again");
            _lost = false;
        }
        catch (Exception e)
        {
            // Whatever it was, the next beat must come. Said once.
            if (!_lost) log.LogError("No sign of life could be given: {Reason}", e.Message);
            _lost = true;
            return;
        }

        // Taking over may have to wait for a share; signs of life must not.
        if (_takingUp.IsCompleted) _takingUp = Task.Run(() => TakeUp(cancel), CancellationToken.None);
    }

    private async Task TakeUp(CancellationToken cancel)
    {
        try
        {
            await upkeep.TakeUp(cancel).ConfigureAwait(false);
        }
        catch (OperationCanceledException) when (cancel.IsCancellationRequested)
        {
            // The service ends; another takes up what it had.
        }
        catch (Exception e) when (e is DbException or IOException or UnauthorizedAccessException)
        {
            log.LogWarning("A job could not be taken over yet: {Reason}", e.Message);
        }
        catch (Exception e)
        {
            // Nobody awaits this task before the end: it is logged here, and the next beat tries again.
            log.LogError(e, "Jobs could not be taken over");
        }
    }
}
