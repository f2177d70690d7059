using Stiltwright.Geometry;
using Stiltwright.Printing.Resin;

namespace Stiltwright.Sdk;

/// <summary>Version of this contract. A stage built against another major version is refused.</summary>
public static class Contract
{
    /// <summary>Major version.</summary>
    public const int Major = 1;

    /// <summary>Minor version; grows when something is added.</summary>
    public const int Minor = 0;
}

/// <summary>What a stage may change. The worker checks that nothing else did.</summary>
[Flags]
public enum Parts
{
    /// <summary>Nothing (it only measures).</summary>
    Nothing = 0,

    /// <summary>Roles and the strut graph of the source.</summary>
    Roles = 1,

    /// <summary>Where and how large everything is.</summary>
    Placement = 2,

    /// <summary>How many pieces there are.</summary>
    Pieces = 4,

    /// <summary>The figure's surface, cavities and holes.</summary>
    Figure = 8,

    /// <summary>The struts.</summary>
    Struts = 16,

    /// <summary>The raft.</summary>
    Raft = 32,

    /// <summary>The estimate.</summary>
    Estimate = 64,
}

/// <summary>
/// A step of a recipe. It takes a workpiece and returns another one, or asks to go back. It keeps every closed shell
/// closed, z up, millimetres, platform at z = 0; the worker checks that after every stage. One instance serves one job.
/// A stage must obey the token within seconds; one that does not is ended with its process.
/// </summary>
public interface IStage
{
    /// <summary>Name in recipes, lower case with hyphens.</summary>
    string Name { get; }

    /// <summary>Version of the stage, for the summary and the job's identity.</summary>
    string Version { get; }

    /// <summary>
    /// Type of its settings: a class with a parameterless constructor whose public properties carry <see cref="SettingAttribute"/>.
    /// </summary>
    Type SettingsType { get; }

    /// <summary>What it changes.</summary>
    Parts Changes { get; }

    /// <summary>What must be settled before it: no later stage may change these.</summary>
    Parts Settles { get; }

    /// <summary>Does the work. <paramref name="settings"/> is of <see cref="SettingsType"/>, already checked against ranges.</summary>
    StageResult Run(Workpiece workpiece, object settings, IStageContext context, CancellationToken cancel);
}

/// <summary>What a stage gives back: a workpiece, or a request to go back.</summary>
public sealed record StageResult
{
    private StageResult() { }

    /// <summary>The changed workpiece, if the stage was done.</summary>
    public Workpiece? Workpiece { get; private init; }

    /// <summary>The request, if an earlier stage must do it again.</summary>
    public BackRequest? Request { get; private init; }

    /// <summary>Done.</summary>
    public static StageResult Done(Workpiece workpiece) => new() { Workpiece = workpiece };

    /// <summary>The reason why the job cannot go on, if it was refused.</summary>
    public Finding? Refusal { get; private init; }

    /// <summary>Ends the job: the set is the summary alone, and its first sentence is this finding (level stop).</summary>
    public static StageResult Refuse(Finding finding) => new() { Refusal = finding with { Level = Level.Stop } };

    /// <summary>Asks an earlier stage to run again with places kept solid.</summary>
    public static StageResult GoBack(BackRequest request) => new() { Request = request };
}

/// <summary>A request to an earlier stage. The worker starts again from that stage's own input, twice a job at most.</summary>
/// <param name="Stage">Name of the stage that should do better.</param>
/// <param name="Places">Places to keep solid, in the coordinates of the piece.</param>
/// <param name="PieceLetter">The piece they belong to.</param>
/// <param name="Why">One sentence for the summary.</param>
public sealed record BackRequest(string Stage, IReadOnlyList<SolidPlace> Places, string PieceLetter, string Why);

/// <summary>What a stage sees of the job around it.</summary>
public interface IStageContext
{
    /// <summary>The resin of the recipe.</summary>
    ResinData Resin { get; }

    /// <summary>The printers of the recipe, in the order in which they are tried.</summary>
    IReadOnlyList<PrinterData> Printers { get; }

    /// <summary>What the figure is to become.</summary>
    TargetSize Target { get; }

    /// <summary>Standing height expected of a source, mm; outside it a person looks.</summary>
    (double Least, double Most)? SourceMm { get; }

    /// <summary>What only a person knows of this figure; empty where no slip was given.</summary>
    Slip Slip { get; }

    /// <summary>True if a stage of that name runs later in this recipe.</summary>
    bool RunsLater(string stage);

    /// <summary>Reports something that a person should know.</summary>
    void Report(Finding finding);

    /// <summary>Notes a figure for the summary's table of measures.</summary>
    void Measure(string name, double value, string unit);

    /// <summary>Tells how far the work is, 0..1.</summary>
    void Progress(double share);

    /// <summary>How often this job has gone back so far; twice is the most.</summary>
    int TimesGoneBack { get; }

    /// <summary>Adds an extra file to the set (name without folder, .stl).</summary>
    void AddExtra(string fileName, Mesh mesh, string what);
}

/// <summary>What the figure is to become; exactly one way is given.</summary>
/// <param name="Percent">Enlargement in percent, or null.</param>
/// <param name="HeightMm">Standing height, mm, or null.</param>
/// <param name="From">Scale the source was drawn at (32 for 32 mm), or null.</param>
/// <param name="To">Scale wanted (75 for 75 mm), or null.</param>
public sealed record TargetSize(double? Percent, double? HeightMm, double? From, double? To);

/// <summary>What only a person knows of one figure. Directions are in source coordinates.</summary>
public sealed record Slip
{
    /// <summary>The figure's front, or null.</summary>
    public Vec3? Front { get; init; }

    /// <summary>The figure's up, or null.</summary>
    public Vec3? Up { get; init; }

    /// <summary>Boxes (source coordinates) in which no hole may be drilled.</summary>
    public IReadOnlyList<Box3> NoHoles { get; init; } = [];

    /// <summary>Boxes (source coordinates) that stay solid.</summary>
    public IReadOnlyList<Box3> KeepSolid { get; init; } = [];
}

/// <summary>Declares a setting of a stage: its unit, range and meaning. The schema and the reference page come from it.</summary>
[AttributeUsage(AttributeTargets.Property)]
public sealed class SettingAttribute(string meaning, string unit = "") : Attribute
{
    /// <summary>One sentence.</summary>
    public string Meaning { get; } = meaning;

    /// <summary>Unit, e.g. mm; empty for none.</summary>
    public string Unit { get; } = unit;

    /// <summary>Least value allowed.</summary>
    public double Least { get; init; } = double.NegativeInfinity;

    /// <summary>Largest value allowed.</summary>
    public double Most { get; init; } = double.PositiveInfinity;

    /// <summary>Allowed words of a text setting.</summary>
    public string[] OneOf { get; init; } = [];
}
