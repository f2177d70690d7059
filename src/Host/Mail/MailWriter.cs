using System.Globalization;
using System.Text;
using MimeKit;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Summaries;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Mail;

/// <summary>
/// Makes the mail about a set, once: its bytes, date and message id stay the same however often it is sent. Nothing from a
/// file name reaches a header with a control character in it.
/// </summary>
public sealed class MailWriter(Func<MailSettings> current, string shownShare, TimeProvider time)
{
    /// <summary>The level of a mail that stands for several.</summary>
    public const string DigestLevel = "digest";

    private const int MostInDigest = 100;
    private static readonly string[] WorstFirst = ["stop", "check", "note"];

    /// <summary>Makes mails by fixed settings.</summary>
    public MailWriter(MailSettings settings, string shownShare, TimeProvider time) : this(() => settings, shownShare, time) { }

    /// <summary>How long a new mail waits for others to be gathered with it.</summary>
    public TimeSpan Gathering => current() is { Server.Length: > 0 } s ? TimeSpan.FromSeconds(s.GatherS) : TimeSpan.Zero;

    /// <summary>The mail about a job whose set stands; null where its recipe wants none for that outcome.</summary>
    public MailRow? For(JobRow job, Recipe recipe, string setFolder)
    {
        if (recipe.Mail is not { } to) return null;
        var summary = SummaryFiles.Read(setFolder);
        var worst = summary.Outcome switch { Outcome.Ready => Level.Note, Outcome.Check => Level.Check, _ => Level.Stop };
        if (!to.Wants(worst)) return null;
        var shown = string.Join('/', shownShare.TrimEnd('/', '\\'), job.Folder, Path.GetFileName(setFolder));
        return Row(job.Id, worst.ToString().ToLowerInvariant(), to.To, MailText.For(summary, shown, MailPictures.Of(setFolder)));
    }

    /// <summary>A mail that shows that the server takes mails.</summary>
    public MimeMessage Trial(string address)
    {
        var message = Envelope([address], "Stiltwright: a trial mail");
        message.Body = new TextPart("plain") { Text = "This mail shows that the print room's service can send mails. Nothing needs to be done.\n" };
        return message;
    }

    /// <summary>One mail in the place of several to the same people: what each says first, and where its set lies.</summary>
    public MailRow Digest(IReadOnlyList<MailRow> mails)
    {
        var stops = mails.Count(m => m.Level == "stop");
        var subject = SafeHeader.Clean(string.Create(CultureInfo.InvariantCulture, $"{mails.Count} sets: {stops} stop, {mails.Count(m => m.Level == "check")} to look at, {mails.Count(m => m.Level == "note")} ready"));
        var text = new StringBuilder().Append(CultureInfo.InvariantCulture, $"{mails.Count} sets were finished within a short time; this one mail stands for all. The worst come first; each summary says the rest.\n");
        foreach (var mail in mails.OrderBy(m => Array.IndexOf(WorstFirst, m.Level)).ThenBy(m => m.Created, StringComparer.Ordinal).Take(MostInDigest))
        {
            using var bytes = new MemoryStream(mail.Bytes);
            // The head of each: which file and what to decide; then where its set lies.
            var lines = (MimeMessage.Load(bytes).TextBody ?? "").ReplaceLineEndings("\n").Split('\n', StringSplitOptions.RemoveEmptyEntries);
            text.Append("\n* ").Append(mail.Subject).Append('\n');
            foreach (var line in lines.Take(2)) text.Append("  ").Append(line).Append('\n');
        }

        if (mails.Count > MostInDigest) text.Append(CultureInfo.InvariantCulture, $"\nand {mails.Count - MostInDigest} more; see the board.\n");
        var message = Envelope(mails[0].Recipients.Split('\n'), subject);
        message.Body = new TextPart("plain") { Text = text.ToString() };
        using var made = new MemoryStream();
        message.WriteTo(made);
        var id = $"digest-{Guid.NewGuid():N}";
        return new MailRow { Id = id, Job = id, Level = DigestLevel, Recipients = mails[0].Recipients, Subject = subject, Bytes = made.ToArray(), State = "waiting" };
    }

    private MailRow Row(string jobId, string level, IReadOnlyList<string> to, MailText text)
    {
        var subject = SafeHeader.Clean(text.Subject);
        var message = Envelope(to, subject);
        var body = new BodyBuilder { TextBody = text.Text, HtmlBody = text.Html };
        foreach (var picture in text.Inline)
        {
            var linked = body.LinkedResources.Add(SafeHeader.Clean(picture.FileName), picture.Png, ContentType.Parse("image/png"));
            linked.ContentId = picture.ContentId;
        }

        message.Body = body.ToMessageBody();
        using var bytes = new MemoryStream();
        message.WriteTo(bytes);
        return new MailRow
        {
            Id = $"{jobId}-{level}",
            Job = jobId,
            Level = level,
            Recipients = string.Join('\n', to),
            Subject = subject,
            Bytes = bytes.ToArray(),
            State = "waiting",
        };
    }

    private MimeMessage Envelope(IReadOnlyList<string> to, string subject)
    {
        var from = MailboxAddress.Parse(current().From);
        var message = new MimeMessage { Subject = subject, Date = time.GetUtcNow() };
        message.From.Add(from);
        foreach (var address in to)
        {
            if (!SafeHeader.IsAddress(address)) throw new InvalidDataException($"\"{SafeHeader.Clean(address)}\" is no mail address.");
            message.To.Add(MailboxAddress.Parse(address));
        }

        var domain = from.Address[(from.Address.IndexOf('@') + 1)..];
        message.MessageId = string.Create(CultureInfo.InvariantCulture, $"{Guid.NewGuid():N}@{domain}");
        // RFC 3834, 5: tells holiday replies not to answer.
        message.Headers.Add("Auto-Submitted", "auto-generated");
        return message;
    }
}
