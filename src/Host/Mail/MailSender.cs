using System.Net.Security;
using System.Net.Sockets;
using System.Security.Cryptography;
using System.Security.Cryptography.X509Certificates;
using MailKit;
using MailKit.Net.Smtp;
using MailKit.Security;
using MimeKit;
using Polly;
using Polly.Retry;
using Stiltwright.Host.Configuration;

namespace Stiltwright.Host.Mail;

/// <summary>A mail that no later try will bring through: the server refuses this very mail, or all who should get it.</summary>
public sealed class MailRefusedException(string message, Exception inner) : Exception(message, inner);

/// <summary>The settings and the server do not agree; the mail waits until a person has mended that.</summary>
public sealed class MailHeldException(string message, Exception? inner = null) : Exception(message, inner);

/// <summary>Sends one message, with a few quick tries; long pauses are the outbox's.</summary>
public interface IMailSender
{
    /// <summary>True if a server is configured.</summary>
    bool HasServer { get; }

    /// <summary>Sends the bytes of a message. Returns the addresses that the server did not take while it took others.</summary>
    /// <exception cref="MailRefusedException">No later try will do better.</exception>
    /// <exception cref="MailHeldException">A person must mend the settings or the server first.</exception>
    Task<IReadOnlyList<string>> Send(MimeMessage message, CancellationToken cancel);
}

/// <summary>Sends over SMTP. With a login only over an encrypted line whose certificate is good.</summary>
public sealed class SmtpSender(Func<MailSettings> current) : IMailSender
{
    private static readonly ResiliencePipeline Quick = new ResiliencePipelineBuilder()
        .AddRetry(new RetryStrategyOptions
        {
            MaxRetryAttempts = 2,
            Delay = TimeSpan.FromSeconds(1),
            BackoffType = DelayBackoffType.Exponential,
            UseJitter = true,
            ShouldHandle = new PredicateBuilder().Handle<SocketException>().Handle<TimeoutException>(),
        })
        .Build();

    /// <summary>Sends by fixed settings.</summary>
    public SmtpSender(MailSettings settings) : this(() => settings) { }

    /// <inheritdoc/>
    public bool HasServer => current().Server.Length > 0;

    /// <inheritdoc/>
    public async Task<IReadOnlyList<string>> Send(MimeMessage message, CancellationToken cancel)
    {
        var settings = current();
        try
        {
            return await Quick.ExecuteAsync(async c => await Once(settings, message, c).ConfigureAwait(false), cancel).ConfigureAwait(false);
        }
        catch (AuthenticationException e)
        {
            throw new MailHeldException($"The mail server {settings.Server} does not take the login \"{settings.User}\"; check mail.user and the password.", e);
        }
        catch (SslHandshakeException e)
        {
            throw new MailHeldException($"The encrypted line to {settings.Server} cannot be trusted; check mail.server, mail.port, mail.security and the server's certificate.", e);
        }
        catch (NotSupportedException e)
        {
            throw new MailHeldException($"The mail server {settings.Server} offers no encrypted line on port {settings.Port} (STARTTLS); nothing is sent in the open. Check mail.port and mail.security.", e);
        }
        catch (SmtpCommandException e) when ((int)e.StatusCode >= 500)
        {
            throw new MailRefusedException($"The mail server {settings.Server} refuses this mail: {SafeHeader.Clean(e.Message)}", e);
        }
    }

    private static async Task<IReadOnlyList<string>> Once(MailSettings settings, MimeMessage message, CancellationToken cancel)
    {
        using var client = new Client { Timeout = 60_000 };
        if (settings.CertificateSha256.Length > 0)
            client.ServerCertificateValidationCallback = (_, certificate, _, errors) => IsPinned(settings.CertificateSha256, certificate, errors);
        var security = settings.Security switch { "tls" => SecureSocketOptions.SslOnConnect, "none" => SecureSocketOptions.None, _ => SecureSocketOptions.StartTls };
        await client.ConnectAsync(settings.Server, settings.Port, security, cancel).ConfigureAwait(false);
        if (settings.User.Length > 0)
        {
            string? password;
            try
            {
                password = MailPassword.Read(settings);
            }
            catch (Exception e) when (e is IOException or UnauthorizedAccessException)
            {
                throw new MailHeldException($"The file of the mail password cannot be read: {e.Message}", e);
            }

            if (password is null) throw new MailHeldException($"There is no password for {settings.User}; set {MailPassword.Variable} or mail.passwordFile.");
            await client.AuthenticateAsync(settings.User, password, cancel).ConfigureAwait(false);
        }

        await client.SendAsync(message, cancel).ConfigureAwait(false);
        try
        {
            await client.DisconnectAsync(true, CancellationToken.None).ConfigureAwait(false);
        }
        catch (Exception e) when (e is IOException or SocketException or ProtocolException)
        {
            // The server has the message; how it hangs up does not matter, and sending again would double it.
        }

        return client.NotTaken;
    }

    /// <summary>A certificate that authorities vouch for, or the very one that the settings name.</summary>
    private static bool IsPinned(string sha256, X509Certificate? certificate, SslPolicyErrors errors) =>
        errors == SslPolicyErrors.None
        || (certificate is not null && string.Equals(certificate.GetCertHashString(HashAlgorithmName.SHA256), sha256.Replace(":", "", StringComparison.Ordinal), StringComparison.OrdinalIgnoreCase));

    /// <summary>Goes on to the others when the server does not take one of those who should get a mail.</summary>
    private sealed class Client : SmtpClient
    {
        private readonly List<string> _notTaken = [];

        public IReadOnlyList<string> NotTaken => _notTaken;

        protected override void OnRecipientNotAccepted(MimeMessage message, MailboxAddress mailbox, SmtpResponse response)
        {
            // Greylisting and full mailboxes (4xx) pass: then the whole mail is tried again later, with the same message id.
            if ((int)response.StatusCode < 500) base.OnRecipientNotAccepted(message, mailbox, response);
            _notTaken.Add(mailbox.Address);
        }

        protected override void OnNoRecipientsAccepted(MimeMessage message) =>
            throw new SmtpCommandException(SmtpErrorCode.RecipientNotAccepted, SmtpStatusCode.MailboxUnavailable, "none of the addresses is taken");
    }
}
