using Stiltwright.Geometry;
using Stiltwright.Printing.Resin;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Worker;

/// <summary>An extra file that a stage adds to the set.</summary>
/// <param name="FileName">Name without folder.</param>
/// <param name="Mesh">The shells.</param>
/// <param name="What">One sentence.</param>
public sealed record ExtraFile(string FileName, Mesh Mesh, string What);

/// <summary>A figure that a stage measured.</summary>
/// <param name="Stage">Which stage.</param>
/// <param name="Name">What was measured.</param>
/// <param name="Value">The value.</param>
/// <param name="Unit">Its unit.</param>
public sealed record Measured(string Stage, string Name, double Value, string Unit);

/// <summary>
/// Collects what the stages say. Each entry remembers the step it came from, so that going back forgets what the
/// repeated steps had said.
/// </summary>
public sealed class JobNotes
{
    private readonly List<(int Step, Finding Finding)> _findings = [];
    private readonly List<(int Step, Measured Measured)> _measures = [];
    private readonly List<(int Step, ExtraFile Extra)> _extras = [];

    /// <summary>All findings, in the order in which they were made.</summary>
    public IReadOnlyList<Finding> Findings => [.. _findings.Select(f => f.Finding)];

    /// <summary>All measures.</summary>
    public IReadOnlyList<Measured> Measures => [.. _measures.Select(m => m.Measured)];

    /// <summary>All extra files.</summary>
    public IReadOnlyList<ExtraFile> Extras => [.. _extras.Select(e => e.Extra)];

    /// <summary>Adds a finding; -1 is the reading of the source, int.MaxValue the final audit.</summary>
    public void Add(int step, Finding finding) => _findings.Add((step, finding));

    /// <summary>Adds a measure.</summary>
    public void Add(int step, Measured measured) => _measures.Add((step, measured));

    /// <summary>Adds an extra file.</summary>
    public void Add(int step, ExtraFile extra)
    {
        if (extra.FileName != Path.GetFileName(extra.FileName) || !extra.FileName.EndsWith(".stl", StringComparison.OrdinalIgnoreCase))
            throw new ArgumentException($"An extra file is a plain name ending in .stl, not \"{extra.FileName}\".");
        _extras.Add((step, extra));
    }

    /// <summary>Puts findings in the place of the present ones, in the same order (when pictures were drawn of them).</summary>
    public void Replace(IReadOnlyList<Finding> findings)
    {
        if (findings.Count != _findings.Count) throw new ArgumentException("Findings can be replaced one for one only.", nameof(findings));
        for (var i = 0; i < findings.Count; i++) _findings[i] = (_findings[i].Step, findings[i]);
    }

    /// <summary>Forgets all that was said from a step on.</summary>
    public void ForgetFrom(int step)
    {
        _findings.RemoveAll(f => f.Step >= step);
        _measures.RemoveAll(m => m.Step >= step);
        _extras.RemoveAll(e => e.Step >= step);
    }
}

/// <summary>The context of one step.</summary>
internal sealed class StageContext(WorkOrder order, JobNotes notes, int step, int timesGoneBack, Action<string, double> progress) : IStageContext
{
    private readonly string _stage = order.Stages[step].Stage;

    public ResinData Resin => order.Resin;

    public IReadOnlyList<PrinterData> Printers => order.Printers;

    public TargetSize Target => order.Target;

    public (double Least, double Most)? SourceMm => order.SourceMm is { Length: 2 } s ? (s[0], s[1]) : null;

    public Slip Slip => order.Slip;

    public int TimesGoneBack => timesGoneBack;

    public bool RunsLater(string stage) => order.Stages.Skip(step + 1).Any(s => s.Stage == stage);

    public void Report(Finding finding) => notes.Add(step, finding);

    public void Measure(string name, double value, string unit) => notes.Add(step, new Measured(_stage, name, value, unit));

    public void Progress(double share) => progress(_stage, (step + Math.Clamp(share, 0, 1)) / order.Stages.Count);

    public void AddExtra(string fileName, Mesh mesh, string what) => notes.Add(step, new ExtraFile(fileName, mesh, what));
}
