using Microsoft.Extensions.Logging.Abstractions;
using Microsoft.Extensions.Time.Testing;
using MimeKit;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Mail;

namespace Stiltwright.Host.Tests;

public sealed class MailTests : IDisposable
{
    private readonly Workshop _room = new();

    public void Dispose() => _room.Dispose();

    [Theory]
    [InlineData("crab\r\nBcc: everybody@example.org.stl")]
    [InlineData("crab\u2028Bcc: x\u0000\u001b[2J.stl")]
    [InlineData("=?utf-8?q?crab=0D=0ABcc:_x@example.org?=.stl")]
    [InlineData("кракен <b>\"х\" 海.stl")]
    public void No_file_name_can_put_a_line_into_the_head_of_a_mail(string source)
    {
        var (_, mail) = Made(source, Level: "stop");
        using var bytes = new MemoryStream(mail.Bytes);
        var message = MimeMessage.Load(bytes);
        Assert.Equal(["printroom@example.org"], message.To.Mailboxes.Select(m => m.Address));
        Assert.Empty(message.Bcc);
        Assert.DoesNotContain(message.Subject!, char.IsControl);
        Assert.Single(message.Headers, h => h.Id == HeaderId.Subject);
        Assert.Equal(["Auto-Submitted", "Date", "From", "MIME-Version", "Message-Id", "Subject", "To"], message.Headers.Select(h => h.Field).Order(StringComparer.Ordinal));
    }

    [Theory]
    [InlineData("printroom@example.org", true)]
    [InlineData("Print room <printroom@example.org>", true)]
    [InlineData("printroom", false)]
    [InlineData("a@example.org\r\nRCPT TO:<b@example.org>", false)]
    [InlineData("\"a\r\nb\"@example.org", false)]
    [InlineData("a@example.org, b@example.org", false)]
    [InlineData("", false)]
    public void Only_a_plain_address_is_an_address(string text, bool right) => Assert.Equal(right, SafeHeader.IsAddress(text));

    [Theory]
    [InlineData("always", 3)]
    [InlineData("check", 2)]
    [InlineData("stop", 1)]
    [InlineData("never", 0)]
    public void A_recipe_gets_mail_for_its_level_or_worse(string when, int of) =>
        Assert.Equal(of, Enum.GetValues<Sdk.Level>().Count(new RecipeMail(["a@example.org"], when).Wants));

    [Fact]
    public async Task The_mail_server_receives_the_mail_once_with_its_message_id()
    {
        await using var server = new SmtpSink();
        var (ledger, mail) = Made("crab.stl", "check");
        var queue = new Remembering();
        var outbox = Outbox(ledger, queue, new SmtpSender(server.Settings));
        await outbox.Send(mail.Id, default);
        await outbox.Send(mail.Id, default); // a message of the queue that comes twice
        var received = Assert.Single(server.Received);
        using var bytes = new MemoryStream(mail.Bytes);
        var made = MimeMessage.Load(bytes);
        Assert.Equal(made.MessageId, received.MessageId);
        Assert.Equal(made.Date, received.Date);
        Assert.Contains("crab.stl", received.Subject, StringComparison.Ordinal);
        Assert.NotNull(received.HtmlBody);
        Assert.NotNull(received.TextBody);
        Assert.Empty(ledger.UnsentMails());
    }

    [Fact]
    public async Task A_mail_server_that_is_down_gets_the_same_bytes_later()
    {
        var (ledger, mail) = Made("crab.stl", "check");
        var queue = new Remembering();
        var sender = new Flaky(new IOException("the line broke"));
        var outbox = Outbox(ledger, queue, sender);
        await outbox.Send(mail.Id, default);
        var (id, pause) = Assert.Single(queue.Mails);
        Assert.Equal(mail.Id, id);
        Assert.InRange(pause.TotalSeconds, 5, 6);
        var waiting = Assert.Single(ledger.UnsentMails());
        Assert.Equal(("waiting", 1L, "the line broke"), (waiting.State, waiting.Tries, waiting.Reason));
        sender.Fault = null;
        await outbox.Send(mail.Id, default);
        Assert.Empty(ledger.UnsentMails());
        Assert.Equal(2, sender.Ids.Count);
        Assert.Single(sender.Ids.Distinct());
    }

