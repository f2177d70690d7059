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
    private readonly ConcurrentDictionary<ISessionContext, bool> _talking = new();
    private int _saving;

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
        // Some ends are told twice, so that a set of who talks is kept and not a count.
        server.SessionCreated += (_s, e) => _talking.TryAdd(e.Context, true);
        server.SessionCompleted += (_s, e) => _talking.TryRemove(e.Context, out _);
        server.SessionFaulted += (_s, e) => _talking.TryRemove(e.Context, out _);
        server.SessionCancelled += (_s, e) => _talking.TryRemove(e.Context, out _);
        _running = server.StartAsync(_stop.Token);
    }

    public int Port { get; }

    public ConcurrentQueue<string> Received { get; } = new();

    /// <summary>Waits until nobody talks to the server, so that all that was sent is noted; false where somebody still does after a minute.</summary>
    public bool WaitForSilence() => SpinWait.SpinUntil(() => _talking.IsEmpty && Volatile.Read(ref _saving) == 0, TimeSpan.FromMinutes(1));

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
            Interlocked.Increment(ref sink._saving);
            using var bytes = new MemoryStream(buffer.ToArray());
            sink.OnMail(true);
            sink.Received.Enqueue(MimeMessage.Load(bytes, CancellationToken.None).MessageId ?? "");
            sink.OnMail(false);
            Interlocked.Decrement(ref sink._saving);
            return Task.FromResult(SmtpServer.Protocol.SmtpResponse.Ok);
        }
    }
}
