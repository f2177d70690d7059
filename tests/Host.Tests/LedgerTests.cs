using Dapper;
using Microsoft.Data.Sqlite;
using Microsoft.Extensions.Logging.Abstractions;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Mail;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Tests;

/// <summary>Whose turn it is, what changed, and ledgers of older versions.</summary>
public sealed class LedgerTests : IDisposable
{
    private readonly Workshop _room = new();

    public void Dispose() => _room.Dispose();

    [Fact]
    public async Task A_job_that_was_put_back_keeps_its_place_before_what_was_dropped_after_it()
    {
        var ledger = new Ledger(_room.State, TimeProvider.System);
        var (desk, done) = Desk(ledger, "share");
        var jobs = Enumerable.Range(0, 4).Select(n => Add(ledger, n, bytes: 284)).ToArray();
        // The first was taken by a service that died, and is queued again by another: its message is the last.
        var taken = ledger.Claim(jobs[0].Id)!;
        Assert.True(ledger.Requeue(taken.Id, JobState.Running, taken.Fence));
        foreach (var job in (JobRow[])[jobs[1], jobs[2], jobs[3], jobs[0]]) await desk.RunNext(job.Id, large: false, default);
        Assert.Equal(["crab-0.stl", "crab-1.stl", "crab-2.stl", "crab-3.stl"], done);
        await desk.RunNext(jobs[2].Id, large: false, default); // a message too many
        Assert.Equal(4, done.Count);
    }

    [Fact]
    public async Task A_message_for_a_small_job_never_lets_a_large_one_be_done_instead()
    {
        var ledger = new Ledger(_room.State, TimeProvider.System);
        var (desk, done) = Desk(ledger, "share");
        Add(ledger, 0, bytes: 200L << 20);
        var small = Add(ledger, 1, bytes: 284);
        await desk.RunNext(small.Id, large: false, default);
        Assert.Equal(["crab-1.stl"], done);
        await desk.RunNext(small.Id, large: false, default);
        Assert.Single(done);
        await desk.RunNext(small.Id, large: true, default);
        Assert.Equal(["crab-1.stl", "crab-0.stl"], done);
    }

    [Fact]
    public async Task A_job_whose_size_counts_otherwise_since_the_settings_changed_is_done_all_the_same()
    {
        var ledger = new Ledger(_room.State, TimeProvider.System);
        var (desk, done) = Desk(ledger, "share");
        var large = Add(ledger, 0, bytes: 200L << 20);
        await desk.RunNext(large.Id, large: false, default);
        Assert.Equal(["crab-0.stl"], done);
    }

    [Fact]
    public async Task A_job_whose_message_came_to_count_for_another_size_gets_one_of_its_own_size_before_another_is_done()
    {
        var ledger = new Ledger(_room.State, TimeProvider.System);
        var queue = new NotedQueue();
        var (desk, done) = Desk(ledger, "share", queue);
        var large = Add(ledger, 0, bytes: 200L << 20); // it was small when its message was sent
        var small = Add(ledger, 1, bytes: 284);
        await desk.RunNext(large.Id, large: false, default);
        Assert.Equal(["crab-1.stl"], done);
        Assert.Equal([(large.Id, true)], queue.Jobs);
        await desk.RunNext(small.Id, large: false, default);
        await desk.RunNext(large.Id, large: true, default);
        Assert.Equal(["crab-1.stl", "crab-0.stl"], done);
        Assert.Single(queue.Jobs);
    }

    [Fact]
    public void A_ledger_that_could_not_be_opened_at_first_is_asked_rightly_afterwards()
    {
        var ledger = new Ledger(_room.State, TimeProvider.System);
        using var changes = new LedgerChanges(ledger.Store);
        var place = new SqliteConnectionStringBuilder(ledger.Store.EngineConnection).DataSource;
        File.Move(place, place + ".away");
        Directory.CreateDirectory(place);
        Assert.Throws<SqliteException>(() => changes.Any());
        Directory.Delete(place);
        File.Move(place + ".away", place);
        Assert.True(changes.Any());
        Assert.False(changes.Any());
        Add(ledger, 0, bytes: 1);
        Assert.True(changes.Any());
    }

    [Theory]
    [InlineData(5, true)] // EIO
    [InlineData(28, true)] // ENOSPC
    [InlineData(30, true)] // EROFS
    [InlineData(122, true)] // EDQUOT
    [InlineData(2, false)] // ENOENT
    [InlineData(11, false)] // EAGAIN, of a lock
    [InlineData(13, false)] // EACCES
    public void A_disk_that_is_full_read_only_or_broken_is_told_from_everything_else(int errno, bool disks)
    {
        if (OperatingSystem.IsWindows()) return; // there the fault has other numbers (asm-generic/errno-base.h, errno.h)
        Assert.Equal(disks, RoomOnDisk.IsDisks(new AggregateException(new InvalidDataException("", new IOException("said by the system", errno)))));
    }

