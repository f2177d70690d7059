using Stiltwright.Geometry;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Summaries;

/// <summary>What became of a job: the worst level of its findings.</summary>
public enum Outcome
{
    /// <summary>Nothing worse than a note.</summary>
    Ready,

    /// <summary>A person must look before printing.</summary>
    Check,

    /// <summary>Not printable as it is, or refused.</summary>
    Stop,
}

/// <summary>
/// The facts of one set, written as <c>summary.json</c>: lengths mm, areas mm2, volumes mm3, resin ml, mass g, time s.
/// Set coordinates: platform at z = 0, centred on it in x and y. What a refused job never came to know is left out
/// (null here, no key in the file); lists are always written, if empty.
/// </summary>
public sealed record Summary
{
    /// <summary>Version of the format.</summary>
    public int Format { get; init; } = 1;

    /// <summary>Number of the set, named aloud.</summary>
    public required string Number { get; init; }

    /// <summary>The dropped file.</summary>
    public required SourceFacts Source { get; init; }

    /// <summary>Drop folder.</summary>
    public required string Folder { get; init; }

    /// <summary>Recipe.</summary>
    public required string Recipe { get; init; }

    /// <summary>Linear scale, 2 for 200 %.</summary>
    public double? Scale { get; init; }

    /// <summary>Heights.</summary>
    public HeightFacts? Height { get; init; }

    /// <summary>The worst level of the findings.</summary>
    public required Outcome Outcome { get; init; }

    /// <summary>Printer that the set (or its first piece) is meant for.</summary>
    public string? Printer { get; init; }

    /// <summary>Resin.</summary>
    public string? Resin { get; init; }

    /// <summary>Source coordinates to set coordinates, before any split.</summary>
    public Affine? Placement { get; init; }

    /// <summary>The files to print, and extra lines for the same parts as 3MF.</summary>
    public IReadOnlyList<PieceFacts> Pieces { get; init; } = [];

    /// <summary>What the shells of the source were taken for.</summary>
    public RoleFacts? Roles { get; init; }

    /// <summary>The struts, counted in segments.</summary>
    public StrutFacts? Struts { get; init; }

    /// <summary>Cavities with their walls and holes.</summary>
    public IReadOnlyList<CavityFacts> Cavities { get; init; } = [];

    /// <summary>The layers as they will print.</summary>
    public LayerFacts? Layers { get; init; }

    /// <summary>Ways of enlarging compared.</summary>
    public IReadOnlyList<WayFacts> Ways { get; init; } = [];

    /// <summary>What the set needs.</summary>
    public EstimateFacts? Estimate { get; init; }

    /// <summary>Fillings of the platform.</summary>
    public IReadOnlyList<RunFacts> Runs { get; init; } = [];

    /// <summary>For the tray card: one entry a piece.</summary>
    public IReadOnlyList<FinishFacts> Finish { get; init; } = [];

    /// <summary>Extra files of the set.</summary>
    public IReadOnlyList<ExtraFacts> Extras { get; init; } = [];

    /// <summary>What a person should know, worst first.</summary>
    public IReadOnlyList<FindingFacts> Findings { get; init; } = [];

    /// <summary>The stages that ran.</summary>
    public IReadOnlyList<StageFacts> Stages { get; init; } = [];

    /// <summary>The outcome that a list of findings gives: the worst level, where a note is ready.</summary>
    public static Outcome OutcomeOf(IEnumerable<FindingFacts> findings)
    {
        var worst = Outcome.Ready;
        foreach (var f in findings)
            worst = f.Level switch { Level.Stop => Outcome.Stop, Level.Check when worst == Outcome.Ready => Outcome.Check, _ => worst };
        return worst;
    }
}

/// <summary>The dropped file.</summary>
/// <param name="File">Name without folder.</param>
/// <param name="Sha256">Hash of its bytes, lower-case hex.</param>
/// <param name="Triangles">Triangles in it; null where it could not be read.</param>
/// <param name="SizeMm">Size in x, y, z, mm; null where it could not be read.</param>
public sealed record SourceFacts(string File, string Sha256, int? Triangles = null, Vec3? SizeMm = null);

/// <summary>Heights of the set.</summary>
/// <param name="StandingMm">The figure standing on its own base.</param>
/// <param name="PrintMm">The print, struts and raft included (the tallest piece).</param>
/// <param name="Up">The figure's own up in set coordinates, unit vector.</param>
public sealed record HeightFacts(double StandingMm, double PrintMm, Vec3 Up);

