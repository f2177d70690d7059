using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Publishing;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Tests;

public sealed class WorkerTests : IDisposable
{
    private readonly Workshop _room = new();

    public void Dispose() => _room.Dispose();

    private async Task<(JobResult Result, List<WorkerLine> Lines)> Run(WorkerSettings? limits = null, params string[] mode)
    {
        var source = _room.DropFile("crab <b>\"x\".stl", Workshop.Stl());
        var lines = new List<WorkerLine>();
        var runner = new JobRunner(Workshop.Worker(mode), limits ?? new WorkerSettings { MemoryMiB = 1024, TimeLimitS = 600 }, Workshop.Catalog, TimeProvider.System);
        var result = await runner.Run(Input(source), lines.Add, default);
        Assert.Equal(Workshop.Stl(), File.ReadAllBytes(source));
        return (result, lines);
    }

    private JobInput Input(string source, byte[]? slip = null) => new()
    {
        JobId = "j",
        Number = "1",
        SourcePath = source,
        Folder = "enlarge-200",
        Recipe = _room.Read().Recipes["enlarge-200"],
        PluginFolders = [],
        Slip = slip,
        Scratch = Path.Combine(_room.Root, "scratch"),
    };

    [Theory]
    [InlineData("ready", Level.Note)]
    [InlineData("check", Level.Check)]
    [InlineData("stop", Level.Stop)]
    public async Task A_set_s_outcome_is_the_worker_s(string mode, Level level)
    {
        var (result, lines) = await Run(null, mode);
        Assert.Equal(level, result.Outcome);
        Assert.True(File.Exists(Path.Combine(result.SetFolder, "figure.stl")));
        Assert.Equal(new WorkerLine(0.1, "inspect"), lines[0]);
        Assert.Equal(WorkerEnd.Done, result.Worker!.End);
    }

