namespace Stiltwright.Host.Jobs;

/// <summary>
/// A small job is due. Each message lets one job be done: the one that has waited longest by its number in the ledger, which
/// need not be the one that the message was sent for. So a job that was put back or taken over keeps its place.
/// </summary>
/// <param name="JobId">The job it was sent for.</param>
public sealed record SmallJob(string JobId);

/// <summary>The same for jobs whose source is large, of which one is done at a time.</summary>
/// <param name="JobId">The job it was sent for.</param>
public sealed record LargeJob(string JobId);

/// <summary>A mail is due.</summary>
/// <param name="MailId">The mail.</param>
public sealed record MailDue(string MailId);

/// <summary>The engine hands messages to these; each asks the ledger first, so that a message that comes twice does nothing twice.</summary>
public static class JobMessageHandler
{
    /// <summary>Runs a small job.</summary>
    public static Task Handle(SmallJob message, JobDesk desk, CancellationToken cancel) => desk.RunNext(message.JobId, large: false, cancel);

    /// <summary>Runs a large job.</summary>
    public static Task Handle(LargeJob message, JobDesk desk, CancellationToken cancel) => desk.RunNext(message.JobId, large: true, cancel);

    /// <summary>Sends a mail.</summary>
    public static Task Handle(MailDue message, Mail.Outbox outbox, CancellationToken cancel) => outbox.Due(message.MailId, cancel);
}

/// <summary>Puts jobs and mails into the queues.</summary>
public interface IQueue
{
    /// <summary>Queues a job, now or later.</summary>
    Task Job(string jobId, bool large, TimeSpan delay = default);

    /// <summary>Queues a mail, now or later.</summary>
    Task Mail(string mailId, TimeSpan delay);
}

/// <summary>The queues of the engine.</summary>
public sealed class EngineQueue(Wolverine.IMessageBus bus) : IQueue
{
    /// <inheritdoc/>
    public Task Job(string jobId, bool large, TimeSpan delay = default) => large ? Publish(new LargeJob(jobId), delay) : Publish(new SmallJob(jobId), delay);

    /// <inheritdoc/>
    public Task Mail(string mailId, TimeSpan delay) => Publish(new MailDue(mailId), delay);

    private Task Publish<T>(T message, TimeSpan delay) =>
        (delay <= TimeSpan.Zero ? bus.PublishAsync(message) : bus.PublishAsync(message, new Wolverine.DeliveryOptions { ScheduleDelay = delay })).AsTask();
}