    [Fact]
    public async Task What_the_server_refuses_for_good_is_not_tried_again_and_is_said()
    {
        var (ledger, mail) = Made("crab.stl", "check");
        var queue = new Remembering();
        await Outbox(ledger, queue, new Flaky(new MailRefusedException("The mail server refuses this mail.", new IOException()))).Send(mail.Id, default);
        Assert.Empty(queue.Mails);
        Assert.Equal("refused", Assert.Single(ledger.UnsentMails()).State);
    }

    [Fact]
    public async Task A_wrong_login_holds_the_mail_until_a_person_has_mended_it()
    {
        var (ledger, mail) = Made("crab.stl", "check");
        var queue = new Remembering();
        var sender = new Flaky(new MailHeldException("The mail server does not take the login."));
        await Outbox(ledger, queue, sender).Send(mail.Id, default);
        Assert.Equal(TimeSpan.FromHours(1), Assert.Single(queue.Mails).Delay);
        Assert.Equal(("waiting", "The mail server does not take the login."), (ledger.UnsentMails()[0].State, ledger.UnsentMails()[0].Reason));
        sender.Fault = null;
        await Outbox(ledger, queue, sender).Send(mail.Id, default);
        Assert.Empty(ledger.UnsentMails());
    }

    [Fact]
    public async Task Many_mails_at_once_to_the_same_people_become_one()
    {
        var ledger = new Ledger(_room.State, TimeProvider.System);
        var mails = Enumerable.Range(0, 6).Select(i => Made($"crab-{i}.stl", "stop", ledger).Mail).ToArray();
        await using var server = new SmtpSink();
        var outbox = Outbox(ledger, new Remembering(), new SmtpSender(server.Settings), server.Settings);
        foreach (var mail in mails) await outbox.Send(mail.Id, default);
        var received = Assert.Single(server.Received);
        Assert.Equal("6 sets: 6 stop, 0 to look at, 0 ready", received.Subject);
        foreach (var mail in mails) Assert.Contains(mail.Subject, received.TextBody, StringComparison.Ordinal);
        Assert.Empty(ledger.UnsentMails());
    }

    [Fact]
    public async Task Few_mails_go_each_by_itself()
    {
        var ledger = new Ledger(_room.State, TimeProvider.System);
        var mails = Enumerable.Range(0, 3).Select(i => Made($"crab-{i}.stl", "check", ledger).Mail).ToArray();
        await using var server = new SmtpSink();
        var outbox = Outbox(ledger, new Remembering(), new SmtpSender(server.Settings), server.Settings);
        foreach (var mail in mails) await outbox.Send(mail.Id, default);
        Assert.Equal(3, server.Received.Count);
    }

    [Theory]
    [InlineData("22:00", "06:00", "23:30", 390)]
    [InlineData("22:00", "06:00", "05:59", 1)]
    [InlineData("22:00", "06:00", "06:00", null)]
    [InlineData("12:00", "13:00", "12:15", 45)]
    [InlineData("12:00", "13:00", "11:59", null)]
    [InlineData("", "", "12:00", null)]
    public void Quiet_hours_go_over_midnight_and_end(string from, string to, string now, int? minutes) =>
        Assert.Equal(minutes is { } m ? TimeSpan.FromMinutes(m) : null, QuietHours.Left(from, to, new DateTimeOffset(new DateTime(2026, 3, 1) + TimeOnly.Parse(now, System.Globalization.CultureInfo.InvariantCulture).ToTimeSpan(), TimeSpan.FromHours(1))));

