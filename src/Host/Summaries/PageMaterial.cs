namespace Stiltwright.Host.Summaries;

/// <summary>
/// What the summary page shows beside the facts of <see cref="Summary"/>. All of it is optional: a refused job has none.
/// </summary>
public sealed record PageMaterial
{
    /// <summary>Nothing beside the summary.</summary>
    public static readonly PageMaterial None = new();

    /// <summary>Pictures in the order in which they are shown.</summary>
    public IReadOnlyList<SetPicture> Pictures { get; init; } = [];

    /// <summary>Layers of each piece, for the charts.</summary>
    public IReadOnlyList<LayerCurve> Layers { get; init; } = [];

    /// <summary>The struts; null where none were recognised.</summary>
    public StrutsFile? Struts { get; init; }

    /// <summary>How the loads were judged: whole sentences, e.g. what the relative rule compared with.</summary>
    public IReadOnlyList<string> Judging { get; init; } = [];

    /// <summary>When a stage asked an earlier one to do it again: whole sentences.</summary>
    public IReadOnlyList<string> WentBack { get; init; } = [];

    /// <summary>What changed since the figure's last set: whole sentences.</summary>
    public IReadOnlyList<string> ChangedSinceLast { get; init; } = [];

    /// <summary>Measures of the stages: name, value, unit.</summary>
    public IReadOnlyList<StageMeasure> Measures { get; init; } = [];

    /// <summary>True if the set holds a 3MF file of this name.</summary>
    public string? ThreeMfFile { get; init; }
}

/// <summary>A measure that a stage noted.</summary>
public sealed record StageMeasure(string Stage, string Name, double Value, string Unit);

/// <summary>The layers of one piece for the charts; index 0 is the first layer at the platform.</summary>
/// <param name="Piece">Its letter, "" for the only piece.</param>
/// <param name="LayerMm">Thickness of a layer.</param>
/// <param name="AreaMm2">Area of each layer.</param>
/// <param name="SeparationN">Pull of the film on each layer; null where no load was solved.</param>
public sealed record LayerCurve(string Piece, double LayerMm, IReadOnlyList<double> AreaMm2, IReadOnlyList<double>? SeparationN);

/// <summary>A picture of the set.</summary>
/// <param name="File">Name in the set, e.g. "pictures/overview.png".</param>
/// <param name="Caption">What it shows, one sentence.</param>
/// <param name="Marks">The numbered marks in it, in order: mark 1 is the first.</param>
/// <param name="FindingIndexes">Findings (by index in the list given to <see cref="SetPictures.Draw"/>) that it shows.</param>
/// <param name="Preview">A small PNG for the page and the mail.</param>
/// <param name="PreviewWidth">Width of the preview, pixels.</param>
/// <param name="PreviewHeight">Height of the preview, pixels.</param>
/// <param name="InMail">True for the few that go into a mail.</param>
public sealed record SetPicture(
    string File, string Caption, IReadOnlyList<string> Marks, IReadOnlyList<int> FindingIndexes, byte[] Preview, int PreviewWidth, int PreviewHeight, bool InMail);