    [Fact]
    public async Task A_job_whose_worker_says_that_the_disk_gave_out_waits_and_its_file_is_not_blamed()
    {
        var ledger = new Ledger(_room.State, TimeProvider.System);
        var worker = new WorkerCommand("", []) { InProcess = (_, _, _) => Task.FromResult(new WorkerReport(WorkerEnd.Failed, Commands.ExitCode.DiskGaveOut, "inspect", "Input/output error : 'set/summary.json'", 1, 0.1)) };
        var (desk, _) = Desk(ledger, "share", worker: worker);
        var job = Add(ledger, 0, bytes: 284);
        await desk.RunNext(job.Id, large: false, default);
        var now = ledger.Find(job.Id)!;
        Assert.Equal((JobState.Waiting, 0L), (now.State, now.Attempts));
        Assert.Contains("gave out", now.Sentence, StringComparison.Ordinal);
        Assert.Contains("Input/output error", now.Sentence, StringComparison.Ordinal);
        Assert.False(Directory.Exists(Path.Combine(_room.Drop, "crab-0.set")));
    }

    [Fact]
    public void The_ledger_says_whether_anybody_changed_it()
    {
        var ledger = new Ledger(_room.State, TimeProvider.System);
        using var changes = new LedgerChanges(ledger.Store);
        Assert.True(changes.Any());
        Assert.False(changes.Any());
        ledger.InState(JobState.Queued);
        Assert.False(changes.Any());
        Add(ledger, 0, bytes: 1);
        Assert.True(changes.Any());
        Assert.False(changes.Any());
        new Ledger(_room.State, TimeProvider.System).Record(new OutcomeEntry(1, "printed", null, null, null, null, null)); // as another process does
        Assert.True(changes.Any());
    }

    [Fact]
    public void The_latest_jobs_are_one_a_source_youngest_first_and_what_is_being_done_is_always_among_them()
    {
        var ledger = new Ledger(_room.State, TimeProvider.System);
        var oldest = Add(ledger, 0, bytes: 1);
        Assert.NotNull(ledger.Claim(oldest.Id));
        for (var n = 1; n < 6; n++)
        {
            Add(ledger, n, bytes: 1);
            ledger.Add($"changed {n}", "share", "enlarge-200", $"crab-{n}.stl", "enlarge-200", 2);
        }

        Assert.Equal([11, 9, 1], ledger.Latest("share", 3).Select(j => j.Number));
        Assert.Equal([11, 9, 7, 5, 3, 1], ledger.Latest("share", 100).Select(j => j.Number));
        Assert.Empty(ledger.Latest("another share", 3));
    }

    [Fact]
    public void A_ledger_of_the_version_before_is_taken_over_with_what_waits_in_it()
    {
        var store = new SqliteStore(_room.State);
        using (var db = store.Open())
        {
            db.Execute(LedgerSchema.Sql.Replace(", due TEXT NOT NULL DEFAULT ''", "", StringComparison.Ordinal));
            db.Execute("CREATE INDEX ledger_jobs_source ON ledger_jobs (share, folder, source); INSERT INTO ledger_facts VALUES ('version', '3')");
            db.Execute("INSERT INTO ledger_mails (id, job, level, recipients, subject, bytes, state, created) VALUES ('m', 'j', 'stop', 'a@example.org', 's', x'01', 'waiting', '2026-03-01T12:00:00.0000000+00:00')");
        }

        var ledger = new Ledger(_room.State, TimeProvider.System);
        Assert.Equal("m", Assert.Single(ledger.Overdue(TimeSpan.Zero)));
        Assert.Equal(TimeSpan.Zero, ledger.Early(ledger.Mail("m")!));
        Assert.Equal("4", ledger.Fact("version"));
    }

    private static JobRow Add(Ledger ledger, int n, long bytes) => ledger.Add($"identity {n}", "share", "enlarge-200", $"crab-{n}.stl", "enlarge-200", bytes);

    /// <summary>A desk whose work is only noted: each job's run names its source.</summary>
    private (JobDesk Desk, List<string> Done) Desk(Ledger ledger, string share, NotedQueue? noted = null, WorkerCommand? worker = null)
    {
        for (var n = 0; n < 4; n++) _room.DropFile($"crab-{n}.stl", Workshop.Stl(mark: (byte)n));
        var state = new ServiceState(_room.Read(), Workshop.Catalog, _room.Share) { ShareId = share };
        var queue = noted ?? new NotedQueue();
        var done = new List<string>();
        worker ??= new WorkerCommand("", [])
        {
            InProcess = (order, _, cancel) =>
            {
                done.Add(Host.Worker.WorkOrder.Read(order).SourceName);
                return HereWorker.Do(order, () => Task.CompletedTask, cancel);
            },
        };
        var mails = new MailWriter(() => state.Config.Host.Mail, _room.Share, TimeProvider.System);
        var publishing = new PublishDesk(state, ledger, queue, mails, new ShareFiles(), NullLogger<PublishDesk>.Instance);
        return (new JobDesk(state, ledger, queue, publishing, worker, new MemoryBudget(1 << 20), TimeProvider.System, NullLogger<JobDesk>.Instance), done);
    }

    private sealed class NotedQueue : IQueue
    {
        public List<(string Job, bool Large)> Jobs { get; } = [];

        public Task Job(string jobId, bool large, TimeSpan delay = default)
        {
            Jobs.Add((jobId, large));
            return Task.CompletedTask;
        }

        public Task Mail(string mailId, TimeSpan delay) => Task.CompletedTask;
    }
}
