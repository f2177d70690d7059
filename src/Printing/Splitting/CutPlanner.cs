using Stiltwright.Geometry;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Splitting;

/// <summary>A plane to cut at: square to an axis of the set, at an offset in mm.</summary>
/// <param name="Axis">0 = x, 1 = y, 2 = z.</param>
/// <param name="OffsetMm">Position along the axis.</param>
/// <param name="SectionMm2">Area of the figure's section there, mm2.</param>
/// <param name="StrutsCut">Strut segments that it crosses.</param>
public sealed record CutPlane(int Axis, double OffsetMm, double SectionMm2, int StrutsCut)
{
    /// <summary>Unit normal.</summary>
    public Vec3 Normal => Axis == 0 ? new(1, 0, 0) : Axis == 1 ? new(0, 1, 0) : new(0, 0, 1);
}

/// <summary>
/// Chooses where to cut a piece that outgrows its printer: level where it is too tall, else across where it is most too large, inside the window that
/// still needs the fewest pieces, where the section is small (a short seam) but not so small that no peg holds, and few
/// struts are crossed.
/// </summary>
public static class CutPlanner
{
    private const int Offsets = 31;

    /// <summary>Sections below this hold no peg and break, mm2.</summary>
    public const double LeastSectionMm2 = 30;

    /// <summary>The cut, or null where the piece already fits room x, y, z (mm).</summary>
    public static CutPlane? Next(Mesh figure, StrutGraph struts, Box3 all, Vec3 room, CancellationToken cancel)
    {
        var size = all.Size;
        size = new Vec3(size.X, size.Y, all.Max.Z); // height counts from the platform
        var axis = -1;
        double worst = 1;
        for (var a = 0; a < 2; a++)
            if (size[a] / room[a] > worst + 1e-9) (axis, worst) = (a, size[a] / room[a]);
        // Too tall: level cuts come first, since what stands above them is mostly narrower and needs no further cut.
        if (size.Z / room.Z > 1 + 1e-9) axis = 2;
        if (axis < 0) return null;

        var low = axis == 2 ? 0 : all.Min[axis];
        double length = size[axis], capacity = room[axis];
        var pieces = (int)Math.Ceiling(length / capacity - 1e-9);
        double first = Math.Max(length - (pieces - 1) * capacity, 0.15 * capacity), last = Math.Min(capacity, length - 0.05 * capacity);
        if (last < first) last = first;

        var planes = new CutPlane[Offsets];
        var normal = new CutPlane(axis, 0, 0, 0).Normal;
        Parallel.For(0, Offsets, new ParallelOptions { CancellationToken = cancel, MaxDegreeOfParallelism = Environment.ProcessorCount }, i =>
        {
            var at = low + first + (last - first) * i / (Offsets - 1);
            var area = SectionArea.Of(figure, normal, at).AreaMm2;
            planes[i] = new CutPlane(axis, at, area, struts.Segments.Count(s => s.From[axis] < at != s.To[axis] < at));
        });
        var largest = Math.Max(1, planes.Max(p => p.SectionMm2));
        var most = Math.Max(1, planes.Max(p => p.StrutsCut));
        double middle = low + length / pieces, span = Math.Max(1, last - first);
        return planes.MinBy(p =>
            (p.SectionMm2 < LeastSectionMm2 && largest > LeastSectionMm2 ? 1.0 : 0)
            + p.SectionMm2 / largest + 0.5 * p.StrutsCut / most + 0.3 * Math.Abs(p.OffsetMm - middle) / span);
    }
}
