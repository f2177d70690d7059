using Stiltwright.Geometry;
using Stiltwright.Printing.Placing;
using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Rescale;

/// <summary>Settings of <c>rescale</c>.</summary>
public sealed class RescaleSettings
{
    /// <summary>Thickness that the raft keeps.</summary>
    [Setting("Thickness of the raft after enlarging: a thicker one is pressed flat to it, outline and bevel kept, and all above comes down with it.", "mm", Least = 0.3, Most = 20)]
    public double RaftMm { get; set; } = 1.5;

    /// <summary>Gap that is left under the figure.</summary>
    [Setting("Gap left under the figure: enlarging widens it, and figure and struts are lowered together to this height above the raft (or the platform), with new feet and a new raft. 0 leaves the gap as enlarged.", "mm", Least = 0, Most = 200)]
    public double FreeHeightMm { get; set; }

    /// <summary>What becomes of hollows that the source brings along.</summary>
    [Setting("Closed hollows that the source brings along: fill them (shell hollows afresh) or keep them.", OneOf = ["fill", "keep"])]
    public string OldCavities { get; set; } = "fill";

    /// <summary>Whether facets that show at the target size are smoothed.</summary>
    [Setting("Whether facets of a coarse source that show at the target size are smoothed: the figure is refined, its corners, sharp edges and flat faces stay; struts, raft and unsure parts are never refined.")]
    public bool SmoothFacets { get; set; }

    /// <summary>Most that smoothing moves any point.</summary>
    [Setting("Most that smoothing moves any point of the figure's surface; where the smooth shape lies farther off, the flats stay.", "mm", Least = 0.01, Most = 2)]
    public double SmoothMostMm { get; set; } = 0.3;

    /// <summary>Most triangles after smoothing.</summary>
    [Setting("Most triangles that the figure has after smoothing; the coarsest places come first.", Least = 10000, Most = 20000000)]
    public int SmoothMostTriangles { get; set; } = 4000000;
}

/// <summary>Enlarges figure, struts and raft, brings the raft to its own thickness, and centres all on the platform.</summary>
public sealed class RescaleStage : IStage
{
    /// <inheritdoc/>
    public string Name => "rescale";

    /// <inheritdoc/>
    public string Version => "1.1";

    /// <inheritdoc/>
    public Type SettingsType => typeof(RescaleSettings);

    /// <inheritdoc/>
    public Parts Changes => Parts.Placement | Parts.Pieces | Parts.Figure | Parts.Struts | Parts.Raft;

    /// <inheritdoc/>
    public Parts Settles => Parts.Roles;

