using System.Net.Sockets;
using MailKit;
using Microsoft.Extensions.Logging;
using MimeKit;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Mail;

/// <summary>
/// The mails that the ledger holds until they are sent. Without a server each also lies as an .eml file in the outbox
/// folder, where a person can open it. A mail server that is down never holds a job up. Many mails at once to the same
/// people become one; in the quiet hours none is sent.
/// </summary>
public sealed class Outbox(Ledger ledger, IQueue queue, IMailSender sender, MailWriter writer, Func<MailSettings> current, TimeProvider time, string folder, ILogger<Outbox> log)
{
    private static readonly TimeSpan LongestPause = TimeSpan.FromHours(1);
    private static readonly TimeSpan WaitBeforeRemind = TimeSpan.FromSeconds(60);
    private const int MostReminded = 20;

    /// <summary>Folder of the .eml files.</summary>
    public string Folder => folder;

    /// <summary>Sends a mail that waits; where that fails, it is due again after a pause.</summary>
    public async Task Send(string mailId, CancellationToken cancel)
    {
        if (ledger.TakeMail(mailId) is not { } mail)
        {
            // In another service's hands. Should that one end before it notes what became of the mail, the mail would wait
            // with nobody being reminded of it.
            if (ledger.Mail(mailId) is { State: "waiting" }) await queue.Mail(mailId, PostgresStore.Lease).ConfigureAwait(false);
            return;
        }

        if (!sender.HasServer)
        {
            Keep(mail);
            ledger.NoteMail(mail.Id, "waiting", "No mail server is set; the mail waits in the outbox.", tried: false);
            return;
        }

        var settings = current();
        if (QuietHours.Left(settings.QuietFrom, settings.QuietTo, time.GetLocalNow()) is { } left)
        {
            ledger.NoteMail(mail.Id, "waiting", $"Quiet hours until {settings.QuietTo}.", tried: false);
            await queue.Mail(mail.Id, left + TimeSpan.FromSeconds(1)).ConfigureAwait(false);
            return;
        }

        mail = Digest(mail, settings);
        try
        {
            using var bytes = new MemoryStream(mail.Bytes);
            var message = await MimeMessage.LoadAsync(bytes, cancel).ConfigureAwait(false);
            var notTaken = await sender.Send(message, cancel).ConfigureAwait(false);
            ledger.NoteMail(mail.Id, "sent", notTaken.Count == 0 ? "" : $"Not taken for {string.Join(", ", notTaken)}.", tried: true);
            Forget(mail.Id);
            log.LogInformation("Mail {Id} was sent", mail.Id);
            if (notTaken.Count > 0) log.LogError("Mail {Id} was not taken for {Addresses}", mail.Id, notTaken);
        }
        catch (MailRefusedException e)
        {
            log.LogError("Mail {Id} is not sent: {Reason}", mail.Id, e.Message);
            Keep(mail);
            ledger.NoteMail(mail.Id, "refused", e.Message, tried: true);
        }
        catch (MailHeldException e)
        {
            // A person must act; the board says so. Once an hour is often enough, and mended settings send at once.
            log.LogError("Mail {Id} waits: {Reason}", mail.Id, e.Message);
            ledger.NoteMail(mail.Id, "waiting", e.Message, tried: true);
            await queue.Mail(mail.Id, LongestPause).ConfigureAwait(false);
        }
        catch (Exception e) when (e is IOException or SocketException or TimeoutException or ProtocolException or CommandException)
        {
            var pause = Pause(mail.Tries);
            log.LogWarning("Mail {Id} is tried again in {Pause}: {Reason}", mail.Id, pause, e.Message);
            ledger.NoteMail(mail.Id, "waiting", SafeHeader.Clean(e.Message), tried: true);
            await queue.Mail(mail.Id, pause).ConfigureAwait(false);
        }
    }

    /// <summary>Queues mails again that should have been tried by now: the engine lost their message, or never had it.</summary>
    public async Task Remind()
    {
        var settings = current();
        if (!sender.HasServer || QuietHours.Left(settings.QuietFrom, settings.QuietTo, time.GetLocalNow()) is not null) return;
        foreach (var id in ledger.UntriedMails(writer.Gathering + WaitBeforeRemind, MostReminded)) await queue.Mail(id, TimeSpan.Zero).ConfigureAwait(false);
    }

    /// <summary>5 s, then doubled up to an hour, with a fifth of jitter so that several do not come at once.</summary>
    public static TimeSpan Pause(long tries)
    {
        var seconds = Math.Min(LongestPause.TotalSeconds, 5 * Math.Pow(2, Math.Min(tries, 20)));
        return TimeSpan.FromSeconds(seconds * (1 + (0.2 * Random.Shared.NextDouble())));
    }

    /// <summary>The mail itself, or one in the place of all that wait for the same people and were not tried yet.</summary>
    private MailRow Digest(MailRow mail, MailSettings settings)
    {
        if (mail.Tries > 0 || mail.Level == MailWriter.DigestLevel) return mail;
        var together = ledger.WaitingMails().Where(m => (m.Owner.Length == 0 || m.Owner == ledger.Pc) && m.Recipients == mail.Recipients && m.Tries == 0 && m.Level != MailWriter.DigestLevel).ToArray();
        if (together.Length < settings.DigestFrom) return mail;
        var digest = writer.Digest(together);
        // Another service may have sent one of them meanwhile: then each goes by itself after all.
        if (!ledger.Gather(digest, [.. together.Select(m => m.Id)])) return mail;
        foreach (var m in together) Forget(m.Id);
        log.LogInformation("{Count} mails become one, {Id}", together.Length, digest.Id);
        return digest;
    }

    private void Forget(string id)
    {
        if (File.Exists(Eml(id))) File.Delete(Eml(id));
    }

    private string Eml(string id) => Path.Combine(folder, id + ".eml");

    private void Keep(MailRow mail)
    {
        var eml = Eml(mail.Id);
        if (File.Exists(eml)) return;
        Directory.CreateDirectory(folder);
        var temporary = eml + ".tmp";
        using (var s = new FileStream(temporary, FileMode.Create, FileAccess.Write))
        {
            s.Write(mail.Bytes);
            s.Flush(flushToDisk: true);
        }

        File.Move(temporary, eml, overwrite: true);
        DurableFiles.FlushFolder(folder);
    }
}
