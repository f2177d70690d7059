using Stiltwright.Host.Jobs;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Tests;

/// <summary>The whole service with its real engine, on a real folder; only the worker is a stand-in.</summary>
public sealed class ServiceTests : IDisposable
{
    private readonly Workshop _room = new();

    public void Dispose() => _room.Dispose();

    [Fact]
    public async Task A_dropped_file_gets_its_set_once_and_a_changed_one_another()
    {
        var source = _room.DropFile("crab.stl", Workshop.Stl());
        await using (var s = await Service.Start(_room, "check"))
        {
            await s.Until(l => Done(l) == 1);
            Assert.Equal("check", SetGlance.Read(Path.Combine(_room.Drop, "crab.set"))!.Outcome);
            Assert.Equal(Workshop.Stl(), File.ReadAllBytes(source));
            await s.Until(_ => Directory.Exists(Path.Combine(_room.State, "outbox")) && Directory.GetFiles(Path.Combine(_room.State, "outbox"), "*.eml").Length == 1);
            await s.Until(_ => File.Exists(Path.Combine(_room.Share, "board.html")) && File.ReadAllText(Path.Combine(_room.Share, "board.html")).Contains("enlarge-200/crab.set/summary.html", StringComparison.Ordinal));

            File.SetLastWriteTimeUtc(source, new DateTime(2001, 2, 3, 4, 5, 6, DateTimeKind.Utc)); // touched, not changed
            Directory.Move(Path.Combine(_room.Drop, "crab.set"), Path.Combine(_room.Root, "carried off"));
            await s.Sweeps(3);
            Assert.Equal(1, Done(s.Ledger)); // the same content is not done again, nor is a set that was carried off

            File.WriteAllBytes(source, Workshop.Stl(mark: 7));
            await s.Until(l => Done(l) == 2);
        }

        await using (var again = await Service.Start(_room, "check"))
        {
            await again.Sweeps(3);
            Assert.Equal(2, Done(again.Ledger)); // nor after a restart
            File.Delete(source);
            await again.Until(l => l.Latest(again.State.ShareId, 10).All(j => j.Gone == 1));
            File.WriteAllBytes(source, Workshop.Stl(mark: 7));
            await again.Sweeps(3);
            Assert.Equal(2, Done(again.Ledger)); // dropped again, but its set still stands

            File.Delete(source);
            await again.Until(l => l.Latest(again.State.ShareId, 10).All(j => j.Gone == 1));
            Directory.Delete(Path.Combine(_room.Drop, "crab.set"), true);
            File.WriteAllBytes(source, Workshop.Stl(mark: 7));
            await again.Until(l => Done(l) == 3); // dropped again where no set stands
        }
    }

    [Fact]
    public async Task Each_commit_of_the_ledger_waits_for_the_disk_and_nobody_maps_its_file_into_memory()
    {
        await using var service = await Service.Start(_room, "ready");
        _room.DropFile("crab.stl", Workshop.Stl());
        await service.Until(l => l.InState(JobState.Done).Count == 1);

        // Many at once, so that a connection that the engine gave back would be among them.
        var open = Enumerable.Range(0, 12).Select(_ => service.Ledger.Store.Open()).ToList();
        try
        {
            // 2 is FULL (sqlite.org/pragma.html): in WAL mode NORMAL does not survive a power cut.
            Assert.All(open, db => Assert.Equal(2L, Dapper.SqlMapper.ExecuteScalar<long>(db, "PRAGMA synchronous")));
            Assert.All(open, db => Assert.Equal(0L, Dapper.SqlMapper.ExecuteScalar<long>(db, "PRAGMA mmap_size")));
        }
        finally
        {
            open.ForEach(db => db.Dispose());
        }

        if (OperatingSystem.IsLinux()) Assert.DoesNotContain(File.ReadLines("/proc/self/maps"), line => line.EndsWith(service.Ledger.Store.Place, StringComparison.Ordinal));
    }

