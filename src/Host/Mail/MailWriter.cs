using System.Globalization;
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
public sealed class MailWriter(MailSettings settings, string shownShare, TimeProvider time)
{
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
        var from = MailboxAddress.Parse(settings.From);
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
