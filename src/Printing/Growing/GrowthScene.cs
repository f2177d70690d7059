using Stiltwright.Geometry;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Growing;

/// <summary>What a new strut must keep clear of, and what it may stand on. mm, platform at z = 0.</summary>
public sealed class GrowthScene
{
    /// <summary>Room left between a new strut and the figure, except at the upper half of its own tip, mm.</summary>
    public const double ClearanceMm = 0.5;

    /// <summary>Room left between a new strut and the tips of others, mm.</summary>
    public const double FromTipsMm = 0.3;

    private const int RimPoints = 8;

    private readonly ClearanceField _field;
    private readonly TriangleTree? _raft;
    private readonly RaftRim? _rim;

    /// <summary>A scene.</summary>
    /// <param name="figure">Tree of the figure as it prints, pegs, cavities and open shells with it.</param>
    /// <param name="raft">The raft, or an empty mesh.</param>
    /// <param name="room">Where feet and pillars may stand, seen from above (heights are not looked at).</param>
    public GrowthScene(TriangleTree figure, Mesh raft, Box3 room)
    {
        ArgumentNullException.ThrowIfNull(figure);
        ArgumentNullException.ThrowIfNull(raft);
        (Figure, Room, _field) = (figure, room, new ClearanceField(figure));
        if (raft.TriangleCount == 0) return;
        _raft = TriangleTree.Build(raft);
        _rim = new RaftRim(raft);
        RaftTopMm = raft.Bounds.Max.Z;
    }

    /// <summary>The figure.</summary>
    public TriangleTree Figure { get; }

    /// <summary>Where struts may stand and pass.</summary>
    public Box3 Room { get; }

    /// <summary>Balls that struts keep out of as well: mouths of drain holes.</summary>
    public IReadOnlyList<(Vec3 At, double RadiusMm)> KeepOut { get; init; } = [];

    /// <summary>Upper side of the raft, 0 without one.</summary>
    public double RaftTopMm { get; }

    /// <summary>True if a disc around a place lies in the room, seen from above.</summary>
    public bool InRoom(Vec3 p, double radius) => p.X - radius >= Room.Min.X && p.X + radius <= Room.Max.X && p.Y - radius >= Room.Min.Y && p.Y + radius <= Room.Max.Y;

    /// <summary>True if a segment keeps a radius and the clearance from the figure and stays in the room.</summary>
    public bool Clear(Vec3 a, Vec3 b, double radius)
    {
        foreach (var p in (ReadOnlySpan<Vec3>)[a, b])
            if (!InRoom(p, radius)) return false;
        var reach = radius + ClearanceMm;
        foreach (var (at, keep) in KeepOut)
            if (Segments.Distance(a, b, at, at) < reach + keep) return false;
        return !_field.AnyWithin(a, b, reach);
    }

    /// <summary>
    /// What a foot of a radius stands on at a place: the raft where all of it lies on the raft's flat upper side (sunk a little
    /// into it), else the platform.
    /// </summary>
    public (double Z, EndHeldBy By) Ground(double x, double y, double radius)
    {
        if (_raft is null) return (0, EndHeldBy.Platform);
        var middle = OnTop(x, y);
        if (!middle.Found) return (0, EndHeldBy.Platform);
        if (!_rim!.Holds(middle.Triangle, x, y, radius))
            for (var k = 0; k < RimPoints; k++)
            {
                var (s, c) = Math.SinCos(2 * Math.PI * k / RimPoints);
                if (!OnTop(x + radius * c, y + radius * s).Found) return (0, EndHeldBy.Platform);
            }
        return (RaftTopMm - Math.Min(0.6, RaftTopMm / 2), EndHeldBy.Raft);
    }

    private Nearest OnTop(double x, double y) => _raft!.Closest(new Vec3(x, y, RaftTopMm), 0.05);
}
