using Stiltwright.Geometry;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Splitting;

/// <summary>A plane to cut at: square to an axis of the set, at an offset in mm.</summary>
/// <param name="Axis">0 = x, 1 = y, 2 = z.</param>
/// <param name="OffsetMm">Position along the axis.</param>
/// <param name="SectionMm2">Area of the figure's section there, mm2.</param>
/// <param name="StrutsCut">Struts whose foot and contact lie on different sides of it.</param>
/// <param name="Slivers">Thin slices that it would leave.</param>
/// <param name="Seams">Seams that it makes, each to be joined.</param>
public sealed record CutPlane(int Axis, double OffsetMm, double SectionMm2, int StrutsCut, int Slivers, int Seams)
{
    /// <summary>Unit normal.</summary>
    public Vec3 Normal => Axis == 0 ? new(1, 0, 0) : Axis == 1 ? new(0, 1, 0) : new(0, 0, 1);
}

/// <summary>
/// Chooses where to cut a figure that outgrows its printer: level where it is too tall, else across where it is most too large, inside
/// the window that still needs the fewest pieces, where the section is small (a short seam) but not so small that no peg
/// holds, leaves no thin slices, has few seams, and takes few struts from their feet.
/// </summary>
public static class CutPlanner
{
    private const int Offsets = 61;

    /// <summary>Sections below this hold no peg and break, mm2.</summary>
    public const double LeastSectionMm2 = 30;

    /// <summary>A part that reaches less than this from the cut is a sliver: it breaks, warps or gets lost, mm.</summary>
    public const double SliverMm = 6;

    /// <summary>Share of the printer's room that a piece has at least, where the figure allows it.</summary>
    private const double LeastShare = 0.15;

    /// <summary>The cut, or null where the figure already fits.</summary>
    /// <param name="figure">The figure's part that is to be cut.</param>
    /// <param name="struts">Struts of the whole.</param>
    /// <param name="baseZ">Height at which the platform would be for this part, mm.</param>
    /// <param name="room">Room of a piece, mm.</param>
    /// <param name="cancel">Stops the work.</param>
    public static CutPlane? Next(Mesh figure, StrutGraph struts, double baseZ, Vec3 room, CancellationToken cancel)
    {
        ArgumentNullException.ThrowIfNull(figure);
        ArgumentNullException.ThrowIfNull(struts);
        var box = figure.Bounds;
        var size = new Vec3(box.Size.X, box.Size.Y, box.Max.Z - baseZ);
        var axis = -1;
        double worst = 1;
        for (var a = 0; a < 2; a++)
            if (size[a] / room[a] > worst + 1e-9) (axis, worst) = (a, size[a] / room[a]);
        // Too tall: level cuts come first, since what stands above them is mostly narrower and needs no further cut.
        if (size.Z / room.Z > 1 + 1e-9) axis = 2;
        if (axis < 0) return null;

        var low = axis == 2 ? baseZ : box.Min[axis];
        double length = size[axis], capacity = room[axis];
        var pieces = (int)Math.Ceiling(length / capacity - 1e-9);
        double first = Math.Max(length - (pieces - 1) * capacity, LeastShare * capacity), last = Math.Min(capacity, length - LeastShare * capacity);
        if (axis == 2) first = Math.Max(first, box.Min.Z - baseZ + SliverMm);
        if (last < first) last = first;

        var planes = new CutPlane[Offsets];
        var normal = new CutPlane(axis, 0, 0, 0, 0, 0).Normal;
        var ways = struts.Segments.GroupBy(s => s.Chain).Select(g => (Foot: g.MinBy(s => s.From.Z)!.From, Contact: g.Select(StrutShare.Upper).FirstOrDefault(c => c is not null)))
            .Where(w => w.Contact is not null).Select(w => (From: w.Foot[axis], To: w.Contact!.Value[axis])).ToArray();
        Parallel.For(0, Offsets, new ParallelOptions { CancellationToken = cancel, MaxDegreeOfParallelism = Environment.ProcessorCount }, i =>
        {
            var at = low + first + (last - first) * i / (Offsets - 1);
            var area = SectionArea.Of(figure, normal, at).AreaMm2;
            var (slivers, seams) = CutParts.Count(figure, axis, at, SliverMm);
            planes[i] = new CutPlane(axis, at, area, ways.Count(w => w.From < at != w.To < at), slivers, seams);
        });
        var largest = Math.Max(1, planes.Max(p => p.SectionMm2));
        var most = Math.Max(1, planes.Max(p => p.StrutsCut));
        double middle = low + length / pieces, span = Math.Max(1, last - first);
        return planes.MinBy(p =>
            (p.SectionMm2 < LeastSectionMm2 && largest > LeastSectionMm2 ? 2.0 : 0)
            + p.SectionMm2 / largest + 0.3 * Math.Min(p.Slivers, 4) + 0.15 * Math.Clamp(p.Seams - 1, 0, 4)
            + (axis == 2 ? 0 : 0.3 * p.StrutsCut / most) + 0.3 * Math.Abs(p.OffsetMm - middle) / span);
    }
}