    [Fact]
    public async Task A_worker_that_breaks_down_twice_is_set_aside_with_a_stop_summary_and_the_next_file_goes_on()
    {
        _room.DropFile("crab.stl", Workshop.Stl());
        await using var s = await Service.Start(_room, "crash");
        await s.Until(l => l.InState(JobState.Parked).Count == 1);
        var job = s.Ledger.InState(JobState.Parked)[0];
        Assert.Equal((2L, 2L, "stop"), (job.Attempts, job.Fence, job.Outcome));
        var glance = SetGlance.Read(Path.Combine(_room.Drop, "crab.set"))!;
        Assert.Contains("broke down in the stage \"inspect\"", glance.FirstFinding, StringComparison.Ordinal);
        _room.DropFile("eel.stl", Workshop.Stl(mark: 1));
        await s.Until(l => l.InState(JobState.Parked).Count == 2);
        // The ledger knows before the intent is closed and scratch is cleared, so these are waited for.
        await s.Until(_ => Directory.GetFileSystemEntries(Path.Combine(_room.Drop, ".stiltwright", "making")).Length == 0);
        await s.Until(_ => Directory.GetDirectories(Path.Combine(_room.State, "scratch")).Length == 0);
    }

    [Fact]
    public async Task A_worker_that_breaks_down_once_is_tried_once_more()
    {
        _room.DropFile("crab.stl", Workshop.Stl());
        await using var s = await Service.Start(_room, "crash-once", Path.Combine(_room.Root, "crashed"));
        await s.Until(l => Done(l) == 1);
        Assert.Equal(2, s.Ledger.InState(JobState.Done)[0].Attempts);
    }

    [Fact]
    public async Task A_job_that_was_running_when_the_host_died_is_taken_up_and_one_that_killed_it_twice_is_not_begun_again()
    {
        _room.DropFile("crab.stl", Workshop.Stl());
        _room.DropFile("eel.stl", Workshop.Stl(mark: 1));
        Directory.CreateDirectory(_room.State);
        var ledger = new Ledger(_room.State, TimeProvider.System);
        var share = Watching.ShareIdentity.Of(_room.Share, ledger);
        string Identity(string name, byte mark) => Watching.ShareIdentity.OfJob(
            Convert.ToHexStringLower(System.Security.Cryptography.SHA256.HashData(Workshop.Stl(mark: mark))), JobRunner.RecipeHash(_room.Read().Recipes["enlarge-200"], null), share, "enlarge-200", name);
        var once = ledger.Add(Identity("crab.stl", 0), share, "enlarge-200", "crab.stl", "enlarge-200", 1);
        ledger.Claim(once.Id);
        var twice = ledger.Add(Identity("eel.stl", 1), share, "enlarge-200", "eel.stl", "enlarge-200", 1);
        ledger.Claim(twice.Id);
        ledger.Requeue(twice.Id, JobState.Running);
        ledger.Claim(twice.Id);

        await using var s = await Service.Start(_room, "ready");
        await s.Until(l => Done(l) == 1 && l.InState(JobState.Parked).Count == 1);
        Assert.Equal("ready", s.Ledger.Find(once.Id)!.Outcome);
        Assert.Equal("stop", s.Ledger.Find(twice.Id)!.Outcome);
        Assert.Contains("twice the whole service ended", s.Ledger.Find(twice.Id)!.Sentence, StringComparison.Ordinal);
        Assert.Equal(2, s.Ledger.Latest(share, 10).Count);
    }

