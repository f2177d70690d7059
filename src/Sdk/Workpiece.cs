using Stiltwright.Geometry;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Sdk;

/// <summary>
/// What passes from stage to stage. Immutable: a stage returns a changed copy; meshes are shared by reference and never
/// changed in place. Lengths are mm, z is up; before <c>rescale</c> there are no pieces, after it the set lies with the
/// platform at z = 0, centred on it in x and y.
/// </summary>
public sealed record Workpiece
{
    /// <summary>The dropped file as read; never changes.</summary>
    public required SourceFigure Source { get; init; }

    /// <summary>
    /// The source with the shells that <see cref="Inspection"/> speaks of: as read, or with struts that were one surface with the
    /// figure taken off as shells of their own. Stages work from this; <see cref="Source"/> stays the file as read.
    /// </summary>
    public SourceFigure Drawn => Inspection?.Separated ?? Source;

    /// <summary>What each shell of the source is; null before <c>inspect</c>.</summary>
    public Inspection? Inspection { get; init; }

    /// <summary>How the source was placed; null before <c>rescale</c>.</summary>
    public Placement? Placement { get; init; }

    /// <summary>The pieces: none before <c>rescale</c>, one until <c>split</c>.</summary>
    public IReadOnlyList<Piece> Pieces { get; init; } = [];

    /// <summary>The figures and estimates of <c>estimate</c>; null before.</summary>
    public SetEstimate? Estimate { get; init; }
}

/// <summary>The source as read, in the file's own coordinates taken as mm.</summary>
/// <param name="FileName">Name without folder.</param>
/// <param name="Sha256">Hash of its bytes, lower-case hex.</param>
/// <param name="Mesh">Welded and oriented, on its own lattice.</param>
/// <param name="Shells">Its shells, oriented: outer shells positive, true hollows negative.</param>
/// <param name="TrianglesInFile">Triangles as written in the file, before cleaning.</param>
public sealed record SourceFigure(string FileName, string Sha256, Mesh Mesh, ShellSet Shells, int TrianglesInFile);

/// <summary>What <c>inspect</c> found, in source coordinates.</summary>
/// <param name="RoleOfShell">Role of each shell of the source.</param>
/// <param name="ConfidenceOfShell">How sure, 0..1.</param>
/// <param name="Struts">The strut graph, in source coordinates.</param>
/// <param name="Fused">True if struts seem to be one surface with the figure.</param>
/// <param name="Up">The figure's own up direction in source coordinates (standing pose), unit vector.</param>
/// <param name="StandingHeightMm">Height of the figure standing, own base included, in source mm.</param>
public sealed record Inspection(
    IReadOnlyList<Role> RoleOfShell, IReadOnlyList<double> ConfidenceOfShell, StrutGraph Struts, bool Fused, Vec3 Up, double StandingHeightMm)
{
    /// <summary>Area of the flat face it stands on, source mm2; 0 where none was found.</summary>
    public double BaseAreaMm2 { get; init; }

    /// <summary>The source with fused struts as shells of their own, to which all numbers of shells here refer; null where it is as read.</summary>
    public SourceFigure? Separated { get; init; }
}

/// <summary>Where the source lies in the set.</summary>
/// <param name="Map">Source coordinates to set coordinates, before any split.</param>
/// <param name="Scale">Linear scale, 2.0 for 200 %.</param>
/// <param name="Lattice">The lattice of all meshes of the set.</param>
public sealed record Placement(Affine Map, double Scale, Lattice Lattice);

/// <summary>One thing to print: the whole set, or a result of a split. In the coordinates of its own file.</summary>
public sealed record Piece
{
    /// <summary>"" for the only piece, else "a", "b", ... "z", "aa".</summary>
    public required string Letter { get; init; }

    /// <summary>The figure's closed outer shells (overlaps allowed), without cavities and holes. Never changed by hollowing.</summary>
    public required Mesh Outer { get; init; }

    /// <summary>The figure as it will print: outer shells with cavities taken out and holes drilled. Equals <see cref="Outer"/> before <c>shell</c>.</summary>
    public required Mesh Figure { get; init; }

    /// <summary>Open or unsure shells: enlarged only, written with the figure.</summary>
    public required Mesh Untouched { get; init; }

    /// <summary>Closed hollows that came with the source and were kept (turned inside out, as they print).</summary>
    public required Mesh OldHollows { get; init; }

    /// <summary>The struts.</summary>
    public required StrutGraph Struts { get; init; }

    /// <summary>The struts as plain enlarging would have made them (what was grown here as it grew), for comparison; same segment ids.</summary>
    public required StrutGraph StrutsAsEnlarged { get; init; }

