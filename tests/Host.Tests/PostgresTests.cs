using System.Diagnostics;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Time.Testing;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Publishing;
using Stiltwright.Host.Watching;

namespace Stiltwright.Host.Tests;

/// <summary>Several services on one PostgreSQL and one share.</summary>
public sealed class PostgresTests(PostgresFixture postgres) : IClassFixture<PostgresFixture>
{
    [PostgresFact]
    public async Task Two_services_share_the_jobs_and_each_is_done_and_mailed_once()
    {
        await using var room = await PostgresRoom.Make(postgres.Server);
        const int Files = 16;
        for (byte i = 0; i < Files; i++) room.Room.DropFile($"crab-{i}.stl", Workshop.Stl(mark: i));
        using var a = await room.Start("a", "check");
        using var b = await room.Start("b", "check");
        var ledger = a.Services.GetRequiredService<Ledger>();
        await Until(() => ledger.InState(JobState.Done).Count == Files, () => Say(ledger));
        await Task.WhenAll(a.StopAsync(), b.StopAsync());

        var done = ledger.InState(JobState.Done);
        Assert.All(done, j => Assert.Equal((1L, 1L, "check"), (j.Attempts, j.Fence, j.Outcome)));
        Assert.Equal(Files, done.Select(j => j.Source).Distinct().Count());
        Assert.Equal(2, done.Select(j => j.Owner).Distinct().Count());
        Assert.Equal(Enumerable.Range(1, Files).Select(n => (long)n), done.Select(j => j.Number));
        Assert.Equal(Files, Directory.GetDirectories(room.Room.Drop, "*.set").Length);
        Assert.Empty(Directory.GetFileSystemEntries(Path.Combine(room.Room.Drop, ".stiltwright", "making")));
        Assert.Equal((long)Files, await postgres.Server.Run(room.Connection, "SELECT COUNT(DISTINCT job) FROM ledger_mails"));
        Assert.Equal((long)Files, await postgres.Server.Run(room.Connection, "SELECT COUNT(*) FROM ledger_mails"));
        Assert.Empty(ledger.Living()); // both said that they end
        foreach (var log in Directory.GetFiles(room.Room.Root, "*.log", SearchOption.AllDirectories))
            Assert.DoesNotContain(postgres.Server.Password, File.ReadAllText(log), StringComparison.Ordinal);
    }

    /// <summary>The page says 15 s at most (docs/several-pcs.md); earlier than the lease would take work from the living.</summary>
    [PostgresFact]
    public async Task The_job_of_a_dead_service_is_taken_over_within_fifteen_seconds_and_not_before_its_lease_is_over()
    {
        await using var room = await PostgresRoom.Make(postgres.Server);
        room.Room.DropFile("crab.stl", Workshop.Stl());
        var dead = new BarePc(room, "dead");
        await dead.Look(work: false);
        var job = dead.Ledger.Claim(dead.Ledger.InState(JobState.Queued).Single().Id)!; // and nothing is heard of it again
        var clock = Stopwatch.StartNew();
        using var living = await room.Start("living", "ready");
        await Until(() => dead.Ledger.Find(job.Id)!.State == JobState.Done, () => Say(dead.Ledger));
        Assert.InRange(clock.Elapsed.TotalSeconds, PostgresStore.Lease.TotalSeconds - 1, 15);
        var done = dead.Ledger.Find(job.Id)!;
        Assert.Equal((2L, "ready"), (done.Attempts, done.Outcome));
        Assert.NotEqual(dead.Ledger.Pc, done.Owner);
        Assert.False(dead.Ledger.NoteMade(job.Id, job.Fence, JobState.Done, 1)); // it wakes, and has the job no more
        await living.StopAsync();
    }

    [PostgresFact]
    public async Task A_service_that_starts_again_takes_its_own_job_up_at_once()
    {
        await using var room = await PostgresRoom.Make(postgres.Server);
        room.Room.DropFile("crab.stl", Workshop.Stl());
        var before = new BarePc(room, "a");
        await before.Look(work: false);
        before.Ledger.Claim(before.Ledger.InState(JobState.Queued).Single().Id);

        var again = new BarePc(room, "a"); // the same state folder
        Assert.Equal(before.Ledger.Pc, again.Ledger.Pc);
        var other = new BarePc(room, "b");
        await other.Look();
        Assert.Single(other.Ledger.InState(JobState.Running)); // the lease is not over: nobody else touches it
        await again.Look();
        Assert.Equal(2, again.Ledger.InState(JobState.Done).Single().Attempts);
    }