    [Fact]
    public async Task In_the_quiet_hours_a_mail_waits_for_their_end()
    {
        var (ledger, mail) = Made("crab.stl", "stop");
        var queue = new Remembering();
        var sender = new Flaky(null);
        var time = new FakeTimeProvider(new DateTimeOffset(2026, 3, 1, 23, 0, 0, TimeSpan.Zero));
        var settings = new MailSettings { Server = "mail", QuietFrom = "22:00", QuietTo = "06:00" };
        var outbox = Outbox(ledger, queue, sender, settings, time);
        await outbox.Send(mail.Id, default);
        Assert.Equal(TimeSpan.FromHours(7), Assert.Single(queue.Mails).Delay - TimeSpan.FromSeconds(1));
        Assert.Empty(sender.Ids);
        time.Advance(queue.Mails[0].Delay);
        await outbox.Send(mail.Id, default);
        Assert.Single(sender.Ids);
    }

    [Theory]
    [InlineData("startTls")]
    [InlineData("tls")]
    public async Task An_encrypted_line_is_trusted_by_its_certificate_only(string security)
    {
        await using var server = new SmtpSink(security);
        var (ledger, mail) = Made("crab.stl", "check");
        // A certificate that nobody vouches for: held, nothing sent.
        await Outbox(ledger, new Remembering(), new SmtpSender(server.Settings)).Send(mail.Id, default);
        Assert.Empty(server.Received);
        Assert.Contains("cannot be trusted", Assert.Single(ledger.UnsentMails()).Reason, StringComparison.Ordinal);
        // The very certificate that the settings name, and a login over that line.
        var pinned = server.Settings with { CertificateSha256 = server.CertificateSha256, User = "printroom", PasswordFile = Password("anchovy") };
        await Outbox(ledger, new Remembering(), new SmtpSender(pinned)).Send(mail.Id, default);
        Assert.Single(server.Received);
        Assert.Equal(("printroom", "anchovy"), server.LastLogin);
    }

