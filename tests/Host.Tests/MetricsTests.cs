using System.Collections.Concurrent;
using System.Diagnostics.Metrics;
using System.Globalization;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Metrics;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Tests;

public sealed class MetricsTests : IDisposable
{
    private readonly Workshop _room = new();

    public void Dispose() => _room.Dispose();

    /// <summary>Heard through the runtime's own MeterListener, as any collector would.</summary>
    [Fact]
    public async Task A_listener_hears_what_the_service_did_and_what_waits()
    {
        _room.DropFile("crab.stl", Workshop.Stl(mark: 1));
        _room.DropFile("prawn.stl", Workshop.Stl(mark: 2));
        var heard = new ConcurrentQueue<(string Name, double Value, string Tag)>();
        await using var service = await Service.Start(_room, new ShareFiles(), HereWorker.Command);
        using var listener = new MeterListener { InstrumentPublished = (i, l) => { if (ReferenceEquals(i.Meter, service.Meter.Meter)) l.EnableMeasurementEvents(i); } };
        listener.SetMeasurementEventCallback<long>((i, v, tags, _) => heard.Enqueue((i.Name, v, tags.Length == 0 ? "" : tags[0].Key + "=" + tags[0].Value)));
        listener.SetMeasurementEventCallback<double>((i, v, tags, _) => heard.Enqueue((i.Name, v, tags.Length == 0 ? "" : tags[0].Key + "=" + tags[0].Value)));
        listener.Start();
        _room.DropFile("shrimp.stl", Workshop.Stl(mark: 3));
        _room.DropFile("whelk.stl", Workshop.Stl(mark: 4));
        await service.Until(l => l.InState(JobState.Done).Count == 4 && heard.Count(h => h.Name == "stiltwright.jobs") >= 2);
        await service.Sweeps(2);
        listener.RecordObservableInstruments();

        // The last two were dropped after the listener began; the first two may have been done before.
        Assert.InRange(heard.Where(h => h.Name == "stiltwright.jobs" && h.Tag == "outcome=ready").Sum(h => h.Value), 2, 4);
        Assert.All(heard.Where(h => h.Name == "stiltwright.stage.duration"), h => Assert.Equal(("stage=" + HereWorker.Stage, HereWorker.StageSeconds), (h.Tag, h.Value)));
        Assert.InRange(heard.Count(h => h.Name == "stiltwright.stage.duration"), 2, 4);
        Assert.All(heard.Where(h => h.Name == "stiltwright.look.duration"), h => Assert.InRange(h.Value, 0, 60));
        Assert.Contains(heard, h => h.Name == "stiltwright.look.duration");
        Assert.Equal(["state=publishing", "state=queued", "state=running", "state=waiting"], heard.Where(h => h.Name == "stiltwright.queue.length" && h.Value == 0).Select(h => h.Tag).Distinct().Order(StringComparer.Ordinal));
        Assert.Equal(service.Ledger.WaitingMails().Count, heard.Last(h => h.Name == "stiltwright.mails.waiting").Value);
        Assert.True(heard.Last(h => h.Name == "stiltwright.service.memory").Value > 1 << 20);
        Assert.False(File.Exists(Path.Combine(_room.State, "metrics.txt")), "no file is written unless the settings ask for it");
    }

    /// <summary>The form is that of OpenMetrics 1.0: a TYPE line for each family, counters end in _total, the last line is # EOF.</summary>
    [Fact]
    public async Task The_file_says_the_same_in_the_open_text_format()
    {
        _room.Write("stiltwright.json", File.ReadAllText(Path.Combine(_room.ConfigFolder, "stiltwright.json")).TrimEnd().TrimEnd('}') + """, "metrics": { "everyS": 0.2 } }""");
        await using var service = await Service.Start(_room, new ShareFiles(), HereWorker.Command);
        _room.DropFile("crab.stl", Workshop.Stl());
        var path = Path.Combine(_room.State, "metrics.txt");
        await service.Until(_ => File.Exists(path) && File.ReadAllText(path) is var said
            && said.Contains("stiltwright_jobs_total", StringComparison.Ordinal) && said.Contains("stiltwright_stage_duration_seconds_count", StringComparison.Ordinal));
        var lines = File.ReadAllText(path).TrimEnd('\n').Split('\n');
        Assert.Equal("# EOF", lines[^1]);
        Assert.Contains("# TYPE stiltwright_jobs counter", lines);
        Assert.Contains("stiltwright_jobs_total{outcome=\"ready\"} 1", lines);
        Assert.Contains("# TYPE stiltwright_stage_duration_seconds summary", lines);
        Assert.Contains($"stiltwright_stage_duration_seconds_count{{stage=\"{HereWorker.Stage}\"}} 1", lines);
        Assert.Contains($"stiltwright_stage_duration_seconds_sum{{stage=\"{HereWorker.Stage}\"}} {HereWorker.StageSeconds.ToString(CultureInfo.InvariantCulture)}", lines);
        Assert.Contains("stiltwright_queue_length{state=\"queued\"} 0", lines);
        foreach (var line in lines.Where(l => !l.StartsWith('#')))
            Assert.True(lines.Contains($"# TYPE {Family(line)} gauge") || lines.Contains($"# TYPE {Family(line)} counter") || lines.Contains($"# TYPE {Family(line)} summary"), line);
    }

    [Fact]
    public void Workers_are_weighed_together_until_they_end()
    {
        // Numbers that no process has: other tests weigh workers of their own at the same time.
        var before = WorkerMemory.Of([-1, -2]);
        WorkerMemory.Note(-1, 5);
        WorkerMemory.Note(-2, 7);
        WorkerMemory.Note(-1, 6);
        Assert.Equal((0L, 13L), (before, WorkerMemory.Of([-1, -2])));
        WorkerMemory.Ended(-1);
        Assert.Equal(7, WorkerMemory.Of([-1, -2]));
        WorkerMemory.Ended(-2);
    }

    private static string Family(string line)
    {
        var name = line.Split('{', ' ')[0];
        foreach (var ending in (string[])["_total", "_count", "_sum"])
            if (name.EndsWith(ending, StringComparison.Ordinal)) return name[..^ending.Length];
        return name;
    }
}