    /// <summary>
    /// A PC falls asleep at each change that a publish makes on the share in turn, long enough to be taken for dead; another
    /// does its job; then it wakes and goes on where it was. Whatever the moment: one whole set, of the one that has the job
    /// (or the first's, where it stood already), one mail, the older set kept, nothing left behind.
    /// </summary>
    [PostgresFact]
    public async Task A_service_that_sleeps_at_any_moment_of_its_publish_is_shut_out_when_it_wakes()
    {
        await using var room = await PostgresRoom.Make(postgres.Server);
        var other = new BarePc(room, "other");
        var (overtaken, stood) = (0, 0);
        foreach (var hadOlder in (bool[])[false, true])
        {
            // The first changes make folders and copy; without an older set only the last ones differ.
            for (var n = hadOlder ? 7 : 8; ; n++)
            {
                var name = $"crab-{(hadOlder ? "b" : "a")}{n}";
                var source = room.Room.DropFile(name + ".stl", Workshop.Stl(mark: (byte)n));
                if (hadOlder)
                {
                    await other.Look();
                    File.WriteAllBytes(source, Workshop.Stl(mark: (byte)(n + 100)));
                }

                BarePc? asleep = null;
                var sleeping = new SleepingFiles(n, async () =>
                {
                    room.LetDie(asleep!.Ledger);
                    for (var looks = 0; other.Ledger.InState(JobState.Done).Count(j => j.Source == name + ".stl") < (hadOlder ? 2 : 1); looks++)
                    {
                        Assert.True(looks < 10, "the other one does not do it: " + Say(other.Ledger));
                        await other.Look();
                    }

                    // Its own look for lost runs may come before it goes on, or not.
                    if (n % 2 == 0) asleep.Desk.AbandonLost();
                });
                var sleeper = asleep = new BarePc(room, "sleeper", sleeping);
                await sleeper.Look();
                if (!sleeping.Slept)
                {
                    Assert.InRange(n, 12, 40); // every change had its turn
                    break;
                }

                var job = other.Ledger.InState(JobState.Done).Last(j => j.Source == name + ".stl");
                Assert.Equal(job.Number.ToString(System.Globalization.CultureInfo.InvariantCulture), SetGlance.Read(Path.Combine(room.Room.Drop, name + ".set"))!.Number);
                Assert.Equal(File.ReadAllBytes(source), File.ReadAllBytes(Path.Combine(room.Room.Drop, name + ".set", "figure.stl")));
                // Taken over and claimed: two numbers on. Where the set stood already, it was only taken over, or told before.
                if (job.Owner == other.Ledger.Pc && job.Fence == 3) overtaken++;
                else stood++;
                await sleeper.Look();
                Assert.Empty(Directory.GetFileSystemEntries(Path.Combine(room.Room.Drop, ".stiltwright", "making")));
                var kept = Directory.GetDirectories(Path.Combine(room.Room.Drop, ".stiltwright", "replaced"), name + ".set-*");
                Assert.Equal(hadOlder ? 1 : 0, kept.Length);
                Assert.All(kept, k => Assert.True(File.Exists(Path.Combine(k, name + ".set", "summary.html"))));
                Assert.Empty(Directory.GetDirectories(sleeper.State.ScratchRoot));
            }
        }

        Assert.True(overtaken >= 8 && stood >= 4, $"{overtaken} times the other did it again, {stood} times the set stood already");
        Assert.Equal(0L, await postgres.Server.Run(room.Connection, "SELECT COUNT(*) FROM ledger_jobs WHERE state NOT IN ('done', 'dropped')"));
    }

