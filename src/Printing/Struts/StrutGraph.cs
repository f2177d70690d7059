using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>Where an end of a segment is held.</summary>
public enum EndHeldBy
{
    /// <summary>Nothing was found there.</summary>
    Nothing,

    /// <summary>The build platform itself.</summary>
    Platform,

    /// <summary>The raft.</summary>
    Raft,

    /// <summary>Another strut segment.</summary>
    Strut,

    /// <summary>The figure.</summary>
    Figure,
}

/// <summary>One straight piece of a strut, with its axis and its radii. All lengths in mm.</summary>
public sealed record StrutSegment
{
    /// <summary>Number in the graph; equals its index in <see cref="StrutGraph.Segments"/>.</summary>
    public required int Id { get; init; }

    /// <summary>Number of the chain (the strut from raft to figure) it belongs to; a brace is a chain of its own.</summary>
    public required int Chain { get; init; }

    /// <summary>Foot, pillar, brace, tip or unsure.</summary>
    public required Role Role { get; init; }

    /// <summary>Axis end nearer the raft (for braces: the lower one).</summary>
    public required Vec3 From { get; init; }

    /// <summary>Axis end nearer the figure.</summary>
    public required Vec3 To { get; init; }

    /// <summary>Radius at <see cref="From"/>, to the corners of the polygon.</summary>
    public required double RadiusFrom { get; init; }

    /// <summary>Radius at <see cref="To"/>, to the corners of the polygon.</summary>
    public required double RadiusTo { get; init; }

    /// <summary>Sides of the section polygon; 0 where it is no regular polygon.</summary>
    public required int Sides { get; init; }

    /// <summary>Section area divided by the area of the circle through its corners (1 for a circle, 0.6366 for a square).</summary>
    public double AreaShare { get; init; } = 1;

    /// <summary>Least second moment of area divided by that of the circle through its corners.</summary>
    public double InertiaShare { get; init; } = 1;

    /// <summary>How sure the role is, 0..1.</summary>
    public required double Confidence { get; init; }

    /// <summary>Index in <see cref="StrutGraph.Shells"/> of the shell that draws it.</summary>
    public required int Shell { get; init; }

    /// <summary>Who holds the lower end.</summary>
    public EndHeldBy FromHeldBy { get; init; }

    /// <summary>Who holds the upper end.</summary>
    public EndHeldBy ToHeldBy { get; init; }

    /// <summary>Segments joined to the lower end.</summary>
    public IReadOnlyList<int> FromJoins { get; init; } = [];

    /// <summary>Segments joined to the upper end.</summary>
    public IReadOnlyList<int> ToJoins { get; init; } = [];

    /// <summary>Where it meets the figure's surface, if it does.</summary>
    public Vec3? Contact { get; init; }

    /// <summary>Outward normal of the figure at the contact.</summary>
    public Vec3? ContactNormal { get; init; }

    /// <summary>Number of the segment of the source that it comes from; -1 where there is none. Kept through enlarging and cutting.</summary>
    public int SourceId { get; init; } = -1;

    /// <summary>True for a segment that the source does not have: it was grown here.</summary>
    public bool Added { get; init; }

    /// <summary>Length of the axis, mm.</summary>
    public double Length => From.DistanceTo(To);

    /// <summary>Diameter of the circle of equal area at a radius (to the corners), mm.</summary>
    public double EqualAreaDiameter(double cornerRadius) => 2 * cornerRadius * Math.Sqrt(AreaShare);
}

/// <summary>A closed shell that draws one or several segments (a tube may hold foot, pillar and tip in one).</summary>
/// <param name="Shape">The surface, in the coordinates of the graph.</param>
/// <param name="Segments">The segments it draws, from the raft upwards; empty for a joint ball or other part that only covers a joint.</param>
/// <param name="JointOf">For a part that only covers a joint: the segments that meet in it.</param>
public sealed record StrutShell(Mesh Shape, IReadOnlyList<int> Segments, IReadOnlyList<int> JointOf);

/// <summary>All struts of a piece: segments, how they join, and the shells that draw them. Immutable.</summary>
/// <param name="Segments">The segments; the index is the id.</param>
/// <param name="Shells">The shells.</param>
public sealed record StrutGraph(IReadOnlyList<StrutSegment> Segments, IReadOnlyList<StrutShell> Shells)
{
    /// <summary>No struts.</summary>
    public static readonly StrutGraph None = new([], []);

    /// <summary>All shells as one mesh.</summary>
    public Mesh ToMesh(Lattice lattice) => Mesh.Concat(lattice, Shells.Select(s => s.Shape));

    /// <summary>The graph under a similarity (turn, shift, uniform scale): axes, radii and shells move together.</summary>
    public StrutGraph Placed(Affine map, Lattice lattice)
    {
        var s = Math.Cbrt(Math.Abs(map.Determinant));
        return new StrutGraph(
            [.. Segments.Select(g => g with
            {
                From = map.Apply(g.From),
                To = map.Apply(g.To),
                RadiusFrom = g.RadiusFrom * s,
                RadiusTo = g.RadiusTo * s,
                Contact = g.Contact is { } c ? map.Apply(c) : null,
                ContactNormal = g.ContactNormal is { } n ? map.Direction(n).Unit() : null,
            })],
            [.. Shells.Select(h => h with { Shape = h.Shape.Placed(map, lattice) })]);
    }
}
