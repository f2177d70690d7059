using System.Net.Sockets;
using MailKit;
using Microsoft.Extensions.Logging;
using MimeKit;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Mail;

/// <summary>
/// The mails that the ledger holds until they are sent. Without a server each also lies as an .eml file in the outbox
/// folder, where a person can open it. A mail server that is down never holds a job up.
/// </summary>
public sealed class Outbox(Ledger ledger, IQueue queue, IMailSender sender, string folder, ILogger<Outbox> log)
{
    private static readonly TimeSpan LongestPause = TimeSpan.FromHours(1);

    /// <summary>Folder of the .eml files.</summary>
    public string Folder => folder;

    /// <summary>Sends a mail that waits; where that fails, it is due again after a pause.</summary>
    public async Task Send(string mailId, CancellationToken cancel)
    {
        if (ledger.Mail(mailId) is not { State: "waiting" } mail) return;
        var eml = Path.Combine(folder, mail.Id + ".eml");
        if (!sender.HasServer)
        {
            Keep(eml, mail.Bytes);
            ledger.NoteMail(mail.Id, "waiting", "No mail server is set; the mail waits in the outbox.", tried: false);
            return;
        }

        try
        {
            using var bytes = new MemoryStream(mail.Bytes);
            var message = await MimeMessage.LoadAsync(bytes, cancel).ConfigureAwait(false);
            await sender.Send(message, cancel).ConfigureAwait(false);
            ledger.NoteMail(mail.Id, "sent", "", tried: true);
            File.Delete(eml);
            log.LogInformation("Mail {Id} was sent", mail.Id);
        }
        catch (MailRefusedException e)
        {
            log.LogError("Mail {Id} is not sent: {Reason}", mail.Id, e.Message);
            Keep(eml, mail.Bytes);
            ledger.NoteMail(mail.Id, "refused", e.Message, tried: true);
        }
        catch (Exception e) when (e is IOException or SocketException or TimeoutException or ProtocolException or CommandException)
        {
            var pause = Pause(mail.Tries);
            log.LogWarning("Mail {Id} is tried again in {Pause}: {Reason}", mail.Id, pause, e.Message);
            ledger.NoteMail(mail.Id, "waiting", SafeHeader.Clean(e.Message), tried: true);
            await queue.Mail(mail.Id, pause).ConfigureAwait(false);
        }
    }

    /// <summary>5 s, then doubled up to an hour, with a fifth of jitter so that several do not come at once.</summary>
    public static TimeSpan Pause(long tries)
    {
        var seconds = Math.Min(LongestPause.TotalSeconds, 5 * Math.Pow(2, Math.Min(tries, 20)));
        return TimeSpan.FromSeconds(seconds * (1 + (0.2 * Random.Shared.NextDouble())));
    }

    private void Keep(string eml, byte[] bytes)
    {
        if (File.Exists(eml)) return;
        Directory.CreateDirectory(folder);
        var temporary = eml + ".tmp";
        using (var s = new FileStream(temporary, FileMode.Create, FileAccess.Write))
        {
            s.Write(bytes);
            s.Flush(flushToDisk: true);
        }

        File.Move(temporary, eml, overwrite: true);
        DurableFiles.FlushFolder(folder);
    }
}
