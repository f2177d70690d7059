using System.Data.Common;
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

    // A timer may be early by its own grain, and the queue's message by a look.
    private static readonly TimeSpan Early = TimeSpan.FromSeconds(2);
    private static readonly TimeSpan WaitForLedger = TimeSpan.FromSeconds(3);

    private int _inHand;
    private long _lastHandled = long.MinValue;

    // When each was reminded of last, and how often: each pause is twice the one before.
    private readonly Dictionary<string, (long At, int Times)> _reminded = new(StringComparer.Ordinal);

    /// <summary>Folder of the .eml files.</summary>
    public string Folder => folder;

    /// <summary>A message came for a mail: it is sent, unless the message is one too many and the one that counts comes later.</summary>
    public Task Due(string mailId, CancellationToken cancel) =>
        ledger.Mail(mailId) is { State: "waiting" } mail && ledger.Early(mail) <= Early ? Send(mailId, cancel) : Task.CompletedTask;

    /// <summary>Sends a mail that waits; where that fails, it is due again after a pause.</summary>
    public async Task Send(string mailId, CancellationToken cancel)
    {
        Interlocked.Increment(ref _inHand);
        try
        {
            await Handle(mailId, cancel).ConfigureAwait(false);
        }
        finally
        {
            Interlocked.Exchange(ref _lastHandled, time.GetTimestamp());
            Interlocked.Decrement(ref _inHand);
        }
    }

    private async Task Handle(string mailId, CancellationToken cancel)
    {
        if (ledger.TakeMail(mailId) is not { } mail)
        {
            // In another service's hands. Should that one end before it notes what became of the mail, the mail would wait
            // with nobody being reminded of it.
            if (ledger.Mail(mailId) is { State: "waiting" }) await Again(mailId, PostgresStore.Lease).ConfigureAwait(false);
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
            await Again(mail.Id, left + TimeSpan.FromSeconds(1)).ConfigureAwait(false);
            return;
        }

        mail = Digest(mail, settings);
        try
        {
            using var bytes = new MemoryStream(mail.Bytes);
            var message = await MimeMessage.LoadAsync(bytes, cancel).ConfigureAwait(false);
            var notTaken = await sender.Send(message, cancel).ConfigureAwait(false);
            await NoteSent(mail.Id, notTaken.Count == 0 ? "" : $"Not taken for {string.Join(", ", notTaken)}.", cancel).ConfigureAwait(false);
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
            await Again(mail.Id, LongestPause).ConfigureAwait(false);
        }
        catch (Exception e) when (e is IOException or SocketException or TimeoutException or ProtocolException or CommandException)
        {
            var pause = Pause(mail.Tries);
            log.LogWarning("Mail {Id} is tried again in {Pause}: {Reason}", mail.Id, pause, e.Message);
            ledger.NoteMail(mail.Id, "waiting", SafeHeader.Clean(e.Message), tried: true);
            await Again(mail.Id, pause).ConfigureAwait(false);
        }
    }

    /// <summary>
    /// Queues mails again whose message should have come by now: the engine lost it, or never had it. As long as mails are
    /// being sent here, theirs may only wait behind others, so that they are given an hour; and a mail that was reminded of
    /// is so again after twice the time, so that a queue that is slow is not filled up.
    /// </summary>
    public async Task Remind()
    {
        var settings = current();
        // In quiet hours each is due at their end, and comes by itself a moment later.
        var now = time.GetLocalNow();
        if (!sender.HasServer || IsQuiet(settings, now) || IsQuiet(settings, now - WaitBeforeRemind)) return;
        var last = Interlocked.Read(ref _lastHandled);
        var busy = Volatile.Read(ref _inHand) > 0 || (last != long.MinValue && time.GetElapsedTime(last) < WaitBeforeRemind);
        var overdue = ledger.Overdue(writer.Gathering + (busy ? LongestPause : WaitBeforeRemind));
        foreach (var old in _reminded.Keys.Except(overdue, StringComparer.Ordinal).ToArray()) _reminded.Remove(old);
        foreach (var id in overdue.Where(IsTime).Take(MostReminded))
        {
            _reminded[id] = (time.GetTimestamp(), _reminded.GetValueOrDefault(id).Times + 1);
            await queue.Mail(id, TimeSpan.Zero).ConfigureAwait(false);
        }
    }

    /// <summary>Queues all mails that wait at once: settings were mended.</summary>
    public async Task TryAll()
    {
        ledger.AllDue();
        foreach (var mail in ledger.WaitingMails()) await queue.Mail(mail.Id, TimeSpan.Zero).ConfigureAwait(false);
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

    private static bool IsQuiet(MailSettings settings, DateTimeOffset at) => QuietHours.Left(settings.QuietFrom, settings.QuietTo, at) is not null;

    private bool IsTime(string id)
    {
        if (!_reminded.TryGetValue(id, out var before)) return true;
        var pause = WaitBeforeRemind * Math.Pow(2, before.Times);
        return time.GetElapsedTime(before.At) >= (pause < LongestPause ? pause : LongestPause);
    }

    private async Task Again(string id, TimeSpan pause)
    {
        ledger.NoteDue(id, pause);
        await queue.Mail(id, pause).ConfigureAwait(false);
    }

    /// <summary>
    /// The server has the mail: until that is noted, a second try would send it again. Where the ledger's disk is full, that
    /// takes as long as it takes.
    /// </summary>
    private async Task NoteSent(string id, string remark, CancellationToken cancel)
    {
        for (var said = false; ; said = true)
        {
            try
            {
                ledger.NoteMail(id, "sent", remark, tried: true);
                return;
            }
            catch (DbException e)
            {
                if (!said) log.LogError("Mail {Id} was sent, and the ledger cannot be written: {Reason}. It is tried again until it can", id, e.Message);
                await Task.Delay(WaitForLedger, time, cancel).ConfigureAwait(false);
            }
        }
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
