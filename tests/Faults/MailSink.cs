using System.Buffers;
using System.Collections.Concurrent;
using System.Net;
using System.Net.Sockets;
using MimeKit;
using SmtpServer;
using SmtpServer.Storage;

namespace Stiltwright.Faults;

/// <summary>A real SMTP server on the loopback (the SmtpServer package) that notes each message id.</summary>
internal sealed class MailSink : IAsyncDisposable
{
    private const string LifeKey = "life of the service";

    private readonly CancellationTokenSource _stop = new();
    private readonly Task _running;
    private int _life;

    public MailSink()
    {
        using (var l = new TcpListener(IPAddress.Loopback, 0))
        {
            l.Start();
            Port = ((IPEndPoint)l.LocalEndpoint).Port;
        }

        var services = new SmtpServer.ComponentModel.ServiceProvider();
        services.Add(new Store(this));
        var server = new SmtpServer.SmtpServer(new SmtpServerOptionsBuilder().ServerName("localhost").Endpoint(e => e.Endpoint(new IPEndPoint(IPAddress.Loopback, Port))).Build(), services);
        server.SessionCreated += (_s, e) => e.Context.Properties[LifeKey] = Life;
        _running = server.StartAsync(_stop.Token);
    }

    public int Port { get; }

    /// <summary>Which start of the service talks to us now; a session that begins later is not an older one's, which is dead.</summary>
    public int Life
    {
        get => Volatile.Read(ref _life);
        set => Volatile.Write(ref _life, value);
    }

    /// <summary>
    /// Each message with the life of the service that sent it: one that was on its way when its sender was killed may be
    /// noted here only after the next has begun.
    /// </summary>
    public ConcurrentQueue<(string Id, int Life)> Received { get; } = new();

    /// <summary>Called with each message, before it is noted (true) and after it, but before the sender has our answer.</summary>
    public Action<bool> OnMail { get; set; } = _ => { };

    public async ValueTask DisposeAsync()
    {
        await _stop.CancelAsync();
        await Task.WhenAny(_running, Task.Delay(5000));
        _stop.Dispose();
    }

    private sealed class Store(MailSink sink) : MessageStore
    {
        public override Task<SmtpServer.Protocol.SmtpResponse> SaveAsync(ISessionContext context, IMessageTransaction transaction, ReadOnlySequence<byte> buffer, CancellationToken cancellationToken)
        {
            using var bytes = new MemoryStream(buffer.ToArray());
            sink.OnMail(true);
            sink.Received.Enqueue((MimeMessage.Load(bytes, CancellationToken.None).MessageId ?? "", (int)context.Properties[LifeKey]));
            sink.OnMail(false);
            return Task.FromResult(SmtpServer.Protocol.SmtpResponse.Ok);
        }
    }
}