    /// <summary>One that published dies before it tells; the one that takes its job over dies before it looks; a third comes.</summary>
    [PostgresFact]
    public async Task A_set_that_stands_untold_after_two_deaths_is_told_by_the_third_and_not_made_again()
    {
        await using var room = await PostgresRoom.Make(postgres.Server);
        room.Room.DropFile("crab.stl", Workshop.Stl());
        var first = new BarePc(room, "first", new DyingFiles());
        await first.Look();
        var job = Assert.Single(first.Ledger.InState(JobState.Publishing));
        Assert.True(Directory.Exists(Path.Combine(room.Room.Drop, "crab.set")));
        room.LetDie(first.Ledger);
        var second = room.Ledger("second");
        Assert.Equal(job.Fence + 1, second.TakeOver(job)!.Fence);
        var third = new BarePc(room, "third");
        await third.Look(); // the second one lives as far as anybody knows: its job is let alone
        Assert.Empty(third.Ledger.InState(JobState.Done));
        room.LetDie(second);
        for (var looks = 0; third.Ledger.InState(JobState.Done).Count == 0; looks++)
        {
            Assert.True(looks < 5, Say(third.Ledger));
            await third.Look();
        }

        Assert.False(Directory.Exists(Path.Combine(room.Room.Drop, ".stiltwright", "replaced")) && Directory.GetDirectories(Path.Combine(room.Room.Drop, ".stiltwright", "replaced")).Length > 0, "the set was published twice");
        Assert.Empty(Directory.GetFileSystemEntries(Path.Combine(room.Room.Drop, ".stiltwright", "making")));
    }

    /// <summary>
    /// A mail in the hands of a service that lives is not sent by another, and not forgotten by it either: its owner may
    /// have been cut off and started again, and the engine's message was the only one.
    /// </summary>
    [PostgresFact]
    public async Task A_mail_in_another_s_hands_is_asked_for_again_until_it_is_sent()
    {
        await using var room = await PostgresRoom.Make(postgres.Server);
        await using var server = new SmtpSink();
        var (a, b) = (room.Ledger("a"), room.Ledger("b"));
        var job = a.Claim(a.Add("i", "s", "f", "crab.stl", "r", 1).Id)!;
        var message = new MimeKit.MimeMessage([new MimeKit.MailboxAddress("", "service@example.org")], [new MimeKit.MailboxAddress("", "printroom@example.org")], "crab.stl", new MimeKit.TextPart("plain") { Text = "A set stands." });
        using var bytes = new MemoryStream();
        message.WriteTo(bytes);
        a.Finish(job.Id, job.Fence, JobState.Done, "check", "", "crab.set", 1, new MailRow { Id = "m", Job = job.Id, Level = "check", Recipients = "printroom@example.org", Subject = "crab.stl", Bytes = bytes.ToArray() });
        Assert.NotNull(a.TakeMail("m")); // and is cut off here
        var queue = new RememberingQueue();
        var outbox = new Mail.Outbox(b, queue, new Mail.SmtpSender(server.Settings), new Mail.MailWriter(server.Settings, "", TimeProvider.System), () => server.Settings, TimeProvider.System, Path.Combine(room.Room.Root, "outbox"), Microsoft.Extensions.Logging.Abstractions.NullLogger<Mail.Outbox>.Instance);
        await outbox.Send("m", default);
        Assert.Empty(server.Received);
        Assert.Equal(("m", PostgresStore.Lease), Assert.Single(queue.Mails));
        a.ReleaseMails(); // started again
        await outbox.Send("m", default);
        Assert.Single(server.Received);
        await outbox.Send("m", default);
        Assert.Single(queue.Mails);
    }

    [PostgresFact]
    public async Task A_share_that_another_ledger_serves_is_refused_with_a_sentence()
    {
        await using var room = await PostgresRoom.Make(postgres.Server);
        Directory.CreateDirectory(room.Room.State);
        ShareIdentity.Of(room.Room.Share, new Ledger(room.Room.State, TimeProvider.System)); // SQLite serves it
        room.Room.DropFile("crab.stl", Workshop.Stl());
        var pc = new BarePc(room, "a");
        await pc.Look();
        Assert.Contains("is served by another service", pc.State.Notices["share"], StringComparison.Ordinal);
        Assert.Equal(0, pc.Ledger.TopNumber());
    }

