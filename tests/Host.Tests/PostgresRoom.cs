using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging.Abstractions;
using Npgsql;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Mail;
using Stiltwright.Host.Publishing;
using Stiltwright.Host.Watching;

namespace Stiltwright.Host.Tests;

/// <summary>A test that needs a PostgreSQL server; left out, with the reason, where there is none.</summary>
[AttributeUsage(AttributeTargets.Method)]
public sealed class PostgresFactAttribute : FactAttribute
{
    public PostgresFactAttribute() => Skip = PostgresServer.WhyNone;
}

/// <summary>The server that all tests of a class share.</summary>
public sealed class PostgresFixture : IAsyncLifetime
{
    public PostgresServer Server { get; private set; } = null!;

    public async Task InitializeAsync()
    {
        if (PostgresServer.WhyNone is null) Server = await PostgresServer.Start();
    }

    public async Task DisposeAsync()
    {
        if (Server is not null) await Server.DisposeAsync();
    }
}

/// <summary>One share and one database, and several services on them, each with a state folder of its own.</summary>
internal sealed class PostgresRoom(PostgresServer server, string connection) : IAsyncDisposable
{
    public static async Task<PostgresRoom> Make(PostgresServer server)
    {
        var room = new PostgresRoom(server, await server.NewDatabase());
        File.WriteAllText(room.Secret, server.Password + "\n");
        return room;
    }

    public Workshop Room { get; } = new();

    public string Connection => connection;

    private string Secret => Path.Combine(Room.Root, "secret");

    /// <summary>The configuration of one service.</summary>
    public Config Config(string pc)
    {
        var config = Room.Read();
        return config with { Host = config.Host with { State = Path.Combine(Room.Root, "state-" + pc), Ledger = new LedgerSettings { Postgres = connection, PasswordFile = Secret } } };
    }

    public Ledger Ledger(string pc, TimeProvider? time = null) => LedgerPlace.Open(Config(pc).Host, time ?? TimeProvider.System);

    /// <summary>Lets a service seem dead: it was not heard of for long.</summary>
    public void LetDie(Ledger ledger)
    {
        using var db = ledger.Store.Open();
        using var command = new NpgsqlCommand("UPDATE ledger_pcs SET beat = 0 WHERE pc = @pc", (NpgsqlConnection)db);
        command.Parameters.AddWithValue("pc", ledger.Pc);
        Assert.Equal(1, command.ExecuteNonQuery());
    }

    /// <summary>A whole service with its engine.</summary>
    public async Task<IHost> Start(string pc, params string[] worker)
    {
        var host = ServiceHost.Build(Config(pc), Workshop.Catalog, Room.Share, new ServiceParts { Worker = Workshop.Worker(worker), ConsoleLog = false });
        await host.StartAsync();
        return host;
    }

    public async ValueTask DisposeAsync()
    {
        await server.Drop(connection);
        Room.Dispose();
    }
}

/// <summary>The parts of one service without its engine: a test says when it looks, and when it does what it queued.</summary>
internal sealed class BarePc : IQueue
{
    private readonly Sweeper _sweeper;
    private readonly Upkeep _upkeep;
    private readonly Queue<string> _queued = new();

    public BarePc(PostgresRoom room, string pc, ShareFiles? files = null)
    {
        var config = room.Config(pc);
        Ledger = room.Ledger(pc);
        State = new ServiceState(config, Workshop.Catalog, room.Room.Share);
        var mails = new MailWriter(() => State.Config.Host.Mail, room.Room.Share, TimeProvider.System);
        Publishing = new PublishDesk(State, Ledger, this, mails, files ?? new ShareFiles(), NullLogger<PublishDesk>.Instance);
        Desk = new JobDesk(State, Ledger, this, Publishing, HereWorker.Command, new MemoryBudget(4096), TimeProvider.System, NullLogger<JobDesk>.Instance);
        var retention = new Retention(State, Ledger, new ShareFiles(), TimeProvider.System, NullLogger<Retention>.Instance);
        _upkeep = new Upkeep(State, Ledger, this, Desk, retention, TimeProvider.System, NullLogger<Upkeep>.Instance);
        _sweeper = new Sweeper(State, Ledger, this, Publishing, _upkeep, TimeProvider.System, NullLogger<Sweeper>.Instance);
    }

    public Ledger Ledger { get; }

    public ServiceState State { get; }

    public PublishDesk Publishing { get; }

    public JobDesk Desk { get; }

    public Task Job(string jobId, bool large, TimeSpan delay = default)
    {
        _queued.Enqueue(jobId);
        return Task.CompletedTask;
    }

    public Task Mail(string mailId, TimeSpan delay) => Task.CompletedTask;

    /// <summary>One look at the share, with all that it brings about; what it queued is done if wanted.</summary>
    public async Task Look(bool work = true)
    {
        await _sweeper.Sweep(true, default);
        await _upkeep.Settled;
        while (work && _queued.TryDequeue(out var id)) await Desk.Run(id, default);
    }
}
