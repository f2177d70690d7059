using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Tests;

public sealed class PublishingTests : IDisposable
{
    private readonly Workshop _room = new();
    private readonly string _drop;

    public PublishingTests()
    {
        Directory.CreateDirectory(_room.Drop);
        _drop = _room.Drop;
        File.WriteAllBytes(Path.Combine(_drop, "crab.stl"), Workshop.Stl());
    }

    public void Dispose() => _room.Dispose();

    private string Set(string content, string source = "crab.stl")
    {
        var folder = Path.Combine(_room.Root, "set-" + Guid.NewGuid().ToString("N"));
        Directory.CreateDirectory(Path.Combine(folder, "pictures"));
        File.WriteAllText(Path.Combine(folder, "summary.json"), $$"""{ "number": "1", "source": { "file": "{{source}}" }, "outcome": "ready", "findings": [], "is": "{{content}}" }""");
        File.WriteAllText(Path.Combine(folder, "crab-200.stl"), content);
        File.WriteAllText(Path.Combine(folder, "pictures", "front.png"), content);
        return folder;
    }

    private string? Standing(string name = "crab.set")
    {
        var folder = Path.Combine(_drop, name);
        if (!Directory.Exists(folder)) return null;
        var content = File.ReadAllText(Path.Combine(folder, "crab-200.stl"));
        Assert.Equal(content, File.ReadAllText(Path.Combine(folder, "pictures", "front.png")));
        Assert.Contains($"\"is\": \"{content}\"", File.ReadAllText(Path.Combine(folder, "summary.json")), StringComparison.Ordinal);
        return content;
    }

    private string[] Own(string sub) => Directory.Exists(Path.Combine(_drop, ".stiltwright", sub)) ? [.. Directory.GetFileSystemEntries(Path.Combine(_drop, ".stiltwright", sub)).Select(p => Path.GetFileName(p)!)] : [];

    [Fact]
    public async Task The_older_set_is_kept_and_the_new_one_stands()
    {
        foreach (var (content, fence) in new[] { ("first", 1), ("second", 2) })
        {
            var p = new Publisher(_drop);
            var intent = await p.Publish(Set(content), "crab.stl", "job", fence, () => true, default);
            Assert.Equal("crab.set", intent!.Target);
            p.Close(intent);
            Assert.Equal(content, Standing());
        }

        Assert.Empty(Own("making"));
        Assert.Equal(["crab.set-job-2"], Own("replaced"));
    }

    [Fact]
    public async Task A_run_that_was_overtaken_publishes_nothing()
    {
        Assert.Null(await new Publisher(_drop).Publish(Set("late"), "crab.stl", "job", 1, () => false, default));
        Assert.Null(Standing());
        Assert.Empty(Own("making"));
    }

    /// <summary>A share that says no at each change in turn, and then well again: the same run tries again, as the service does, without a look in between.</summary>
    [Theory]
    [MemberData(nameof(Cuts))]
    public async Task Published_again_after_a_fault_at_any_change_a_set_never_replaces_itself(bool hadOlder, BreakingFiles.When when)
    {
        var (faults, n) = (0, 1);
        for (; ; n++)
        {
            Clear();
            if (hadOlder) new Publisher(_drop).Close((await new Publisher(_drop).Publish(Set("old"), "crab.stl", "job", 1, () => true, default))!);
            var set = Set("new");
            var publisher = new Publisher(_drop, new BreakingFiles(n, when, () => new IOException("Input/output error (on purpose).")));
            try
            {
                publisher.Close((await publisher.Publish(set, "crab.stl", "job", 2, () => true, default))!);
            }
            catch (IOException)
            {
                faults++;
            }

            if (faults < n && n > 12) break; // fewer changes than n: each has had its turn
            if (Own("making").Length > 0 || Standing() != "new")
            {
                var again = new Publisher(_drop);
                again.Close((await again.Publish(set, "crab.stl", "job", 2, () => true, default))!);
            }

            Assert.Equal("new", Standing());
            Assert.Empty(Own("making"));
            Assert.Equal(hadOlder ? ["crab.set-job-2"] : [], Own("replaced"));
        }

        Assert.True(faults >= 6, $"only {faults} faults");
    }

    public static TheoryData<bool, BreakingFiles.When> Cuts => new()
    {
        { false, BreakingFiles.When.Before }, { false, BreakingFiles.When.Midway }, { false, BreakingFiles.When.After },
        { true, BreakingFiles.When.Before }, { true, BreakingFiles.When.Midway }, { true, BreakingFiles.When.After },
    };