    [PostgresFact]
    public async Task Services_that_come_to_a_new_share_at_the_same_moment_agree_on_its_id()
    {
        await using var room = await PostgresRoom.Make(postgres.Server);
        var ledgers = Enumerable.Range(0, 8).AsParallel().WithDegreeOfParallelism(8).Select(i => room.Ledger("pc" + i)).ToArray();
        Assert.Single(ledgers.Select(l => l.Id).Distinct());
        Assert.Equal(8, ledgers.Select(l => l.Pc).Distinct().Count());
        Assert.Single(ledgers.AsParallel().WithDegreeOfParallelism(8).Select(l => ShareIdentity.Of(room.Room.Share, l)).Distinct());

        // And each job that they find at the same moment is entered once, under a number of its own.
        var added = Enumerable.Range(0, 64).AsParallel().WithDegreeOfParallelism(8).Select(i => ledgers[i % 8].AddAfter(null, "identity " + (i / 4), "share", "folder", "source " + (i / 4), "recipe", 1)).OfType<JobRow>().ToArray();
        Assert.Equal(Enumerable.Range(1, 16).Select(n => (long)n), added.Select(j => j.Number).Order());
        // Each is claimed by one of them.
        Assert.Equal(16, added.AsParallel().WithDegreeOfParallelism(8).SelectMany(j => ledgers.Select(l => l.Claim(j.Id))).OfType<JobRow>().Count());
    }

    [PostgresFact]
    public async Task A_mail_is_in_one_hand_at_a_time()
    {
        await using var room = await PostgresRoom.Make(postgres.Server);
        var (a, b) = (room.Ledger("a"), room.Ledger("b"));
        var job = a.Claim(a.Add("i", "s", "f", "crab.stl", "r", 1).Id)!;
        a.Finish(job.Id, job.Fence, JobState.Done, "check", "half \ud800 a character, and \0", "crab.set", 1, new MailRow { Id = "m", Job = job.Id, Level = "check", Recipients = "printroom@example.org", Subject = "s", Bytes = [1, 2, 3] });
        Assert.Equal("half \ufffd a character, and \ufffd", a.Find(job.Id)!.Sentence);
        Assert.Equal([1, 2, 3], a.TakeMail("m")!.Bytes);
        Assert.Null(b.TakeMail("m"));
        Assert.NotNull(a.TakeMail("m")); // its own, after a crash
        a.NoteMail("m", "waiting", "the server is away", tried: true);
        Assert.Equal(1, b.TakeMail("m")!.Tries);
        room.LetDie(b);
        Assert.NotNull(a.TakeMail("m"));
        a.NoteMail("m", "sent", "", tried: true);
        Assert.Null(b.TakeMail("m"));
    }

    [PostgresFact]
    public async Task Clocks_that_disagree_agree_on_the_database_s()
    {
        await using var room = await PostgresRoom.Make(postgres.Server);
        var ahead = room.Ledger("ahead", new FakeTimeProvider(TimeProvider.System.GetUtcNow().AddHours(5)));
        var behind = room.Ledger("behind", new FakeTimeProvider(TimeProvider.System.GetUtcNow().AddHours(-5)));
        var job = ahead.Add("i", "s", "f", "crab.stl", "r", 1);
        Assert.Empty(behind.QueuedFor("s", TimeSpan.FromMinutes(1)));
        Assert.InRange((DateTimeOffset.Parse(job.Created, System.Globalization.CultureInfo.InvariantCulture) - TimeProvider.System.GetUtcNow()).Duration().TotalSeconds, 0, 5);
    }

    [PostgresFact]
    public async Task Two_sources_that_would_have_one_set_s_name_never_get_it_at_the_same_moment()
    {
        await using var room = await PostgresRoom.Make(postgres.Server);
        var (a, b) = (room.Ledger("a"), room.Ledger("b"));
        Assert.True(a.KeepPlace("s", "f", "CRAB.SET", "crab.stl", _ => true));
        Assert.False(b.KeepPlace("s", "f", "CRAB.SET", "crab.obj", _ => true));
        Assert.True(b.KeepPlace("s", "f", "CRAB.SET", "crab.stl", _ => true));
        Assert.True(b.KeepPlace("s", "f", "CRAB.SET", "crab.obj", _ => false)); // crab.stl went, with its set
        Assert.False(a.KeepPlace("s", "f", "CRAB.SET", "crab.stl", _ => true));
    }

