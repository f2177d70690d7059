using System.Text.Json.Nodes;
using Microsoft.Extensions.Time.Testing;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Tests;

/// <summary>What other people do on a share while the service works on it. The worker waits until the test lets it go on.</summary>
public sealed class BusyShareTests : IDisposable
{
    private readonly Workshop _room = new();
    private readonly FakeTimeProvider _time = new(DateTimeOffset.UnixEpoch.AddYears(56));
    private readonly Gate _gate = new();

    public void Dispose() => _room.Dispose();

    [Fact]
    public async Task A_folder_renamed_while_its_figure_is_done_gets_the_set_when_it_is_back_and_no_folder_is_made_anew()
    {
        _room.DropFile("crab.stl", Workshop.Stl());
        await using var s = await Start();
        await _gate.Begun("crab.stl");
        var aside = Path.Combine(_room.Share, "set aside");
        Directory.Move(_room.Drop, aside);
        _gate.Open();
        await s.Until(l => l.InState(JobState.Publishing).Any(j => j.Sentence?.Contains("is not there", StringComparison.Ordinal) == true));
        await s.Sweeps(2);
        Assert.False(Directory.Exists(_room.Drop));
        Directory.Move(aside, _room.Drop);
        await Later(s, l => Done(l).Length == 1);
        Assert.Equal(Workshop.Stl(), File.ReadAllBytes(Path.Combine(_room.Drop, "crab.set", "figure.stl")));
        Assert.Equal(["crab.stl"], _gate.Started); // the finished work was kept
    }

    [Fact]
    public async Task Figures_taken_away_while_they_wait_or_are_done_hinder_nothing()
    {
        var crab = _room.DropFile("crab.stl", Workshop.Stl());
        await using var s = await Start();
        await _gate.Begun("crab.stl");
        var eel = _room.DropFile("eel.stl", Workshop.Stl(mark: 1));
        await s.Until(l => l.InState(JobState.Queued).Count == 1);
        File.Delete(eel);
        File.Delete(crab);
        _gate.Open();
        _room.DropFile("ray.stl", Workshop.Stl(mark: 2));
        await Later(s, l => Done(l).Contains("ray.stl"));
        await s.Until(l => l.InState(JobState.Dropped).Any(j => j.Source == "eel.stl"));
        Assert.False(Directory.Exists(Path.Combine(_room.Drop, "eel.set")));
        Assert.DoesNotContain("eel.stl", _gate.Started);
        await s.Until(l => l.InState(JobState.Queued, JobState.Running, JobState.Waiting, JobState.Publishing).Count == 0);
    }

    [Fact]
    public async Task A_figure_replaced_while_it_waits_is_done_once_as_it_is_now()
    {
        _room.DropFile("crab.stl", Workshop.Stl());
        await using var s = await Start();
        await _gate.Begun("crab.stl");
        _room.DropFile("eel.stl", Workshop.Stl(mark: 1));
        await s.Until(l => l.InState(JobState.Queued).Count == 1);
        _room.DropFile("eel.stl", Workshop.Stl(mark: 5));
        await s.Until(l => l.InState(JobState.Dropped).Count == 1 && l.InState(JobState.Queued).Count == 1);
        _gate.Open();
        await s.Until(l => Done(l).Length == 2);
        Assert.Equal(Workshop.Stl(mark: 5), File.ReadAllBytes(Path.Combine(_room.Drop, "eel.set", "figure.stl")));
        Assert.Equal(["crab.stl", "eel.stl"], _gate.Started);
    }

    [Fact]
    public async Task File_times_of_a_clock_far_ahead_or_behind_are_only_compared_with_themselves()
    {
        _gate.Open();
        File.SetLastWriteTimeUtc(_room.DropFile("crab.stl", Workshop.Stl()), new DateTime(2099, 1, 1, 0, 0, 0, DateTimeKind.Utc));
        var eel = _room.DropFile("eel.stl", Workshop.Stl(mark: 1));
        File.SetLastWriteTimeUtc(eel, new DateTime(1981, 1, 1, 0, 0, 0, DateTimeKind.Utc));
        await using var s = await Start();
        await s.Until(l => Done(l).Length == 2);
        await s.Sweeps(3);
        Assert.Equal(2, _gate.Started.Count);
        File.WriteAllBytes(eel, Workshop.Stl(mark: 7));
        File.SetLastWriteTimeUtc(eel, new DateTime(1980, 1, 1, 0, 0, 0, DateTimeKind.Utc)); // newer content, older time
        await s.Until(l => Done(l).Length == 3);
        Assert.Equal(Workshop.Stl(mark: 7), File.ReadAllBytes(Path.Combine(_room.Drop, "eel.set", "figure.stl")));
    }

    [Fact]
    public void A_clock_that_is_set_back_keeps_no_job_waiting()
    {
        var ahead = new Ledger(_room.State, new FakeTimeProvider(_time.GetUtcNow().AddDays(3)));
        var waits = ahead.Claim(ahead.Add("a", "share", "enlarge-200", "crab.stl", "enlarge-200", 1).Id)!;
        ahead.Leave(waits.Id, waits.Fence, JobState.Waiting, "the share is full", countAttempt: false);
        var queued = ahead.Add("b", "share", "enlarge-200", "eel.stl", "enlarge-200", 1);
        var now = new Ledger(_room.State, _time);
        Assert.Equal(waits.Id, Assert.Single(now.WaitingFor(TimeSpan.FromSeconds(30))).Id);
        Assert.Equal(queued.Id, Assert.Single(now.QueuedFor("share", TimeSpan.FromSeconds(60))).Id);
    }