    /// <summary>The power goes at each change of the share in turn; the next start must leave one whole set, the old or the new, and nothing else.</summary>
    [Theory]
    [MemberData(nameof(Cuts))]
    public async Task After_a_crash_at_any_change_the_old_or_the_new_set_stands_whole(bool hadOlder, BreakingFiles.When when)
    {
        var bytes = File.ReadAllBytes(Path.Combine(_drop, "crab.stl"));
        var (sawOld, sawNew, n) = (0, 0, 1);
        for (; ; n++)
        {
            Clear();
            if (hadOlder) new Publisher(_drop).Close((await new Publisher(_drop).Publish(Set("old"), "crab.stl", "job", 1, () => true, default))!);
            var files = new BreakingFiles(n, when, () => new PowerCut());
            try
            {
                var publisher = new Publisher(_drop, files);
                publisher.Close((await publisher.Publish(Set("new"), "crab.stl", "job", 2, () => true, default))!);
                break; // fewer changes than n: each has had its turn
            }
            catch (PowerCut) { }

            // At the instant of the crash: a whole set, or (between the renames) whole in our own folder.
            if (hadOlder && Standing() is null) Assert.Single(Own("replaced"));
            var told = new List<string>();
            await new Publisher(_drop).Recover((_, fence) => fence == 2, _ => false, i =>
            {
                told.Add(i.Target);
                return Task.CompletedTask;
            }, default);
            // The ledger was told, or the job is done again: in both cases exactly one whole set stands in the end.
            var stands = Standing();
            if (told.Count > 0) Assert.Equal("new", stands);
            if (stands == "new") sawNew++;
            else sawOld++;
            if (stands != "new") Assert.Equal(hadOlder ? "old" : null, stands);
            Assert.Empty(Own("making"));
            Assert.Equal(stands == "new" && hadOlder ? ["crab.set-job-2"] : [], Own("replaced"));
            Assert.Equal(bytes, File.ReadAllBytes(Path.Combine(_drop, "crab.stl")));
        }

        Assert.True(sawOld >= 5 && sawNew >= 2, $"{sawOld} cuts left the older state and {sawNew} the new set");
    }

    /// <summary>The disk is full, the right is lost, the line breaks: at each change in turn, and from there on, until it is mended.</summary>
    [Theory]
    [InlineData(typeof(IOException))]
    [InlineData(typeof(UnauthorizedAccessException))]
    public async Task A_share_that_says_no_at_any_change_keeps_the_old_set_and_gets_the_new_one_when_it_is_mended(Type fault)
    {
        for (var n = 1; ; n++)
        {
            Clear();
            new Publisher(_drop).Close((await new Publisher(_drop).Publish(Set("old"), "crab.stl", "job", 1, () => true, default))!);
            var set = Set("new");
            var files = new BreakingFiles(n, BreakingFiles.When.Midway, () => (Exception)Activator.CreateInstance(fault, "the share says no")!) { FromThenOn = true };
            var said = await Record.ExceptionAsync(async () => new Publisher(_drop, files).Close((await new Publisher(_drop, files).Publish(set, "crab.stl", "job", 2, () => true, default))!));
            if (said is null) break;
            Assert.True(said is IOException or UnauthorizedAccessException, said.ToString());
            // Whole somewhere at every moment: in its place, or between the renames in our own folder.
            Assert.True(Standing() is not null || Own("replaced").Length == 1);

            await new Publisher(_drop).Recover((_, fence) => fence == 2, _ => false, _ => Task.CompletedTask, default);
            if (Standing() != "new") new Publisher(_drop).Close((await new Publisher(_drop).Publish(set, "crab.stl", "job", 2, () => true, default))!);
            Assert.Equal("new", Standing());
            Assert.Empty(Own("making"));
            Assert.Single(Own("replaced"));
        }
    }

    [Fact]
    public async Task A_run_that_lost_its_job_between_the_renames_has_the_old_set_put_back()
    {
        new Publisher(_drop).Close((await new Publisher(_drop).Publish(Set("old"), "crab.stl", "job", 1, () => true, default))!);
        // The change at which the old set has just been renamed away: the first after which none stands.
        for (var n = 1; Standing() is not null; n++)
            await Assert.ThrowsAsync<PowerCut>(() => new Publisher(_drop, new BreakingFiles(n, BreakingFiles.When.After, () => new PowerCut())).Publish(Set("new"), "crab.stl", "job", 2, () => true, default));
        await new Publisher(_drop).Recover((_, fence) => fence == 3, _ => false, _ => throw new InvalidOperationException("nothing stands"), default);
        Assert.Equal("old", Standing());
        Assert.Empty(Own("making"));
    }

