using JasperFx.CodeGeneration;
using Stiltwright.Host.Configuration;
using Wolverine;
using Wolverine.ErrorHandling;
using Wolverine.Postgresql;
using Wolverine.Sqlite;
using Wolverine.Transports;

namespace Stiltwright.Host.Jobs;

/// <summary>
/// The settings of the engine that carries jobs and mails. Attempts, fencing numbers and who has what are the ledger's;
/// the engine only brings messages, and one that comes twice does nothing twice.
/// </summary>
public static class Engine
{
    /// <summary>Schema of the engine's tables in PostgreSQL.</summary>
    public const string Schema = "stiltwright_engine";

    /// <summary>Name of the environment variable that says where handlers are written to, for developers.</summary>
    public const string HandlersTo = "STILTWRIGHT_HANDLERS_TO";

    // Pauses between two looks into a queue of PostgreSQL: a person waits for a small job, nobody for a mail. Each look is
    // four statements, and an idle service spends most of its time on them.
    private static readonly TimeSpan LookForSmall = TimeSpan.FromMilliseconds(800), LookForLarge = TimeSpan.FromSeconds(2), LookForMail = TimeSpan.FromSeconds(4);
    private const int MailsAtATime = 4;

    /// <summary>Sets the engine up for a ledger's store.</summary>
    public static void Set(WolverineOptions o, LedgerStore store, WorkerSettings worker)
    {
        o.ApplicationAssembly = typeof(Engine).Assembly;
        o.Discovery.DisableConventionalDiscovery().IncludeType(typeof(JobMessageHandler));
        o.CodeGeneration.TypeLoadMode = TypeLoadMode.Static;
        o.CodeGeneration.GeneratedCodeOutputPath = Environment.GetEnvironmentVariable(HandlersTo) ?? Path.Combine(AppContext.BaseDirectory, "Internal", "Generated");
        // The worker's own limit ends a job long before; this one only catches a run that hangs outside of it.
        o.DefaultExecutionTimeout = TimeSpan.FromSeconds((worker.TimeLimitS * 2) + 3600);
        o.OnException<Exception>().RetryWithCooldown(TimeSpan.FromSeconds(1)).Then.MoveToErrorQueue();
        o.Durability.DrainTimeout = TimeSpan.FromSeconds(5);
        if (store.Shared) Shared(o, store, worker);
        else Alone(o, store, worker);
    }

    /// <summary>SQLite: durable queues inside this process.</summary>
    private static void Alone(WolverineOptions o, LedgerStore store, WorkerSettings worker)
    {
        o.Policies.UseDurableLocalQueues();
        o.Durability.Mode = DurabilityMode.Solo;
        // Each look of the engine costs this machine time even when nothing is to be done: nobody reads its counts, and mails
        // that are due later may be due ten seconds later still.
        o.Durability.DurabilityMetricsEnabled = false;
        o.Durability.ScheduledJobPollingTime = TimeSpan.FromSeconds(10);
        o.PersistMessagesWithSqlite(new EngineSource(store.EngineConnection));
        o.PublishMessage<LargeJob>().ToLocalQueue("large").UseDurableInbox().MaximumParallelMessages(1);
        o.PublishMessage<SmallJob>().ToLocalQueue("small").UseDurableInbox().MaximumParallelMessages(worker.Parallel);
        o.PublishMessage<MailDue>().ToLocalQueue("mail").UseDurableInbox().MaximumParallelMessages(1);
    }

    /// <summary>PostgreSQL: queues in tables, from which the services take in turn.</summary>
    private static void Shared(WolverineOptions o, LedgerStore store, WorkerSettings worker)
    {
        o.Policies.UseDurableInboxOnAllListeners();
        o.Policies.UseDurableOutboxOnAllSendingEndpoints();
        var d = o.Durability;
        d.HealthCheckPollingTime = d.NodeReassignmentPollingTime = d.CheckAssignmentPeriod = PostgresStore.Pulse;
        d.StaleNodeTimeout = PostgresStore.Lease;
        d.ScheduledJobPollingTime = PostgresStore.Pulse;
        o.UsePostgresqlPersistenceAndTransport(store.EngineConnection, Schema).AutoProvision();
        Queue("large", 1, 1, LookForLarge);
        Queue("small", worker.Parallel, worker.Parallel, LookForSmall);
        Queue("mail", 1, MailsAtATime, LookForMail);
        o.PublishMessage<LargeJob>().ToPostgresqlQueue("large");
        o.PublishMessage<SmallJob>().ToPostgresqlQueue("small");
        o.PublishMessage<MailDue>().ToPostgresqlQueue("mail");

        // A service keeps little more waiting than it is about to do, or the others would stand idle; it fetches again
        // before it has nothing left. Never a limit of 1: a dead service's messages are recovered as many at a time as the
        // limit leaves room for, which would be none.
        void Queue(string name, int parallel, int atATime, TimeSpan look) =>
            o.ListenToPostgresqlQueue(name).MaximumMessagesToReceive(atATime).PollingInterval(look).MaximumParallelMessages(parallel).UseDurableInbox(new BufferingLimits(Math.Max(parallel, atATime) + 1, Math.Max(parallel, atATime)));
    }
}