    /// <inheritdoc/>
    public StageResult Run(Workpiece workpiece, object settings, IStageContext context, CancellationToken cancel)
    {
        var s = (RescaleSettings)settings;
        if (workpiece.Inspection is not { } inspection)
            return StageResult.Refuse(new Finding(FindingIds.StageFailed, Level.Stop, "\"rescale\" needs the roles that \"inspect\" finds.", "Put \"inspect\" before \"rescale\" in the recipe."));
        var source = workpiece.Drawn;
        var scale = ScaleOf(context.Target, inspection.StandingHeightMm);
        if (!(scale > 0) || double.IsInfinity(scale))
            return StageResult.Refuse(new Finding(FindingIds.HeightDoubt, Level.Stop, $"{source.FileName}: the standing height could not be measured, so no scale follows from the height asked for.", "Use a recipe with a percentage, or put a slip with the \"up\" direction beside the source."));

        var parts = SourceParts.Sort(source, inspection);
        var lowering = Lowering.Of(parts, scale, s.RaftMm);
        var low = parts.All.Min.Z;
        var centre = parts.All.Center;
        var map = Affine.Translation(new Vec3(-centre.X, -centre.Y, -low)).Then(Affine.Scaling(scale)).Then(Affine.Translation(new Vec3(0, 0, -lowering.ByMm)));
        var size = parts.All.Size * scale;
        var lattice = Lattice.For(Math.Max(Math.Max(size.X, size.Y) / 2, size.Z) + 1 + (s.SmoothFacets ? s.SmoothMostMm : 0) + (s.FreeHeightMm > 0 ? NearerRaft.RoomMm : 0));

        Mesh Place(IEnumerable<int> shells) => Mesh.Concat(lattice, shells.Select(i => NullEdges.Collapse(source.Shells.MeshOf(i).Placed(map, lattice))));
        var outer = Place(parts.Figure);
        var keep = s.OldCavities == "keep" || !context.RunsLater("shell");
        var hollows = keep ? Place(parts.Hollows) : Mesh.Empty(lattice);
        var struts = inspection.Struts.Placed(map, lattice);
        var raft = lowering.RaftOf(source, parts, map, scale, lattice);
        if (lowering.ByMm > 0) struts = StrutShapes.CutBelow(struts, 0);
        var untouched = Place(parts.Untouched);
        if (s.FreeHeightMm > 0 && NearerRaft.Lower(outer, untouched, struts, raft, s.FreeHeightMm, context, cancel) is { } nearer)
        {
            map = map.Then(Affine.Translation(new Vec3(0, 0, -nearer.LoweredMm)));
            (outer, hollows, untouched) = (Place(parts.Figure), keep ? Place(parts.Hollows) : hollows, Place(parts.Untouched));
            (struts, raft) = (nearer.Struts, nearer.Raft);
        }

        if (s.SmoothFacets) outer = Smoothing.Run(outer, Mesh.Concat(lattice, [struts.ToMesh(lattice), raft, untouched, hollows]), struts, s, context, cancel);

        ReportSurface(source, parts, context);
        if (parts.Hollows.Count > 0 && !keep) context.Measure("old hollows filled", parts.Hollows.Count, "shells");
        context.Measure("scale", scale, "");
        if (lowering.Why is { } why) context.Report(why);
        var piece = new Piece
        {
            Letter = "",
            Outer = outer,
            Figure = hollows.TriangleCount == 0 ? outer : Mesh.Concat(lattice, [outer, hollows]),
            Untouched = untouched,
            OldHollows = hollows,
            Struts = struts,
            StrutsAsEnlarged = struts,
            Raft = raft,
            KeepSolid = [.. context.Slip.KeepSolid.Select(b => BoxAsPlace(b, map, scale))],
        };
        return StageResult.Done(workpiece with { Placement = new Placement(map, scale, lattice), Pieces = [piece] });
    }

    private static double ScaleOf(TargetSize t, double standingMm) =>
        t.Percent is { } percent ? percent / 100 : t.HeightMm is { } height ? height / standingMm : t.To!.Value / t.From!.Value;

    /// <summary>A capsule around a box: it keeps at least the box solid.</summary>
    private static SolidPlace BoxAsPlace(Box3 box, Affine map, double scale)
    {
        var size = box.Size;
        var axis = size.X >= size.Y && size.X >= size.Z ? 0 : size.Y >= size.Z ? 1 : 2;
        var half = size * 0.5;
        var along = axis == 0 ? new Vec3(half.X, 0, 0) : axis == 1 ? new Vec3(0, half.Y, 0) : new Vec3(0, 0, half.Z);
        return new SolidPlace(map.Apply(box.Center - along), map.Apply(box.Center + along), (half - along).Length * scale, "kept solid by the slip");
    }

    private static void ReportSurface(SourceFigure source, SourceParts parts, IStageContext context)
    {
        var open = parts.Untouched.Where(i => !source.Shells.Shells[i].Closed).ToList();
        if (open.Count > 0)
        {
            var edges = open.Sum(i => source.Shells.Shells[i].OpenEdges + source.Shells.Shells[i].ClashingEdges);
            var worst = open.MaxBy(i => source.Shells.Shells[i].Triangles.Length);
            var at = source.Shells.Shells[worst].Bounds.Center;
            context.Report(new Finding(FindingIds.SurfaceOpen, parts.Figure.Count == 0 ? Level.Stop : Level.Check,
                $"{open.Count} of {source.Shells.Shells.Count} shells are open ({edges} open or clashing edges; the largest has its middle at {at} mm in the source). They are enlarged only: a surface with holes has no inside that could be hollowed.",
                "Close the surface in the sculpting program and drop the file again."));
        }
    }
}