    [Theory]
    [InlineData("crash", WorkerEnd.Crashed, true, "broke down in the stage \"inspect\"")]
    [InlineData("fail", WorkerEnd.Failed, false, "The stage shell could not go on")]
    [InlineData("nothing", WorkerEnd.Done, false, "without leaving a whole set")]
    public async Task A_worker_that_fails_leaves_a_summary_that_says_so_and_nothing_else(string mode, WorkerEnd end, bool again, string says)
    {
        var (result, _) = await Run(null, mode);
        Assert.Equal((end, again, Level.Stop), (result.Worker!.End, result.MayTryAgain, result.Outcome));
        Assert.Contains(says, result.FirstFinding, StringComparison.Ordinal);
        Assert.StartsWith("crab <b>\"x\".stl was not prepared", result.FirstFinding, StringComparison.Ordinal);
        Assert.Equal(["summary.html", "summary.json"], Directory.GetFileSystemEntries(result.SetFolder).Select(p => Path.GetFileName(p)!).Order());
        Assert.Equal("stop", SetGlance.Read(result.SetFolder)!.Outcome);
        Assert.DoesNotContain("<b>", File.ReadAllText(Path.Combine(result.SetFolder, "summary.html")), StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_worker_that_hangs_is_ended_at_the_time_limit()
    {
        var (result, _) = await Run(new WorkerSettings { MemoryMiB = 1024, TimeLimitS = 2 }, "hang");
        Assert.Equal(WorkerEnd.TimedOut, result.Worker!.End);
        Assert.True(result.Worker.Seconds >= 2);
        Assert.Contains("did not end within 2 s", result.FirstFinding, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_worker_that_eats_memory_is_ended_at_the_memory_limit()
    {
        var (result, _) = await Run(new WorkerSettings { MemoryMiB = 256, TimeLimitS = 600 }, "hog");
        Assert.Equal(WorkerEnd.OutOfMemory, result.Worker!.End);
        Assert.Contains("256 MiB", result.FirstFinding, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_worker_that_prints_without_end_is_listened_to_in_bounded_memory()
    {
        var (result, lines) = await Run(null, "print");
        Assert.Equal(Level.Note, result.Outcome);
        Assert.Equal(["inspect", "estimate"], lines.Select(l => l.Stage));
    }

    [Fact]
    public async Task A_worker_that_fills_the_disk_is_ended()
    {
        var (result, _) = await Run(new WorkerSettings { MemoryMiB = 1024, TimeLimitS = 600, ScratchMiB = 64 }, "fill");
        Assert.Equal(WorkerEnd.WroteTooMuch, result.Worker!.End);
        Assert.Contains("wrote more than the 64 MiB", result.FirstFinding, StringComparison.Ordinal);
    }

    [Fact]
    public async Task What_a_worker_started_and_left_behind_ends_with_it()
    {
        var (result, _) = await Run(null, "leaves-a-child");
        Assert.Equal(WorkerEnd.Done, result.Worker!.End);
        // It was sent its end; the system may take a moment to carry that out.
        for (var i = 0; i < 1200 && System.Diagnostics.Process.GetProcessesByName("Stiltwright.Fak").Any(Waits); i++) await Task.Delay(50);
        Assert.DoesNotContain(System.Diagnostics.Process.GetProcessesByName("Stiltwright.Fak"), p => Waits(p)); // Linux cuts names at 15 letters
        bool Waits(System.Diagnostics.Process p)
        {
            try
            {
                return File.ReadAllText($"/proc/{p.Id}/cmdline").Contains(_room.Root, StringComparison.Ordinal);
            }
            catch (IOException)
            {
                return false;
            }
        }
    }

    [Fact]
    public async Task A_mistaken_slip_stops_the_job_before_any_work()
    {
        var source = _room.DropFile("crab.stl", Workshop.Stl());
        var runner = new JobRunner(Workshop.Worker("crash"), new WorkerSettings(), Workshop.Catalog, TimeProvider.System);
        var result = await runner.Run(Input(source, """{ "change": { "shell.wallMm": 99 } }"""u8.ToArray()), _ => { }, default);
        Assert.Null(result.Worker);
        Assert.Contains("99 mm is out of range", result.FirstFinding, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData(1000)] // grown
    [InlineData(-1000)] // cut short
    [InlineData(0)] // other bytes of the same length
    public async Task A_source_that_changes_while_it_is_copied_is_not_taken(int by)
    {
        var source = _room.DropFile("crab.stl", new byte[1 << 16]);
        var longAgo = DateTime.SpecifyKind(new DateTime(2026, 1, 2, 3, 4, 5), DateTimeKind.Utc);
        File.SetLastWriteTimeUtc(source, longAgo);
        void Change()
        {
            using var writer = new FileStream(source, FileMode.Open, FileAccess.Write, FileShare.ReadWrite);
            writer.SetLength((1 << 16) + by);
            writer.WriteByte(1);
        }

        var to = Path.Combine(_room.Root, "copy.stl");
        await Assert.ThrowsAsync<SourceChangedException>(() => SourceCopy.Take(source, to, Change, default));
        var taken = await SourceCopy.Take(source, Path.Combine(_room.Root, "again.stl"), default);
        Assert.Equal((1 << 16) + by, taken.Length);
    }

    [Fact]
    public void Only_framed_lines_are_the_worker_s_own()
    {
        using var text = new StringWriter();
        WorkerLines.Write(text, "shell", 0.4);
        Assert.Equal("\u001e{\"progress\":0.4,\"stage\":\"shell\"}\n", text.ToString());
        Assert.Equal(new WorkerLine(0.4, "shell"), WorkerLines.Read(text.ToString().TrimEnd()));
        foreach (var line in (string[])["", "{\"progress\":0.4,\"stage\":\"shell\"}", "\u001enot json", "\u001e{}", "\u001e[1]"]) Assert.Null(WorkerLines.Read(line));
    }
}