    [Fact]
    public async Task A_server_that_offers_no_encrypted_line_gets_neither_mail_nor_password()
    {
        await using var server = new SmtpSink();
        var (ledger, mail) = Made("crab.stl", "check");
        await Outbox(ledger, new Remembering(), new SmtpSender(server.Settings with { Security = "startTls", User = "printroom", PasswordFile = Password("anchovy") })).Send(mail.Id, default);
        Assert.Empty(server.Received);
        Assert.Contains("offers no encrypted line", Assert.Single(ledger.UnsentMails()).Reason, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_wrong_password_is_said_and_stands_in_no_message()
    {
        await using var server = new SmtpSink("startTls");
        var (ledger, mail) = Made("crab.stl", "check");
        var wrong = server.Settings with { CertificateSha256 = server.CertificateSha256, User = "printroom", PasswordFile = Password("wrong-anchovy") };
        await Outbox(ledger, new Remembering(), new SmtpSender(wrong)).Send(mail.Id, default);
        var reason = Assert.Single(ledger.UnsentMails()).Reason;
        Assert.Contains("does not take the login", reason, StringComparison.Ordinal);
        Assert.DoesNotContain("wrong-anchovy", reason, StringComparison.Ordinal);
    }

    [Fact]
    public async Task One_address_that_the_server_refuses_does_not_keep_the_others_from_theirs()
    {
        await using var server = new SmtpSink();
        var message = new MailWriter(server.Settings, "", TimeProvider.System).Trial("printroom@example.org");
        message.To.Add(MailboxAddress.Parse("gone@example.org"));
        Assert.Equal(["gone@example.org"], await new SmtpSender(server.Settings).Send(message, default));
        Assert.Single(server.Received);
        message.To.Clear();
        message.To.Add(MailboxAddress.Parse("gone@example.org"));
        await Assert.ThrowsAsync<MailRefusedException>(() => new SmtpSender(server.Settings).Send(message, default));
    }

    [Fact]
    public async Task However_many_messages_come_for_a_mail_it_is_tried_again_at_its_time_and_once()
    {
        var time = new FakeTimeProvider(new DateTimeOffset(2026, 3, 1, 12, 0, 0, TimeSpan.Zero));
        var (ledger, mail) = Made("crab.stl", "check", new Ledger(_room.State, time));
        var (queue, sender) = (new Remembering(), new Flaky(new IOException("the line broke")));
        var outbox = Outbox(ledger, queue, sender, time: time);
        await outbox.Due(mail.Id, default);
        for (var i = 0; i < 5; i++) await outbox.Due(mail.Id, default);
        Assert.Single(sender.Ids);
        time.Advance(Assert.Single(queue.Mails).Delay);
        for (var i = 0; i < 5; i++) await outbox.Due(mail.Id, default);
        Assert.Equal(2, sender.Ids.Count);
        await outbox.TryAll(); // settings were mended
        await outbox.Due(mail.Id, default);
        Assert.Equal(3, sender.Ids.Count);
    }

    [Fact]
    public async Task A_mail_whose_message_was_lost_is_asked_for_ever_more_rarely_and_not_while_others_are_sent()
    {
        var time = new FakeTimeProvider(new DateTimeOffset(2026, 3, 1, 12, 0, 0, TimeSpan.Zero));
        var ledger = new Ledger(_room.State, time);
        var lost = Made("crab.stl", "check", ledger).Mail;
        var queue = new Remembering();
        var outbox = Outbox(ledger, queue, new Flaky(null), time: time);
        var minutes = new List<int>();
        for (var minute = 1; minute <= 60; minute++)
        {
            time.Advance(TimeSpan.FromMinutes(1));
            if (minute <= 5) await outbox.Due(Made($"squid-{minute}.stl", "check", ledger).Mail.Id, default); // the queue goes on: its own may only be late
            await outbox.Remind();
            minutes.AddRange(Enumerable.Repeat(minute, queue.Mails.Count));
            queue.Mails.Clear();
        }

        Assert.Equal([6, 8, 12, 20, 36], minutes); // twice the pause each time, from the first quiet minute on
        await outbox.Due(lost.Id, default);
        time.Advance(TimeSpan.FromHours(3));
        await outbox.Remind();
        Assert.Empty(queue.Mails);
    }

    [Fact]
    public async Task A_mail_that_the_server_took_while_the_ledger_s_disk_was_full_is_noted_when_there_is_room_and_never_sent_again()
    {
        var time = new FakeTimeProvider(new DateTimeOffset(2026, 3, 1, 12, 0, 0, TimeSpan.Zero));
        var store = new FailingStore(_room.State);
        var (ledger, mail) = Made("crab.stl", "check", new Ledger(store, time, "print room"));
        var sender = new Flaky(null) { Taken = () => store.Fails = true };
        var outbox = Outbox(ledger, new Remembering(), sender, time: time);
        var sending = outbox.Send(mail.Id, default);
        for (var tries = 1; tries <= 3; tries++)
        {
            for (var i = 0; i < 1000 && store.Refused < tries; i++) await Task.Delay(10);
            Assert.Equal(tries, store.Refused);
            Assert.False(sending.IsCompleted);
            if (tries == 3) store.Fails = false;
            for (var i = 0; i < 1000 && !sending.IsCompleted && store.Refused == tries; i++)
            {
                time.Advance(TimeSpan.FromSeconds(3)); // it may only be about to begin to wait
                await Task.Delay(10);
            }
        }

        await sending.WaitAsync(TimeSpan.FromSeconds(30));
        Assert.Equal("sent", ledger.Mail(mail.Id)!.State);
        sender.Taken = () => { };
        await outbox.Due(mail.Id, default);
        Assert.Single(sender.Ids);
    }

    private string Password(string text)
    {
        var path = Path.Combine(_room.Root, "password");
        File.WriteAllText(path, text + "\n");
        return path;
    }

    [Fact]
    public async Task Without_a_server_the_mail_waits_in_the_outbox_as_a_file()
    {
        var (ledger, mail) = Made("crab.stl", "check");
        var outbox = Outbox(ledger, new Remembering(), new SmtpSender(new MailSettings()));
        await outbox.Send(mail.Id, default);
        var message = await MimeMessage.LoadAsync(Assert.Single(Directory.GetFiles(outbox.Folder)));
        Assert.Contains("crab.stl", message.Subject, StringComparison.Ordinal);
        Assert.Single(ledger.WaitingMails());
    }

    [Fact]
    public void One_mail_a_job_and_level()
    {
        var (ledger, mail) = Made("crab.stl", "check");
        Assert.False(ledger.Finish(mail.Job, 1, JobState.Done, "check", "", "crab.set", 1, mail)); // a recovery that finds it done
        Assert.Single(ledger.WaitingMails());
    }

    [Fact]
    public void Pauses_double_up_to_an_hour()
    {
        foreach (var (tries, least) in new[] { (0L, 5.0), (1, 10), (5, 160), (20, 3600), (400, 3600) })
            Assert.InRange(Mail.Outbox.Pause(tries).TotalSeconds, least, least * 1.2);
    }

    private Outbox Outbox(Ledger ledger, IQueue queue, IMailSender sender, MailSettings? settings = null, TimeProvider? time = null) =>
        new(ledger, queue, sender, new MailWriter(settings ?? new MailSettings(), "", TimeProvider.System), () => settings ?? new MailSettings(), time ?? TimeProvider.System, Path.Combine(_room.State, "outbox"), NullLogger<Outbox>.Instance);

    private (Ledger Ledger, MailRow Mail) Made(string source, string Level, Ledger? ledger = null)
    {
        ledger ??= new Ledger(_room.State, TimeProvider.System);
        var job = ledger.Claim(ledger.Add("identity of " + source, "share", "enlarge-200", source, "enlarge-200", 1).Id)!;
        var set = Directory.CreateDirectory(Path.Combine(_room.Root, "set")).FullName;
        var recipe = _room.Read().Recipes["enlarge-200"];
        StopSummary.Write(set, new JobInput { JobId = job.Id, Number = "1", SourcePath = source, Folder = "enlarge-200", Recipe = recipe, PluginFolders = [], Scratch = set }, "00",
            new Sdk.Finding("island", Level == "stop" ? Sdk.Level.Stop : Sdk.Level.Check, $"{source}: an island begins in layer 40.", "Add a strut."));
        var mail = new MailWriter(new MailSettings(), "//server/printroom", TimeProvider.System).For(job, recipe, set)!;
        Assert.True(ledger.Finish(job.Id, job.Fence, JobState.Done, Level, "", "crab.set", 1, mail));
        return (ledger, mail);
    }

    private sealed class Remembering : IQueue
    {
        public List<(string Id, TimeSpan Delay)> Mails { get; } = [];

        public Task Job(string jobId, bool large, TimeSpan delay = default) => Task.CompletedTask;

        public Task Mail(string mailId, TimeSpan delay)
        {
            Mails.Add((mailId, delay));
            return Task.CompletedTask;
        }
    }

    private sealed class Flaky(Exception? fault) : IMailSender
    {
        public Exception? Fault { get; set; } = fault;

        public List<string> Ids { get; } = [];

        /// <summary>What happens between the server's last answer and our note of it.</summary>
        public Action Taken { get; set; } = () => { };

        public bool HasServer => true;

        public Task<IReadOnlyList<string>> Send(MimeMessage message, CancellationToken cancel)
        {
            Ids.Add(message.MessageId!);
            Taken();
            return Fault is null ? Task.FromResult<IReadOnlyList<string>>([]) : Task.FromException<IReadOnlyList<string>>(Fault);
        }
    }
}