    /// <summary>A PC sleeps between its last question to the ledger and its renames; another takes the job over meanwhile.</summary>
    [Fact]
    public async Task A_service_that_slept_before_its_renames_wakes_and_finds_nothing_to_publish()
    {
        var asked = false;
        var late = await Record.ExceptionAsync(() => new Publisher(_drop).Publish(Set("late"), "crab.stl", "job", 1, () =>
        {
            asked = true;
            // Here it sleeps. The other one clears what older runs left, and publishes.
            var other = new Publisher(_drop);
            other.Recover((_, fence) => fence == 2, _ => false, _ => Task.CompletedTask, default).GetAwaiter().GetResult();
            other.Close(other.Publish(Set("taken over"), "crab.stl", "job", 2, () => true, default).GetAwaiter().GetResult()!);
            return true; // The answer that it had got before it slept.
        }, default));
        Assert.True(asked);
        Assert.Null(late);
        Assert.Equal("taken over", Standing());
        // What it noted on waking is stale and goes at the next look.
        await new Publisher(_drop).Recover((_, fence) => fence == 2, _ => false, _ => throw new InvalidOperationException("nothing new stands"), default);
        Assert.Equal("taken over", Standing());
        Assert.Empty(Own("making"));
    }

    [Fact]
    public async Task Replaced_sets_are_kept_for_their_time_and_those_of_unknown_age_for_ever()
    {
        const string Job = "0123456789abcdef";
        foreach (var (content, job, fence) in new[] { ("first", "a", 1), ("second", Job, 2), ("third", "unknown", 3) })
            new Publisher(_drop).Close((await new Publisher(_drop).Publish(Set(content), "crab.stl", job, fence, () => true, default))!);
        Assert.Equal(2, Own("replaced").Length);
        var p = new Publisher(_drop);
        Assert.Equal(0, p.ForgetReplaced(TimeSpan.FromDays(30), j => j == Job ? TimeSpan.FromDays(29) : null));
        Assert.Equal(1, p.ForgetReplaced(TimeSpan.FromDays(30), j => j == Job ? TimeSpan.FromDays(31) : null));
        Assert.Equal(["crab.set-unknown-3"], Own("replaced"));
        Assert.Equal("third", Standing());
    }

    [Fact]
    public async Task A_run_that_is_going_on_is_left_alone()
    {
        Directory.CreateDirectory(Path.Combine(_drop, ".stiltwright", "making", "job-7"));
        await new Publisher(_drop).Recover((_, _) => true, name => name == "job-7", _ => Task.CompletedTask, default);
        Assert.Equal(["job-7"], Own("making"));
    }

    [Fact]
    public async Task Two_sources_of_one_name_do_not_take_each_other_s_set()
    {
        var p = new Publisher(_drop);
        Assert.Equal("crab.set", (await p.Publish(Set("stl"), "crab.stl", "a", 1, () => true, default))!.Target);
        Assert.Equal("crab.obj.set", (await p.Publish(Set("obj", "crab.obj"), "crab.obj", "b", 1, () => true, default))!.Target);
        Assert.Equal("crab.obj.set", (await p.Publish(Set("obj2", "crab.obj"), "crab.obj", "b", 2, () => true, default))!.Target);
        Assert.Equal("stl", Standing());
        Assert.Equal("obj2", Standing("crab.obj.set"));
    }

    [Fact]
    public async Task A_folder_that_is_no_set_is_never_replaced()
    {
        foreach (var name in new[] { "crab.set", "crab.stl.set" })
        {
            Directory.CreateDirectory(Path.Combine(_drop, name));
            File.WriteAllText(Path.Combine(_drop, name, "mine.txt"), "mine");
        }

        var e = await Assert.ThrowsAsync<PublishBlockedException>(() => new Publisher(_drop).Publish(Set("new"), "crab.stl", "job", 1, () => true, default));
        Assert.Contains("rename or remove it", e.Message, StringComparison.Ordinal);
        Assert.Equal("mine", File.ReadAllText(Path.Combine(_drop, "crab.set", "mine.txt")));
    }

    [Fact]
    public async Task An_intent_that_points_elsewhere_is_not_carried_out()
    {
        var making = Directory.CreateDirectory(Path.Combine(_drop, ".stiltwright", "making", "x-1")).FullName;
        var prize = Directory.CreateDirectory(Path.Combine(_room.Root, "prize")).FullName;
        File.WriteAllText(making + ".intent.json", """{ "jobId": "x", "fence": 1, "source": "crab.stl", "making": "x-1", "target": "../../prize", "replaced": "r", "summarySha256": "" }""");
        await new Publisher(_drop).Recover((_, _) => true, _ => false, _ => Task.CompletedTask, default);
        Assert.True(Directory.Exists(prize));
        Assert.Empty(Own("making"));
    }

    private void Clear()
    {
        foreach (var d in Directory.GetDirectories(_drop)) Directory.Delete(d, true);
    }

    private sealed class PowerCut : Exception;
}
