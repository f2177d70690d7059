using System.Buffers;
using System.Collections.Concurrent;
using System.Net;
using System.Net.Sockets;
using Microsoft.Extensions.Logging.Abstractions;
using MimeKit;
using SmtpServer;
using SmtpServer.Protocol;
using SmtpServer.Storage;
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
        await using var server = new Server();
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
    public async Task A_wrong_login_is_not_tried_again_and_is_said()
    {
        var (ledger, mail) = Made("crab.stl", "check");
        var queue = new Remembering();
        await Outbox(ledger, queue, new Flaky(new MailRefusedException("The mail server does not take the login.", new IOException()))).Send(mail.Id, default);
        Assert.Empty(queue.Mails);
        Assert.Equal("refused", Assert.Single(ledger.UnsentMails()).State);
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

    private Outbox Outbox(Ledger ledger, IQueue queue, IMailSender sender) =>
        new(ledger, queue, sender, Path.Combine(_room.State, "outbox"), NullLogger<Outbox>.Instance);

    private (Ledger Ledger, MailRow Mail) Made(string source, string Level)
    {
        var ledger = new Ledger(_room.State, TimeProvider.System);
        var job = ledger.Claim(ledger.Add("identity", "share", "enlarge-200", source, "enlarge-200", 1).Id)!;
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

        public Task Job(string jobId, bool large) => Task.CompletedTask;

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

        public bool HasServer => true;

        public Task Send(MimeMessage message, CancellationToken cancel)
        {
            Ids.Add(message.MessageId!);
            return Fault is null ? Task.CompletedTask : Task.FromException(Fault);
        }
    }

    /// <summary>A real SMTP server on the loopback (the SmtpServer package).</summary>
    internal sealed class Server : IAsyncDisposable
    {
        private readonly CancellationTokenSource _stop = new();
        private readonly Task _running;

        public Server()
        {
            var port = FreePort();
            Settings = new MailSettings { Server = "127.0.0.1", Port = port, Security = "none" };
            var services = new SmtpServer.ComponentModel.ServiceProvider();
            services.Add(new Store(Received));
            _running = new SmtpServer.SmtpServer(new SmtpServerOptionsBuilder().ServerName("localhost").Endpoint(e => e.Endpoint(new IPEndPoint(IPAddress.Loopback, port))).Build(), services).StartAsync(_stop.Token);
        }

        public MailSettings Settings { get; }

        public ConcurrentQueue<MimeMessage> Received { get; } = new();

        public async ValueTask DisposeAsync()
        {
            await _stop.CancelAsync();
            await Task.WhenAny(_running, Task.Delay(5000));
            _stop.Dispose();
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
    }
}