    [Fact]
    public async Task A_publish_that_was_cut_off_after_its_intent_is_finished_at_start_with_its_mail()
    {
        _room.DropFile("crab.stl", Workshop.Stl());
        Directory.CreateDirectory(_room.State);
        var ledger = new Ledger(_room.State, TimeProvider.System);
        var share = Watching.ShareIdentity.Of(_room.Share, ledger);
        var recipe = _room.Read().Recipes["enlarge-200"];
        var identity = Watching.ShareIdentity.OfJob(Convert.ToHexStringLower(System.Security.Cryptography.SHA256.HashData(Workshop.Stl())), JobRunner.RecipeHash(recipe, null), share, "enlarge-200", "crab.stl");
        var job = ledger.Claim(ledger.Add(identity, share, "enlarge-200", "crab.stl", "enlarge-200", 1).Id)!;
        var runner = new JobRunner(Workshop.Worker("check"), new Configuration.WorkerSettings { MemoryMiB = 512 }, Workshop.Catalog, TimeProvider.System);
        var result = await runner.Run(new JobInput { JobId = job.Id, Number = "1", SourcePath = Path.Combine(_room.Drop, "crab.stl"), Folder = "enlarge-200", Recipe = recipe, PluginFolders = [], Scratch = Path.Combine(_room.Root, "s") }, _ => { }, default);
        await Assert.ThrowsAsync<InvalidOperationException>(() => new Publisher(_room.Drop, new AfterIntent()).Publish(result.SetFolder, "crab.stl", job.Id, job.Fence, () => true, default));

        await using var s = await Service.Start(_room, "fail"); // a worker that must not be needed
        await s.Until(l => Done(l) == 1);
        Assert.Equal("check", s.Ledger.Find(job.Id)!.Outcome);
        Assert.Equal(1, s.Ledger.Find(job.Id)!.Attempts);
        Assert.Single(s.Ledger.WaitingMails());
    }

