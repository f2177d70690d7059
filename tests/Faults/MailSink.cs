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
    private readonly CancellationTokenSource _stop = new();
    private readonly Task _running;

    public MailSink()
    {
        using (var l = new TcpListener(IPAddress.Loopback, 0))
        {
            l.Start();
            Port = ((IPEndPoint)l.LocalEndpoint).Port;
        }

        var services = new SmtpServer.ComponentModel.ServiceProvider();
        services.Add(new Store(Received));
        _running = new SmtpServer.SmtpServer(new SmtpServerOptionsBuilder().ServerName("localhost").Endpoint(e => e.Endpoint(new IPEndPoint(IPAddress.Loopback, Port))).Build(), services).StartAsync(_stop.Token);
    }

    public int Port { get; }

    public ConcurrentQueue<string> Received { get; } = new();

    public async ValueTask DisposeAsync()
    {
        await _stop.CancelAsync();
        await Task.WhenAny(_running, Task.Delay(5000));
        _stop.Dispose();
    }

    private sealed class Store(ConcurrentQueue<string> received) : MessageStore
    {
        public override Task<SmtpServer.Protocol.SmtpResponse> SaveAsync(ISessionContext context, IMessageTransaction transaction, ReadOnlySequence<byte> buffer, CancellationToken cancellationToken)
        {
            using var bytes = new MemoryStream(buffer.ToArray());
            received.Enqueue(MimeMessage.Load(bytes, CancellationToken.None).MessageId ?? "");
            return Task.FromResult(SmtpServer.Protocol.SmtpResponse.Ok);
        }
    }
}