/// <summary>A file of the set.</summary>
/// <param name="File">Name without folder.</param>
/// <param name="Part">What it holds: "all" or the letter of the piece.</param>
/// <param name="SizeMm">Size in x, y, z.</param>
/// <param name="Triangles">Triangles.</param>
/// <param name="Shells">Shells.</param>
/// <param name="Closed">True if every shell is closed.</param>
/// <param name="VolumeMm3">Union volume.</param>
/// <param name="MassG">Cured mass.</param>
/// <param name="Fits">True if it fits its printer.</param>
/// <param name="Placement">For split sets: source coordinates to this file.</param>
public sealed record PieceFacts(
    string File, string Part, Vec3 SizeMm, int Triangles, int Shells, bool Closed, double VolumeMm3, double MassG, bool Fits, Affine? Placement = null);

/// <summary>What the shells of the source were taken for.</summary>
/// <param name="FigureShells">Shells of the figure.</param>
/// <param name="Struts">Shells of struts.</param>
/// <param name="Rafts">Shells of rafts.</param>
/// <param name="InnerShells">Hollows that came with the source.</param>
/// <param name="Unsure">Shells not known well enough: enlarged only.</param>
/// <param name="ConfidenceMin">Least confidence of any shell, 0..1.</param>
public sealed record RoleFacts(int FigureShells, int Struts, int Rafts, int InnerShells, int Unsure, double ConfidenceMin);

/// <summary>The struts, counted in segments.</summary>
/// <param name="Recognised">Segments found in the source.</param>
/// <param name="Thinned">Made thinner.</param>
/// <param name="LeftAsIs">Left at plain enlargement.</param>
/// <param name="Added">Added by us.</param>
/// <param name="Removed">Left out by us.</param>
/// <param name="DiameterMm">Foot, pillar and brace diameters (circle of equal area).</param>
/// <param name="TipMm">Tip diameters at the figure.</param>
/// <param name="WorstUse">Largest load over capacity of any segment, no factor in it.</param>
/// <param name="WorstUseLayer">Layer at which that is, from 1.</param>
public sealed record StrutFacts(
    int Recognised, int Thinned, int LeftAsIs, int Added, int Removed, BeforeAfter? DiameterMm, BeforeAfter? TipMm, double? WorstUse, int? WorstUseLayer)
{
    /// <summary>Made thicker than plain enlarging.</summary>
    public int Thicker { get; init; }
}

/// <summary>A spread after plain enlargement and as it will print.</summary>
public sealed record BeforeAfter(Spread Before, Spread After);

/// <summary>Least, median and largest of a measure.</summary>
public sealed record Spread(double Min, double Median, double Max)
{
    /// <summary>The spread of some values (the median of an even count is the mean of the middle two); null for none.</summary>
    public static Spread? Of(IEnumerable<double> values)
    {
        var v = values.Order().ToArray();
        if (v.Length == 0) return null;
        var m = v.Length / 2;
        return new Spread(v[0], v.Length % 2 == 1 ? v[m] : (v[m - 1] + v[m]) / 2, v[^1]);
    }
}

/// <summary>A cavity.</summary>
/// <param name="VolumeMm3">Volume of the hollow.</param>
/// <param name="WallMm">Its wall.</param>
/// <param name="Holes">Its holes.</param>
/// <param name="Piece">Letter of the piece, for split sets.</param>
/// <param name="Drains">True if flooding showed that it empties.</param>
/// <param name="TrappedMm3">Resin that stays.</param>
public sealed record CavityFacts(double VolumeMm3, WallFacts WallMm, IReadOnlyList<HoleFacts> Holes, string? Piece, bool Drains, double TrappedMm3);

/// <summary>A cavity's wall, asked for and measured.</summary>
/// <param name="Asked">Asked for.</param>
/// <param name="Min">Least.</param>
/// <param name="Mean">Mean over equal areas.</param>
/// <param name="P99">99th percentile.</param>
public sealed record WallFacts(double Asked, double Min, double Mean, double P99);

/// <summary>A drain hole.</summary>
/// <param name="CentreMm">Where it leaves the figure, in the coordinates of the file that holds it.</param>
/// <param name="Axis">Outwards, unit vector.</param>
/// <param name="DiameterMm">Least inner diameter.</param>
/// <param name="Purpose">"drain" or "air".</param>
public sealed record HoleFacts(Vec3 CentreMm, Vec3 Axis, double DiameterMm, string Purpose);

