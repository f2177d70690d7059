using System.Buffers;
using System.Collections.Concurrent;
using System.Net;
using System.Net.Sockets;
using System.Security.Cryptography;
using System.Security.Cryptography.X509Certificates;
using MimeKit;
using SmtpServer;
using SmtpServer.Authentication;
using SmtpServer.Mail;
using SmtpServer.Storage;
using Stiltwright.Host.Configuration;

namespace Stiltwright.Host.Tests;

/// <summary>A real SMTP server on the loopback (the SmtpServer package), encrypted with a certificate of its own where asked.</summary>
internal sealed class SmtpSink : IAsyncDisposable
{
    private readonly CancellationTokenSource _stop = new();
    private readonly Task _running;

    public SmtpSink(string security = "none")
    {
        var port = FreePort();
        Settings = new MailSettings { Server = "127.0.0.1", Port = port, Security = security };
        var services = new SmtpServer.ComponentModel.ServiceProvider();
        services.Add(new Store(Received));
        services.Add(new Door());
        services.Add(new Logins(this));
        _running = new SmtpServer.SmtpServer(new SmtpServerOptionsBuilder().ServerName("localhost").Endpoint(e =>
        {
            e.Endpoint(new IPEndPoint(IPAddress.Loopback, port)).AllowUnsecureAuthentication(false);
            if (security != "none") e.Certificate(Certificate()).IsSecure(security == "tls");
        }).Build(), services).StartAsync(_stop.Token);
    }

    public MailSettings Settings { get; }

    public string CertificateSha256 { get; private set; } = "";

    public (string User, string Password) LastLogin { get; private set; }

    public ConcurrentQueue<MimeMessage> Received { get; } = new();

    public async ValueTask DisposeAsync()
    {
        await _stop.CancelAsync();
        await Task.WhenAny(_running, Task.Delay(5000));
        _stop.Dispose();
    }

    private X509Certificate2 Certificate()
    {
        using var key = RSA.Create(2048);
        var request = new CertificateRequest("CN=localhost", key, HashAlgorithmName.SHA256, RSASignaturePadding.Pkcs1);
        var now = TimeProvider.System.GetUtcNow();
        using var made = request.CreateSelfSigned(now.AddDays(-1), now.AddDays(1));
        CertificateSha256 = made.GetCertHashString(HashAlgorithmName.SHA256);
        return X509CertificateLoader.LoadPkcs12(made.Export(X509ContentType.Pkcs12), null);
    }

    private static int FreePort()
    {
        using var l = new TcpListener(IPAddress.Loopback, 0);
        l.Start();
        return ((IPEndPoint)l.LocalEndpoint).Port;
    }

    private sealed class Store(ConcurrentQueue<MimeMessage> received) : MessageStore
    {
        public override Task<SmtpServer.Protocol.SmtpResponse> SaveAsync(ISessionContext context, IMessageTransaction transaction, ReadOnlySequence<byte> buffer, CancellationToken cancellationToken)
        {
            using var bytes = new MemoryStream(buffer.ToArray());
            received.Enqueue(MimeMessage.Load(bytes, CancellationToken.None));
            return Task.FromResult(SmtpServer.Protocol.SmtpResponse.Ok);
        }
    }

    /// <summary>Takes every address but gone@.</summary>
    private sealed class Door : MailboxFilter
    {
        public override Task<bool> CanDeliverToAsync(ISessionContext context, IMailbox to, IMailbox from, CancellationToken cancellationToken) => Task.FromResult(to.User != "gone");
    }

    private sealed class Logins(SmtpSink sink) : UserAuthenticator
    {
        public override Task<bool> AuthenticateAsync(ISessionContext context, string user, string password, CancellationToken cancellationToken)
        {
            sink.LastLogin = (user, password);
            return Task.FromResult(password == "anchovy");
        }
    }
}