    /// <summary>The raft, or an empty mesh.</summary>
    public required Mesh Raft { get; init; }

    /// <summary>Cavities made by <c>shell</c>.</summary>
    public IReadOnlyList<Cavity> Cavities { get; init; } = [];

    /// <summary>Joints to other pieces.</summary>
    public IReadOnlyList<Seam> Seams { get; init; } = [];

    /// <summary>Places that must stay solid.</summary>
    public IReadOnlyList<SolidPlace> KeepSolid { get; init; } = [];

    /// <summary>Set coordinates (before the split) to this piece's coordinates.</summary>
    public Affine FromSet { get; init; } = Affine.Identity;

    /// <summary>Name of the printer it is meant for.</summary>
    public string Printer { get; init; } = "";

    /// <summary>True if it fits that printer as it lies.</summary>
    public bool Fits { get; init; } = true;

    /// <summary>Which way is down while it drains, unit vector in this piece's coordinates; null where nothing is to drain.</summary>
    public Vec3? DrainDown { get; init; }

    /// <summary>How long it drains until only a film is left, s.</summary>
    public double DrainS { get; init; }

    /// <summary>How the loads were judged, whole sentences for the summary; after <c>strut-thin</c>.</summary>
    public IReadOnlyList<string> Judging { get; init; } = [];

    /// <summary>One decision for every segment, after <c>strut-thin</c>.</summary>
    public IReadOnlyList<StrutDecision> Decisions { get; init; } = [];
}

/// <summary>A hollow made by us.</summary>
/// <param name="Surface">Closed surface, corners counter-clockwise seen from the wall, so its own volume is positive.</param>
/// <param name="WallAskedMm">The wall that was asked for.</param>
/// <param name="WallMinMm">Least distance to the outside, measured.</param>
/// <param name="WallMeanMm">Mean distance to the outside, measured at samples of equal area.</param>
/// <param name="WallP99Mm">99th percentile of that distance.</param>
/// <param name="Holes">Its drain holes.</param>
public sealed record Cavity(Mesh Surface, double WallAskedMm, double WallMinMm, double WallMeanMm, double WallP99Mm, IReadOnlyList<DrainHole> Holes)
{
    /// <summary>True once flooding showed that it empties.</summary>
    public bool Drains { get; init; }

    /// <summary>Resin that stays after draining, mm3.</summary>
    public double TrappedMm3 { get; init; }
}

/// <summary>A hole through the wall of a cavity.</summary>
/// <param name="CentreMm">Where it leaves the figure.</param>
/// <param name="Axis">Outwards, unit vector.</param>
/// <param name="DiameterMm">Least inner diameter.</param>
/// <param name="Purpose">"drain" or "air".</param>
public sealed record DrainHole(Vec3 CentreMm, Vec3 Axis, double DiameterMm, string Purpose);

/// <summary>A joint between two pieces.</summary>
/// <param name="Other">Letter of the other piece.</param>
/// <param name="CentreMm">Middle of the cut face, in this piece's coordinates.</param>
/// <param name="Normal">Out of this piece.</param>
/// <param name="AreaMm2">Area of the cut face of the solid figure.</param>
/// <param name="Pegs">Pegs standing on this face.</param>
/// <param name="Sockets">Sockets sunk into it.</param>
public sealed record Seam(string Other, Vec3 CentreMm, Vec3 Normal, double AreaMm2, int Pegs, int Sockets);

/// <summary>A place that no cavity may enter: all points within a radius of a line segment, mm.</summary>
/// <param name="From">One end.</param>
/// <param name="To">The other end (the same point for a ball).</param>
/// <param name="RadiusMm">Radius.</param>
/// <param name="Why">In words, for the summary.</param>
public sealed record SolidPlace(Vec3 From, Vec3 To, double RadiusMm, string Why);

/// <summary>What was decided for a strut segment.</summary>
/// <param name="Segment">Its id in the graph.</param>
/// <param name="Decision">"thinned", "kept", "reinforced", "added" or "unsure".</param>
/// <param name="Use">Load over capacity of the hardest check, no factor in it.</param>
/// <param name="BoundBy">Which check or limit set the size, in words.</param>
/// <param name="AtLayer">Layer at which it is used hardest, from 1; 0 where none.</param>
/// <param name="RadiusFromMm">Radius to the corners at the lower end now.</param>
/// <param name="RadiusToMm">Radius to the corners at the upper end now.</param>
public sealed record StrutDecision(int Segment, string Decision, double Use, string BoundBy, int AtLayer, double RadiusFromMm, double RadiusToMm);