/// <summary>The layers as they will print.</summary>
/// <param name="Count">How many.</param>
/// <param name="HeightMm">Thickness of one layer.</param>
/// <param name="AreaMm2">Largest layer.</param>
/// <param name="Islands">Spots that start in mid-air.</param>
/// <param name="Cups">Hollows open only towards the film.</param>
/// <param name="SeparationN">Largest pull of the film.</param>
public sealed record LayerFacts(int Count, double HeightMm, PeakFacts AreaMm2, int Islands, int Cups, PeakFacts? SeparationN);

/// <summary>A largest value and the layer (from 1) where it is.</summary>
public sealed record PeakFacts(double Max, int AtLayer);

/// <summary>One way of enlarging.</summary>
/// <param name="Way">"as-is", "hollowed" or "thinned-hollowed".</param>
/// <param name="VolumeMm3">Union volume.</param>
/// <param name="MassG">Cured mass.</param>
/// <param name="SavedShare">1 - volume / as-is.</param>
public sealed record WayFacts(string Way, double VolumeMm3, double MassG, double SavedShare);

/// <summary>What the set needs.</summary>
/// <param name="MassG">Cured mass.</param>
/// <param name="ResinMl">Resin drawn, waste included.</param>
/// <param name="PrintS">Print time of all runs.</param>
/// <param name="Cost">Cost.</param>
/// <param name="Plates">Number of runs.</param>
public sealed record EstimateFacts(double MassG, double ResinMl, double PrintS, CostFacts Cost, int Plates);

/// <summary>An amount of money.</summary>
public sealed record CostFacts(double Amount, string Currency);

/// <summary>One filling of one platform.</summary>
/// <param name="Printer">Printer.</param>
/// <param name="Pieces">Letters ("" for the only piece).</param>
/// <param name="Layers">Layers.</param>
/// <param name="PrintS">Time.</param>
/// <param name="ResinMl">Resin.</param>
/// <param name="Refills">When the vat must be filled up.</param>
public sealed record RunFacts(string Printer, IReadOnlyList<string> Pieces, int Layers, double PrintS, double ResinMl, IReadOnlyList<RefillFacts> Refills);

/// <summary>A refill of the vat.</summary>
/// <param name="Layer">Before this layer.</param>
/// <param name="AfterS">Seconds after the start.</param>
/// <param name="Ml">How much.</param>
public sealed record RefillFacts(int Layer, double AfterS, double Ml);

/// <summary>How a piece is finished.</summary>
/// <param name="Piece">Its letter, "" for the only piece.</param>
/// <param name="ExpectedG">Mass when cured and empty; heavier means resin inside.</param>
/// <param name="Down">Which way is down while it drains, in the coordinates of its file, unit vector.</param>
/// <param name="DrainS">How long.</param>
/// <param name="FilmG">Resin that stays as a film at first and is washed off.</param>
public sealed record FinishFacts(string Piece, double ExpectedG, Vec3? Down, double? DrainS, double? FilmG);

/// <summary>An extra file.</summary>
public sealed record ExtraFacts(string File, string What);

/// <summary>Something a person should know.</summary>
/// <param name="Id">Which finding.</param>
/// <param name="Level">note, check or stop.</param>
/// <param name="Text">What, where, how much.</param>
/// <param name="Advice">What would make it go.</param>
/// <param name="AtMm">Place, in the coordinates of the file that holds it.</param>
/// <param name="Layer">Layer, from 1.</param>
/// <param name="Picture">Picture in the set, e.g. "pictures/places-1.png".</param>
/// <param name="Piece">Letter of the piece, for split sets.</param>
public sealed record FindingFacts(
    string Id, Level Level, string Text, string Advice, Vec3? AtMm = null, int? Layer = null, string? Picture = null, string? Piece = null)
{
    /// <summary>A finding of a stage as the summary states it.</summary>
    public static FindingFacts From(Finding f) => new(f.Id, f.Level, f.Text, f.Advice, f.AtMm, f.Layer, f.Picture, f.Piece);
}

/// <summary>One stage that ran.</summary>
/// <param name="Stage">Name.</param>
/// <param name="Version">Version.</param>
/// <param name="Seconds">Time.</param>
/// <param name="PeakMiB">Largest memory of the process by its end, MiB.</param>
public sealed record StageFacts(string Stage, string Version, double Seconds, double PeakMiB);
