using System.Data.Common;
using System.Diagnostics.Metrics;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Summaries;

namespace Stiltwright.Host.Metrics;

/// <summary>
/// What the service measures of itself, as instruments of System.Diagnostics.Metrics (the interface of OpenTelemetry in
/// .NET): always there, and next to free as long as nobody listens. Nothing is sent and no port is opened; a listener in the
/// runtime's diagnostics protocol reads them, or the file that "metrics" in the settings asks for.
/// </summary>
public sealed class ServiceMeter : IDisposable
{
    /// <summary>Name of the meter.</summary>
    public const string Name = "Stiltwright";

    private readonly Meter _meter = new(Name);
    private readonly Counter<long> _jobs;
    private readonly Histogram<double> _stages;
    private readonly Histogram<double> _looks;

    /// <summary>Makes the instruments.</summary>
    /// <param name="ledger">Asked for queue and mails whenever a listener wants them.</param>
    public ServiceMeter(Ledger ledger)
    {
        _jobs = _meter.CreateCounter<long>("stiltwright.jobs", "{job}", "Jobs whose set stands, by outcome.");
        _stages = _meter.CreateHistogram<double>("stiltwright.stage.duration", "s", "Time that a stage of a job took.");
        _looks = _meter.CreateHistogram<double>("stiltwright.look.duration", "s", "Time that a look at the share took.");
        _meter.CreateObservableGauge("stiltwright.queue.length", () => Asked(() => ledger.CountsByState().Select(c => new Measurement<long>(c.Count, Tag("state", c.State)))), "{job}", "Jobs that are not over, by state.");
        _meter.CreateObservableGauge("stiltwright.mails.waiting", () => Asked(() => [new Measurement<long>(ledger.WaitingMailCount())]), "{mail}", "Mails that wait to be sent.");
        _meter.CreateObservableGauge("stiltwright.worker.memory", () => WorkerMemory.Bytes, "By", "Resident memory of the workers that run.");
        _meter.CreateObservableGauge("stiltwright.service.memory", () => Environment.WorkingSet, "By", "Resident memory of the service itself.");
    }

    /// <summary>The meter, for a listener in this process.</summary>
    public Meter Meter => _meter;

    /// <summary>A set stands.</summary>
    /// <param name="outcome">ready, check or stop; "parked" for a job that was set aside.</param>
    /// <param name="setFolder">The set: its summary says what each stage took.</param>
    public void Stands(string outcome, string setFolder)
    {
        _jobs.Add(1, Tag("outcome", outcome));
        if (!_stages.Enabled) return;
        try
        {
            foreach (var stage in SummaryFiles.Read(setFolder).Stages) _stages.Record(stage.Seconds, Tag("stage", stage.Stage));
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or InvalidDataException)
        {
            // It was whole when it was published; who took it away since takes its times with it.
        }
    }

    /// <summary>A look at the share ended.</summary>
    public void Looked(TimeSpan took) => _looks.Record(took.TotalSeconds);

    /// <inheritdoc/>
    public void Dispose() => _meter.Dispose();

    private static KeyValuePair<string, object?> Tag(string key, string value) => new(key, value);

    /// <summary>A ledger that cannot be asked now gives no figure; a listener must not see a wrong one, nor the service an error.</summary>
    private static IEnumerable<Measurement<long>> Asked(Func<IEnumerable<Measurement<long>>> ask)
    {
        try
        {
            return [.. ask()];
        }
        catch (DbException)
        {
            return [];
        }
    }
}