    [Fact]
    public async Task What_notifications_told_of_while_a_look_failed_is_looked_into_when_looking_works_again()
    {
        _gate.Open();
        var crab = _room.DropFile("crab.stl", Workshop.Stl());
        await using var s = await Start();
        await s.Until(l => Done(l).Length == 1);
        await s.Sweeps(6); // its folder is taken as it was known from here on
        var note = Path.Combine(_room.Share, SetPlace.OwnFolder, "share.json");
        File.Move(note, note + ".away");
        await s.Until(_ => s.State.Notices.ContainsKey("share"));
        // In place, so that the folder's own time stands still, and by a clock that stands still no full look is due.
        File.WriteAllBytes(crab, Workshop.Stl(mark: 3));
        await Task.Delay(TimeSpan.FromSeconds(1.5)); // looks that fail
        File.Move(note + ".away", note);
        await s.Until(l => Done(l).Length == 2);
    }

    [Fact]
    public async Task Without_change_notifications_everything_is_found_by_looking()
    {
        _gate.Open();
        _room.Write("stiltwright.json", """{ "watch": { "sweepS": 0.3, "settleS": 0, "patienceS": 1, "notifications": false } }""");
        await using var s = await Start();
        await s.Sweeps(1);
        var crab = _room.DropFile("crab.stl", Workshop.Stl());
        await s.Until(l => Done(l).Length == 1);
        // In place, so that the folder's own time stands still: found by the full look that comes every minute.
        File.WriteAllBytes(crab, Workshop.Stl(mark: 3));
        await Later(s, l => Done(l).Length == 2);
    }

    [Fact]
    public void What_is_long_over_and_taken_away_is_forgotten_and_what_is_still_needed_is_not()
    {
        var ledger = new Ledger(_room.State, _time);
        JobRow Finished(string source)
        {
            var job = ledger.Claim(ledger.Add(source, "share", "enlarge-200", source, "enlarge-200", 1).Id)!;
            var mail = new MailRow { Id = job.Id + "-check", Job = job.Id, Level = "check", Recipients = "printroom@example.org", Bytes = [1], State = "waiting" };
            Assert.True(ledger.Finish(job.Id, job.Fence, JobState.Done, "check", "", source + ".set", 1, mail));
            ledger.NoteMail(mail.Id, "sent", "", tried: true);
            return job;
        }

        var (there, gone, recorded) = (Finished("there.stl"), Finished("gone.stl"), Finished("recorded.stl"));
        ledger.MarkGone("share", "enlarge-200", "gone.stl");
        ledger.MarkGone("share", "enlarge-200", "recorded.stl");
        ledger.Record(new OutcomeEntry(recorded.Number, "printed", null, null, "Ada", null, null));
        _time.Advance(TimeSpan.FromDays(100));
        var fresh = Finished("fresh.stl");
        ledger.MarkGone("share", "enlarge-200", "fresh.stl");
        Assert.Equal(1, ledger.ForgetGone(TimeSpan.FromDays(90)));
        Assert.Null(ledger.Find(gone.Id));
        Assert.Null(ledger.Mail(gone.Id + "-check"));
        Assert.All((JobRow[])[there, recorded, fresh], j => Assert.NotNull(ledger.Find(j.Id)));
        Assert.NotNull(ledger.Mail(there.Id + "-check"));
    }

    private Task<Service> Start() => Service.Start(_room, new ShareFiles(), new WorkerCommand("", []) { InProcess = _gate.Do }, _time);

    /// <summary>Waits while the service's clock runs on in steps of half a minute: what is tried again after a while is.</summary>
    private Task Later(Service s, Func<Ledger, bool> condition)
    {
        var n = 0;
        return s.Until(l =>
        {
            if (++n % 10 == 0) _time.Advance(TimeSpan.FromSeconds(31));
            return condition(l);
        });
    }

    private static string[] Done(Ledger l) => [.. l.InState(JobState.Done).Select(j => j.Source)];

    /// <summary>A worker in this process that notes what it begins with and goes on when it may.</summary>
    private sealed class Gate
    {
        private readonly TaskCompletionSource _open = new(TaskCreationOptions.RunContinuationsAsynchronously);
        private readonly List<string> _started = [];

        public IReadOnlyList<string> Started
        {
            get
            {
                lock (_started) return [.. _started];
            }
        }

        public void Open() => _open.TrySetResult();

        public async Task Begun(string source)
        {
            for (var i = 0; i < 3600 && !Started.Contains(source); i++) await Task.Delay(50);
            Assert.Contains(source, Started);
        }

        public async Task<WorkerReport> Do(string orderPath, Action<WorkerLine> progress, CancellationToken cancel)
        {
            var order = JsonNode.Parse(await File.ReadAllTextAsync(orderPath, cancel))!;
            var source = order["sourceName"]!.GetValue<string>();
            lock (_started) _started.Add(source);
            progress(new WorkerLine(0.5, "inspect"));
            return await HereWorker.Do(orderPath, () => _open.Task.WaitAsync(cancel), cancel);
        }
    }
}
