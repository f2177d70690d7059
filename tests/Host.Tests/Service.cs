using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Hosting;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Tests;

/// <summary>The whole service with its real engine, on a real folder; only the worker is a stand-in.</summary>
internal sealed class Service : IAsyncDisposable
{
    private readonly IHost _host;

    private Service(IHost host) => _host = host;

    public Ledger Ledger => _host.Services.GetRequiredService<Ledger>();

    public Metrics.ServiceMeter Meter => _host.Services.GetRequiredService<Metrics.ServiceMeter>();

    public ServiceState State => _host.Services.GetRequiredService<ServiceState>();

    public static Task<Service> Start(Workshop room, params string[] worker) => Start(room, new ShareFiles(), worker);

    public static Task<Service> Start(Workshop room, ShareFiles files, params string[] worker) => Start(room, files, Workshop.Worker(worker));

    public static async Task<Service> Start(Workshop room, ShareFiles files, WorkerCommand worker, TimeProvider? time = null)
    {
        var host = ServiceHost.Build(room.Read(), Workshop.Catalog, room.Share, new ServiceParts { Worker = worker, ConsoleLog = false, Files = files, Time = time ?? TimeProvider.System });
        await host.StartAsync();
        return new Service(host);
    }

    public async Task Until(Func<Ledger, bool> condition)
    {
        // Generous: a machine that is busy with other tests must not make this one fail.
        for (var i = 0; i < 3600; i++)
        {
            if (condition(Ledger)) return;
            await Task.Delay(50);
        }

        var jobs = Ledger.Latest(State.ShareId, 10).Select(j => $"{j.Source} {j.State} {j.Outcome} {j.Sentence}");
        Assert.Fail("It did not happen within three minutes. " + string.Join("; ", jobs) + string.Join("; ", State.Notices.Values));
    }

    /// <summary>Lets a number of whole looks at the share go by.</summary>
    public async Task Sweeps(int count)
    {
        var sweeper = _host.Services.GetRequiredService<Watching.Sweeper>();
        var from = sweeper.Looks;
        for (var i = 0; i < 3600 && sweeper.Looks < from + count; i++) await Task.Delay(50);
        Assert.True(sweeper.Looks >= from + count, "the sweep stands still");
    }

    public async ValueTask DisposeAsync()
    {
        await _host.StopAsync();
        _host.Dispose();
    }
}