    [PostgresFact]
    public async Task A_server_that_does_not_let_us_in_is_told_in_a_sentence_without_the_password()
    {
        await using var room = await PostgresRoom.Make(postgres.Server);
        var e = Assert.Throws<IOException>(() => new PostgresStore(room.Connection, "wrong secret").Test());
        Assert.Contains("cannot be used", e.Message, StringComparison.Ordinal);
        Assert.DoesNotContain("wrong secret", e.ToString(), StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("Host=db;Password=secret-one;Database=d", "does not belong here")]
    [InlineData("Database=d", "The server is missing")]
    [InlineData("Hots=secret-one", "no connection to PostgreSQL")]
    public void Settings_with_a_password_or_without_a_server_are_mistakes_that_repeat_nothing_secret(string connection, string says)
    {
        using var room = new Workshop();
        room.Write("stiltwright.json", $$"""{ "ledger": { "postgres": "{{connection}}" } }""");
        var mistake = Assert.Single(ConfigReader.Read(room.ConfigFolder, _ => Workshop.Catalog).Mistakes).ToString();
        Assert.Contains(says, mistake, StringComparison.Ordinal);
        Assert.DoesNotContain("secret-one", mistake, StringComparison.Ordinal);
    }

    private static string Say(Ledger ledger) => string.Join("; ", ledger.InState(JobState.Queued, JobState.Running, JobState.Waiting, JobState.Publishing, JobState.Done, JobState.Parked, JobState.Dropped).Select(j => $"{j.Source} {j.State} {j.Created[11..21]}-{j.Changed[11..21]} run {j.Fence} of {j.Owner}: {j.Sentence}"));

    private static async Task Until(Func<bool> condition, Func<string> say)
    {
        for (var i = 0; i < 600; i++)
        {
            if (condition()) return;
            await Task.Delay(100);
        }

        Assert.Fail("It did not happen within 60 s: " + say());
    }

    private sealed class RememberingQueue : IQueue
    {
        public List<(string Id, TimeSpan Delay)> Mails { get; } = [];

        public Task Job(string jobId, bool large, TimeSpan delay = default) => Task.CompletedTask;

        public Task Mail(string mailId, TimeSpan delay)
        {
            Mails.Add((mailId, delay));
            return Task.CompletedTask;
        }
    }

    /// <summary>A share on which the service breaks down after the new set was renamed to its place.</summary>
    private sealed class DyingFiles : ShareFiles
    {
        private bool _dead;

        public override void MoveFolder(string from, string to)
        {
            base.MoveFolder(from, to);
            _dead = true;
        }

        public override void FlushFolder(string path) => Do(() => base.FlushFolder(path));

        public override void DeleteEmptyFolder(string path) => Do(() => base.DeleteEmptyFolder(path));

        public override void DeleteFile(string path) => Do(() => base.DeleteFile(path));

        private void Do(Action act)
        {
            if (_dead) throw new InvalidOperationException("it is dead");
            act();
        }
    }

    /// <summary>
    /// A share at whose nth change the service falls asleep until others did its work: before it, and where the ledger is
    /// asked after it, after it as well.
    /// </summary>
    private sealed class SleepingFiles(int at, Func<Task> meanwhile) : WatchedFiles
    {
        private int _count;

        public bool Slept { get; private set; }

        protected override async Task<string> Copy(string from, string to, Func<Task<string>> act)
        {
            await Sleep();
            return await act();
        }

        protected override void Change(string what, Action act)
        {
            if (what != nameof(FlushFolder)) Sleep().GetAwaiter().GetResult();
            act();
            if (what is nameof(MakeFolder) or nameof(DeleteFile) or nameof(Replace)) Sleep().GetAwaiter().GetResult();
        }

        private async Task Sleep()
        {
            if (Slept || ++_count != at) return;
            Slept = true;
            await meanwhile();
        }
    }
}
