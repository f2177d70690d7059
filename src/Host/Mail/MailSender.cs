using System.Net.Sockets;
using MailKit;
using MailKit.Net.Smtp;
using MailKit.Security;
using MimeKit;
using Polly;
using Polly.Retry;
using Stiltwright.Host.Configuration;

namespace Stiltwright.Host.Mail;

/// <summary>A mail that no later try will bring through, with the reason.</summary>
public sealed class MailRefusedException(string message, Exception inner) : Exception(message, inner);

/// <summary>Sends one message, with a few quick tries; long pauses are the outbox's.</summary>
public interface IMailSender
{
    /// <summary>True if a server is configured.</summary>
    bool HasServer { get; }

    /// <summary>Sends the bytes of a message.</summary>
    /// <exception cref="MailRefusedException">No later try will do better.</exception>
    Task Send(MimeMessage message, CancellationToken cancel);
}

/// <summary>Sends over SMTP. With a login only over an encrypted line whose certificate is good.</summary>
public sealed class SmtpSender(MailSettings settings) : IMailSender
{
    private static readonly ResiliencePipeline Quick = new ResiliencePipelineBuilder()
        .AddRetry(new RetryStrategyOptions
        {
            MaxRetryAttempts = 2,
            Delay = TimeSpan.FromSeconds(1),
            BackoffType = DelayBackoffType.Exponential,
            UseJitter = true,
            ShouldHandle = new PredicateBuilder().Handle<SocketException>().Handle<IOException>().Handle<TimeoutException>(),
        })
        .Build();

    /// <inheritdoc/>
    public bool HasServer => settings.Server.Length > 0;

    /// <inheritdoc/>
    public async Task Send(MimeMessage message, CancellationToken cancel)
    {
        try
        {
            await Quick.ExecuteAsync(async c => await Once(message, c).ConfigureAwait(false), cancel).ConfigureAwait(false);
        }
        catch (AuthenticationException e)
        {
            throw new MailRefusedException($"The mail server {settings.Server} does not take the login \"{settings.User}\"; check mail.user and the password.", e);
        }
        catch (SslHandshakeException e)
        {
            throw new MailRefusedException($"The encrypted line to {settings.Server} cannot be trusted; check mail.server, mail.port, mail.security and the server's certificate.", e);
        }
        catch (SmtpCommandException e) when ((int)e.StatusCode >= 500)
        {
            throw new MailRefusedException($"The mail server {settings.Server} refuses this mail: {SafeHeader.Clean(e.Message)}", e);
        }
    }

    private async Task Once(MimeMessage message, CancellationToken cancel)
    {
        using var client = new SmtpClient { Timeout = 60_000 };
        var security = settings.Security switch { "tls" => SecureSocketOptions.SslOnConnect, "none" => SecureSocketOptions.None, _ => SecureSocketOptions.StartTls };
        await client.ConnectAsync(settings.Server, settings.Port, security, cancel).ConfigureAwait(false);
        if (settings.User.Length > 0)
        {
            var password = MailPassword.Read(settings) ?? throw new IOException($"There is no password for {settings.User}; set {MailPassword.Variable} or mail.passwordFile.");
            await client.AuthenticateAsync(settings.User, password, cancel).ConfigureAwait(false);
        }

        await client.SendAsync(message, cancel).ConfigureAwait(false);
        await client.DisconnectAsync(true, CancellationToken.None).ConfigureAwait(false);
    }
}