    [Fact]
    public async Task A_second_service_on_the_same_state_is_refused_with_a_sentence()
    {
        await using var s = await Service.Start(_room, "ready");
        var e = Assert.Throws<IOException>(() => ServiceHost.Build(_room.Read(), Workshop.Catalog, _room.Share));
        Assert.Contains("Another service uses the state folder", e.Message, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_share_that_is_full_costs_no_work_and_gets_the_finished_set_later()
    {
        _room.DropFile("crab.stl", Workshop.Stl());
        var full = new FullShare();
        await using (var s = await Service.Start(_room, full, "ready"))
        {
            await s.Until(l => l.InState(JobState.Publishing).Any(j => j.Sentence == "No space left on device"));
            Assert.Equal((1L, 1L), (s.Ledger.InState(JobState.Publishing)[0].Attempts, s.Ledger.InState(JobState.Publishing)[0].Fence));
        }

        full.IsFull = false;
        await using (var again = await Service.Start(_room, full, "fail")) // a worker that must not be needed
        {
            await again.Until(l => Done(l) == 1);
            Assert.Equal(("ready", 1L), (again.Ledger.InState(JobState.Done)[0].Outcome, again.Ledger.InState(JobState.Done)[0].Fence));
            await again.Until(_ => Directory.GetDirectories(Path.Combine(_room.State, "scratch")).Length == 0);
        }
    }

    [Fact]
    public async Task A_source_that_is_changed_while_it_is_done_is_never_overtaken_by_its_older_self()
    {
        var source = _room.DropFile("crab.stl", Workshop.Stl());
        await using var s = await Service.Start(_room, "slow-first", Path.Combine(_room.Root, "first"));
        await s.Until(l => l.InState(JobState.Running).Count == 1);
        File.WriteAllBytes(source, Workshop.Stl(mark: 9));
        await s.Until(l => Done(l) == 1);
        Assert.Equal(Workshop.Stl(mark: 9), File.ReadAllBytes(Path.Combine(_room.Drop, "crab.set", "figure.stl")));
        Assert.Equal(2, s.Ledger.InState(JobState.Done)[0].Number);
        await s.Until(l => l.InState(JobState.Dropped).Count == 1);
        await s.Until(_ => Directory.GetDirectories(Path.Combine(_room.State, "scratch")).Length == 0);
    }

    [Fact]
    public async Task A_changed_configuration_is_taken_over_and_a_broken_one_keeps_the_last_good_and_says_so()
    {
        await using var s = await Service.Start(_room, "ready");
        await s.Sweeps(2);
        _room.Write("folders/enlarge-300.json", Workshop.Recipe.Replace("200", "300", StringComparison.Ordinal).Replace("\"percent\"", "\"percnt\"", StringComparison.Ordinal));
        await s.Until(_ => s.State.Notices.Values.Any(n => n.Contains("the last good one goes on", StringComparison.Ordinal) && n.Contains("percnt", StringComparison.Ordinal)));
        Assert.Equal(["enlarge-200"], s.State.Config.Recipes.Keys);
        Directory.CreateDirectory(Path.Combine(_room.Share, "enlarge-300"));
        File.WriteAllBytes(Path.Combine(_room.Share, "enlarge-300", "eel.stl"), Workshop.Stl());
        _room.Write("folders/enlarge-300.json", Workshop.Recipe.Replace("200", "300", StringComparison.Ordinal));
        // The test's own stages are in no plug-in folder, so the reload does not know them: that, too, keeps the last good one.
        await s.Until(_ => s.State.Notices.Values.Any(n => n.Contains("\"inspect\"", StringComparison.Ordinal)));
        Assert.Equal(["enlarge-200"], s.State.Config.Recipes.Keys);
    }

    [Fact]
    public async Task A_share_that_goes_away_took_nothing_away()
    {
        _room.DropFile("crab.stl", Workshop.Stl());
        await using var s = await Service.Start(_room, "ready");
        await s.Until(l => Done(l) == 1);
        var away = Path.Combine(_room.Root, "away");
        Directory.Move(_room.Share, away);
        await s.Until(_ => s.State.Notices.Values.Any(n => n.Contains("is not there", StringComparison.Ordinal)));
        Directory.Move(away, _room.Share);
        await s.Sweeps(3);
        Assert.Equal(1, Done(s.Ledger));
        Assert.Equal(0, s.Ledger.Latest(s.State.ShareId, 1)[0].Gone);
    }

    [Fact]
    public async Task Another_share_in_the_same_place_gets_its_own_set_of_a_file_that_looks_the_same()
    {
        _room.DropFile("crab.stl", Workshop.Stl());
        await using var s = await Service.Start(_room, "ready");
        await s.Until(l => Done(l) == 1);
        await s.Sweeps(2);
        File.WriteAllText(Path.Combine(_room.Share, SetPlace.OwnFolder, "share.json"), $$"""{"id":"another share","ledger":"{{s.Ledger.Id}}"}""");
        await s.Until(l => l.Latest("another share", 10) is [{ State: JobState.Done, Source: "crab.stl" }]);
    }

    [Fact]
    public async Task Nothing_is_written_into_the_empty_place_of_a_share_that_went_away()
    {
        await using var s = await Service.Start(_room, new ShareFiles(), HereWorker.Command);
        await s.Until(_ => File.Exists(Path.Combine(_room.Share, "board.html")));
        var (away, id) = (_room.Share + "-away", s.State.ShareId);
        Directory.Move(_room.Share, away);
        Directory.CreateDirectory(_room.Share); // the mount point
        // As before the next look has noticed anything; the board is written a second later at most.
        for (var i = 0; i < 30; i++)
        {
            s.State.ShareId = id;
            s.State.BoardChanged();
            await Task.Delay(100);
            Assert.Empty(Directory.GetFileSystemEntries(_room.Share));
        }

        Directory.Delete(_room.Share);
        Directory.Move(away, _room.Share);
        await s.Sweeps(2);
        Assert.False(s.State.Notices.ContainsKey("share"));
    }

    private sealed class FullShare : ShareFiles
    {
        public volatile bool IsFull = true;

        public override Task<string> CopyIn(string from, string to, CancellationToken cancel) =>
            IsFull ? throw new IOException("No space left on device") : base.CopyIn(from, to, cancel);
    }

    private sealed class AfterIntent : ShareFiles
    {
        public override void Replace(string path, string text)
        {
            base.Replace(path, text);
            throw new InvalidOperationException("the power goes");
        }
    }

    private static int Done(Ledger l) => l.InState(JobState.Done).Count;
}
