using JasperFx.Resources;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging;
using Serilog;
using Serilog.Events;
using Stiltwright.Host.Board;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Mail;
using Stiltwright.Host.Metrics;
using Stiltwright.Host.Plugins;
using Stiltwright.Host.Publishing;
using Stiltwright.Host.Watching;
using Wolverine;

namespace Stiltwright.Host.Jobs;

/// <summary>What a caller may put in the service's place of the usual.</summary>
public sealed record ServiceParts
{
    /// <summary>Clock.</summary>
    public TimeProvider Time { get; init; } = TimeProvider.System;

    /// <summary>Command that starts a worker.</summary>
    public WorkerCommand? Worker { get; init; }

    /// <summary>Sender of mails.</summary>
    public IMailSender? Sender { get; init; }

    /// <summary>How the share is written to.</summary>
    public ShareFiles? Files { get; init; }

    /// <summary>False where nothing is to be logged on the console.</summary>
    public bool ConsoleLog { get; init; } = true;
}

/// <summary>Puts the service together: engine, ledger, sweep, jobs, mail, board, logs.</summary>
public static class ServiceHost
{
    /// <summary>Builds the service. The state folder is locked until it is disposed of.</summary>
    /// <exception cref="IOException">Another service has the state folder, or its disk takes nothing.</exception>
    public static IHost Build(Config config, PluginCatalog catalog, string share, ServiceParts? parts = null)
    {
        parts ??= new ServiceParts();
        share = Path.GetFullPath(share);
        var host = config.Host;
        Directory.CreateDirectory(host.State);
        var stateLock = StateLock.Take(host.State);
        try
        {
            var builder = Microsoft.Extensions.Hosting.Host.CreateEmptyApplicationBuilder(new HostApplicationBuilderSettings { ApplicationName = "stiltwright", ContentRootPath = AppContext.BaseDirectory });
            var services = builder.Services;
            services.AddSerilog(Logger(host, parts.ConsoleLog), dispose: true);
            services.AddSystemd();
            services.AddWindowsService(o => o.ServiceName = "Stiltwright");
            // A stop waits for the job in hand only so long; then it is put back into the queue.
            services.Configure<HostOptions>(o => o.ShutdownTimeout = TimeSpan.FromSeconds(30));

            var state = new ServiceState(config, catalog, share);
            foreach (var m in config.Mistakes) state.Notices[m.ToString()] = m.ToString();
            var ledger = LedgerPlace.Open(host, parts.Time);
            services.AddHostedService(_ => stateLock); // made first, disposed of last
            services.AddSingleton(parts.Time);
            services.AddSingleton(state);
            services.AddSingleton(ledger);
            services.AddSingleton<IQueue>(s => new EngineQueue(new Wolverine.Runtime.MessageBus(s.GetRequiredService<Wolverine.Runtime.IWolverineRuntime>())));
            Func<MailSettings> mail = () => state.Config.Host.Mail;
            services.AddSingleton(parts.Worker ?? WorkerCommand.OfThisProgram());
            services.AddSingleton(parts.Files ?? new ShareFiles());
            services.AddSingleton(new MemoryBudget(host.Worker.TotalMiB > 0 ? host.Worker.TotalMiB : MemoryBudget.OfThisMachine));
            services.AddSingleton(new MailWriter(mail, share, parts.Time));
            services.AddSingleton(parts.Sender ?? new SmtpSender(mail));
            services.AddSingleton(s => new Outbox(ledger, s.GetRequiredService<IQueue>(), s.GetRequiredService<IMailSender>(), s.GetRequiredService<MailWriter>(), mail, parts.Time, Path.Combine(host.State, "outbox"), s.GetRequiredService<ILogger<Outbox>>()));
            services.AddSingleton<ServiceMeter>();
            services.AddSingleton<MetricsFile>();
            services.AddSingleton<PublishDesk>();
            services.AddSingleton<JobDesk>();
            services.AddSingleton<Retention>();
            services.AddSingleton<Upkeep>();
            services.AddSingleton<ConfigWatch>();
            services.AddSingleton<Sweeper>();
            services.AddSingleton<BoardWriter>();
            services.AddHostedService<Pulse>(); // before the engine, so that it stops after it: as long as a job is in hand, this service lives
            builder.UseWolverine(o => Engine.Set(o, ledger.Store, host.Worker));
            services.AddResourceSetupOnStartup();
            services.AddHostedService(s => s.GetRequiredService<BoardWriter>());
            services.AddHostedService<WatchService>();
            services.AddHostedService(s => s.GetRequiredService<MetricsFile>());
            return builder.Build();
        }
        catch
        {
            stateLock.Dispose();
            throw;
        }
    }

    private static Serilog.Core.Logger Logger(HostSettings host, bool console)
    {
        var level = host.Log.Level switch { "debug" => LogEventLevel.Debug, "warning" => LogEventLevel.Warning, "error" => LogEventLevel.Error, _ => LogEventLevel.Information };
        var c = new LoggerConfiguration()
            .MinimumLevel.Is(level)
            .MinimumLevel.Override("Wolverine", LogEventLevel.Warning)
            .MinimumLevel.Override("JasperFx", LogEventLevel.Warning)
            .MinimumLevel.Override("Microsoft", LogEventLevel.Warning)
            .MinimumLevel.Override("Polly", LogEventLevel.Error)
            .WriteTo.File(Path.Combine(host.State, "logs", "stiltwright-.log"), rollingInterval: RollingInterval.Day, retainedFileCountLimit: host.Log.KeepDays,
                fileSizeLimitBytes: 64 << 20, rollOnFileSizeLimit: true, formatProvider: System.Globalization.CultureInfo.InvariantCulture);
        if (console)
            c = c.WriteTo.Console(formatProvider: System.Globalization.CultureInfo.InvariantCulture, outputTemplate: "{Timestamp:HH:mm:ss} {Level:u4} {Message:lj}{NewLine}{Exception}");
        return c.CreateLogger();
    }
}

/// <summary>Only one service may use a state folder: its database knows only one.</summary>
public sealed class StateLock : IHostedService, IDisposable
{
    private readonly FileStream _file;

    private StateLock(FileStream file) => _file = file;

    /// <summary>Takes the lock; a crash of its holder frees it.</summary>
    /// <exception cref="IOException">Another service has it, or the folder's disk takes nothing; the sentence says which.</exception>
    public static StateLock Take(string stateFolder)
    {
        var path = Path.Combine(stateFolder, "service.lock");
        try
        {
            return new StateLock(new FileStream(path, FileMode.OpenOrCreate, FileAccess.ReadWrite, FileShare.None));
        }
        catch (IOException e) when (RoomOnDisk.IsDisks(e))
        {
            throw new IOException($"The state folder {stateFolder} cannot be written to: {e.Message} Look at its disk (room, rights, faults), then start again.", e);
        }
        catch (IOException e)
        {
            throw new IOException($"Another service uses the state folder {stateFolder} (it holds {path}). Stop it, or give this one a state folder of its own.", e);
        }
    }

    /// <summary>Nothing: the lock is held from its making on.</summary>
    public Task StartAsync(CancellationToken cancellationToken) => Task.CompletedTask;

    /// <summary>Nothing: the lock is held until the service is disposed of.</summary>
    public Task StopAsync(CancellationToken cancellationToken) => Task.CompletedTask;

    /// <inheritdoc/>
    public void Dispose() => _file.Dispose();
}
