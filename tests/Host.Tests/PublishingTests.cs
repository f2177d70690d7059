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

    /// <summary>The power goes at each step in turn; the next start must leave one whole set, the old or the new, and nothing else.</summary>
    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public async Task After_a_crash_at_any_step_the_old_or_the_new_set_stands_whole(bool hadOlder)
    {
        var bytes = File.ReadAllBytes(Path.Combine(_drop, "crab.stl"));
        foreach (var step in Enum.GetValues<PublishStep>())
        {
            for (var nth = 1; nth <= (step == PublishStep.FileCopied ? 3 : 1); nth++)
            {
                Clear();
                if (hadOlder) new Publisher(_drop).Close((await new Publisher(_drop).Publish(Set("old"), "crab.stl", "job", 1, () => true, default))!);
                var left = nth;
                var crashing = new Publisher(_drop, s =>
                {
                    if (s == step && --left == 0) throw new PowerCut();
                });
                var happened = false;
                try
                {
                    await crashing.Publish(Set("new"), "crab.stl", "job", 2, () => true, default);
                }
                catch (PowerCut)
                {
                    happened = true;
                }

                Assert.True(happened || (step == PublishStep.OldAway && !hadOlder), $"{step} was never reached");
                // At the instant of the crash: a whole set, or (between the renames) whole in our own folder.
                if (hadOlder && step != PublishStep.OldAway) Assert.NotNull(Standing());

                var told = new List<string>();
                await new Publisher(_drop).Recover((_, fence) => fence == 2, _ => false, i =>
                {
                    told.Add(i.Target);
                    return Task.CompletedTask;
                }, default);
                var noted = step >= PublishStep.IntentNoted;
                Assert.Equal(noted ? "new" : hadOlder ? "old" : null, Standing());
                Assert.Equal(noted ? ["crab.set"] : [], told);
                Assert.Empty(Own("making"));
                Assert.Equal(noted && hadOlder ? ["crab.set-job-2"] : [], Own("replaced"));
                Assert.Equal(bytes, File.ReadAllBytes(Path.Combine(_drop, "crab.stl")));
            }
        }
    }

    [Fact]
    public async Task A_run_that_lost_its_job_between_the_renames_has_the_old_set_put_back()
    {
        new Publisher(_drop).Close((await new Publisher(_drop).Publish(Set("old"), "crab.stl", "job", 1, () => true, default))!);
        var cut = new Publisher(_drop, s =>
        {
            if (s == PublishStep.OldAway) throw new PowerCut();
        });
        await Assert.ThrowsAsync<PowerCut>(() => cut.Publish(Set("new"), "crab.stl", "job", 2, () => true, default));
        Assert.Null(Standing());
        await new Publisher(_drop).Recover((_, fence) => fence == 3, _ => false, _ => throw new InvalidOperationException("nothing stands"), default);
        Assert.Equal("old", Standing());
        Assert.Empty(Own("making"));
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
