using System.Collections.Concurrent;
using System.Diagnostics.Metrics;
using System.Globalization;
using System.Text;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Metrics;

/// <summary>
/// Writes the service's figures into one small file at an interval, whole or not at all, in the text format of OpenMetrics
/// 1.0, which collectors read from a folder. Off unless the settings ask for it.
/// </summary>
public sealed class MetricsFile(ServiceState state, ServiceMeter meter, TimeProvider time, ILogger<MetricsFile> log) : BackgroundService
{
    private readonly ConcurrentDictionary<(string Name, string Labels), Sum> _sums = new();

    /// <summary>Path of the file.</summary>
    public string FilePath => Path.Combine(state.StateFolder, "metrics.txt");

    /// <inheritdoc/>
    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        var every = state.Config.Host.Metrics.EveryS;
        if (every <= 0) return;
        using var listener = Listener();
        using var timer = new PeriodicTimer(TimeSpan.FromSeconds(every), time);
        try
        {
            do
            {
                try
                {
                    DurableFiles.Replace(FilePath, Text(listener));
                }
                catch (Exception e) when (e is IOException or UnauthorizedAccessException)
                {
                    log.LogWarning("The figures cannot be written into {Path}: {Reason}", FilePath, e.Message);
                }
            }
            while (await timer.WaitForNextTickAsync(stoppingToken).ConfigureAwait(false));
        }
        catch (OperationCanceledException) when (stoppingToken.IsCancellationRequested)
        {
            // The service ends; the file says when it was written last.
        }
    }

    /// <summary>Listens to the service's meter; what it hears is kept until it is asked for.</summary>
    public MeterListener Listener()
    {
        var listener = new MeterListener
        {
            InstrumentPublished = (instrument, l) =>
            {
                if (ReferenceEquals(instrument.Meter, meter.Meter)) l.EnableMeasurementEvents(instrument);
            },
        };
        listener.SetMeasurementEventCallback<long>((i, value, tags, _) => Note(i, value, tags));
        listener.SetMeasurementEventCallback<double>((i, value, tags, _) => Note(i, value, tags));
        listener.Start();
        return listener;
    }

    /// <summary>The file's text: counters and times since the start, and what is there at this moment.</summary>
    public string Text(MeterListener listener)
    {
        // What is there at a moment is asked anew: a state without a job must not keep its last count.
        foreach (var gauge in _sums.Where(s => s.Value.Kind == "gauge")) _sums.TryRemove(gauge.Key, out _);
        listener.RecordObservableInstruments();
        var text = new StringBuilder();
        foreach (var family in _sums.OrderBy(s => s.Key.Name, StringComparer.Ordinal).ThenBy(s => s.Key.Labels, StringComparer.Ordinal).GroupBy(s => s.Key.Name))
        {
            var one = family.First().Value;
            text.Append(CultureInfo.InvariantCulture, $"# TYPE {family.Key} {one.Kind}\n");
            if (one.Unit.Length > 0) text.Append(CultureInfo.InvariantCulture, $"# UNIT {family.Key} {one.Unit}\n");
            text.Append(CultureInfo.InvariantCulture, $"# HELP {family.Key} {one.Help}\n");
            foreach (var ((name, labels), sum) in family)
            {
                var (total, count) = sum.Read();
                if (one.Kind == "gauge") text.Append(CultureInfo.InvariantCulture, $"{name}{labels} {total}\n");
                else if (one.Kind == "counter") text.Append(CultureInfo.InvariantCulture, $"{name}_total{labels} {total}\n");
                else text.Append(CultureInfo.InvariantCulture, $"{name}_count{labels} {count}\n{name}_sum{labels} {total}\n");
            }
        }

        return text.Append("# EOF\n").ToString();
    }

    private void Note(Instrument instrument, double value, ReadOnlySpan<KeyValuePair<string, object?>> tags)
    {
        var labels = tags.Length == 0 ? "" : $"{{{tags[0].Key}=\"{Escaped(tags[0].Value?.ToString() ?? "")}\"}}";
        var unit = instrument.Unit switch { "s" => "seconds", "By" => "bytes", _ => "" };
        var name = instrument.Name.Replace('.', '_') + (unit.Length > 0 ? "_" + unit : "");
        _sums.GetOrAdd((name, labels), _ => new Sum(instrument is Counter<long> ? "counter" : instrument is Histogram<double> ? "summary" : "gauge", unit, instrument.Description ?? "")).Add(value);
    }

    private static string Escaped(string text) => text.Replace("\\", "\\\\", StringComparison.Ordinal).Replace("\"", "\\\"", StringComparison.Ordinal).Replace("\n", "\\n", StringComparison.Ordinal);

    private sealed class Sum(string kind, string unit, string help)
    {
        private readonly Lock _lock = new();
        private double _total;
        private long _count;

        public string Kind => kind;

        public string Unit => unit;

        public string Help => help;

        public void Add(double value)
        {
            lock (_lock)
            {
                _total += value;
                _count++;
            }
        }

        public (double Total, long Count) Read()
        {
            lock (_lock) return (_total, _count);
        }
    }
}
