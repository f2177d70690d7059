using Stiltwright.Geometry;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Rescale;

/// <summary>How far everything is lowered so that the raft has its own thickness, and what there is to say about it.</summary>
/// <param name="ByMm">Lowering after enlarging, mm.</param>
/// <param name="Why">A finding where the raft could not get its thickness, or null.</param>
internal sealed record Lowering(double ByMm, Finding? Why)
{
    /// <summary>
    /// The enlarged raft's height less the wanted thickness, but never so far that figure or unsure parts are cut: then the
    /// raft stays thicker and the summary says so.
    /// </summary>
    public static Lowering Of(SourceParts parts, double scale, double raftMm)
    {
        if (parts.Raft.Count == 0) return new Lowering(0, null);
        var low = parts.All.Min.Z;
        var raft = parts.BoxOf(parts.Raft);
        var height = (raft.Max.Z - low) * scale;
        var wanted = Math.Max(0, height - raftMm);
        var others = parts.BoxOf(parts.Figure.Concat(parts.Untouched));
        var free = others.IsEmpty ? wanted : Math.Max(0, (others.Min.Z - low) * scale);
        if (wanted <= free) return new Lowering(wanted, null);
        return new Lowering(free, new Finding(FindingIds.PlatformGrip, Level.Note,
            $"The raft stays {height - free:0.00} mm thick instead of {raftMm:0.00} mm: lowering it further would cut into the figure, which begins {free:0.00} mm above the platform.",
            "Lift the figure higher above its raft in the source to save this resin."));
    }

    /// <summary>
    /// The raft at its own thickness. It is pressed flat rather than cut off below, so that outline and bevel of its lower edge,
    /// which a scraper needs, are those of the source.
    /// </summary>
    public Mesh RaftOf(SourceFigure source, SourceParts parts, Affine map, double scale, Lattice lattice)
    {
        if (parts.Raft.Count == 0) return Mesh.Empty(lattice);
        var height = (parts.BoxOf(parts.Raft).Max.Z - parts.All.Min.Z) * scale;
        var flat = (height - ByMm) / height;
        // The platform is where the shift puts z = 0; heights above the source's lowest point shrink towards it.
        var pressed = new Affine(map.M11, map.M12, map.M13, map.M21, map.M22, map.M23, map.M31 * flat, map.M32 * flat, map.M33 * flat,
            map.Shift with { Z = (map.Shift.Z + ByMm) * flat });
        return Mesh.Concat(lattice, parts.Raft.Select(i => NullEdges.Collapse(source.Shells.MeshOf(i).Placed(pressed, lattice))));
    }
}
