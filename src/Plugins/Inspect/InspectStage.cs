using System.Globalization;
using Stiltwright.Geometry;
using Stiltwright.Printing.Placing;
using Stiltwright.Printing.Struts;
using Stiltwright.Printing.Struts.Fused;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Inspect;

/// <summary>Settings of <c>inspect</c>.</summary>
public sealed class InspectSettings
{
    /// <summary>Confidence from which a role is believed.</summary>
    [Setting("Confidence from which a shell's role is believed; below it the shell is enlarged only.", Least = 0.5, Most = 1)]
    public double Confidence { get; set; } = 0.97;
}

/// <summary>Finds out what each shell of the source is: figure, strut, raft or hollow.</summary>
public sealed class InspectStage : IStage
{
    /// <summary>A source smaller or larger than this is drawn in another unit, mm.</summary>
    private const double LeastSourceMm = 2, MostSourceMm = 2000;

    /// <inheritdoc/>
    public string Name => "inspect";

    /// <inheritdoc/>
    public string Version => "1.0";

    /// <inheritdoc/>
    public Type SettingsType => typeof(InspectSettings);

    /// <inheritdoc/>
    public Parts Changes => Parts.Roles;

    /// <inheritdoc/>
    public Parts Settles => Parts.Nothing;

    /// <inheritdoc/>
    public StageResult Run(Workpiece workpiece, object settings, IStageContext context, CancellationToken cancel)
    {
        var s = (InspectSettings)settings;
        var source = workpiece.Source;
        var size = source.Mesh.Bounds.Size;
        var largest = Math.Max(size.X, Math.Max(size.Y, size.Z));
        if (largest < LeastSourceMm || largest > MostSourceMm)
            return StageResult.Refuse(new Finding(FindingIds.UnitDoubt, Level.Stop,
                $"{source.FileName}: the model measures {size.X:0.####} x {size.Y:0.####} x {size.Z:0.####} taken as millimetres, which no source for this room can be; it was probably drawn in {(largest < LeastSourceMm ? "metres or inches" : "micrometres or at full size")}.",
                "Export it in millimetres and drop it again."));

        if (!HasSurface(source.Mesh))
            return StageResult.Refuse(new Finding(FindingIds.SourceUnreadable, Level.Stop,
                $"{source.FileName}: none of its {source.Mesh.TriangleCount:N0} triangles has an area: the corners of each lie on one line or in one point (triangle 1: {Corners(source.Mesh)} mm). There is no surface to enlarge.",
                "Export the model again; what was written was a line or a point cloud."));

        var limits = new RecognitionSettings { Accept = s.Confidence };
        var found = Recognition.Recognise(source.Mesh, source.Shells, limits, cancel);
        SourceFigure? separated = null;
        var notSeparated = "";
        if (found.MaybeMerged.Count > 0)
        {
            var separation = FusedSeparation.Try(source.Mesh, source.Shells, found, limits, cancel);
            notSeparated = separation.Why;
            if (separation.Source is { } apart)
            {
                separated = source with { Mesh = apart.Mesh, Shells = apart.Shells };
                found = apart.Recognised;
                ReportSeparated(source, apart, context);
                source = separated;
            }
        }
        var figure = Mesh.Concat(source.Mesh.Lattice, Enumerable.Range(0, source.Shells.Shells.Count)
            .Where(i => found.RoleOfShell[i] is Role.Figure or Role.Unsure && source.Shells.Shells[i].SignedVolumeMm3 > 0).Select(source.Shells.MeshOf));
        var pose = StandingPose.Find(figure.TriangleCount > 0 ? figure : source.Mesh, context.Slip.Up);
        var graph = found.Graph with { Segments = [.. found.Graph.Segments.Select(g => g with { SourceId = g.Id })] };
        ReportRoles(source, found, notSeparated, context);
        ReportSize(source, pose, context);
        return StageResult.Done(workpiece with
        {
            Inspection = new Inspection(found.RoleOfShell, found.ConfidenceOfShell, graph, found.Fused, pose.Up, pose.HeightMm) { BaseAreaMm2 = pose.BaseAreaMm2, Separated = separated },
        });
    }

    private static void ReportSeparated(SourceFigure source, SeparatedSource apart, IStageContext context)
    {
        var together = string.Create(CultureInfo.InvariantCulture, $"The parts together differ from the source by {apart.DifferenceMm3:0.###} mm3 of {apart.TakenMm3:0.#} mm3 of struts.");
        context.Report(apart.Contacts.Count == 0
            ? new Finding("struts-separated", Level.Note,
                $"{source.FileName}: struts were one surface with each other or with the raft, the figure apart from them. They were taken apart and drawn anew, each whole; every triangle of the figure is the source's own. {together}",
                "Nothing to do.")
            : new Finding("struts-separated", Level.Note,
                string.Create(CultureInfo.InvariantCulture, $"{source.FileName}: struts and figure were one surface. It was cut along {apart.Contacts.Count} contacts (the first at {apart.Contacts[0]} mm in the source) and closed there by {apart.ContactMm2:0.##} mm2 of skin under the struts; every other triangle of the figure is the source's own. {together}"),
                "Nothing to do; look at the contacts in the pictures."));
        context.Measure("contacts cut", apart.Contacts.Count, "contacts");
    }

    private static void ReportRoles(SourceFigure source, Recognised found, string notSeparated, IStageContext context)
    {
        var shells = source.Shells.Shells;
        var unsure = Enumerable.Range(0, shells.Count).Where(i => found.RoleOfShell[i] == Role.Unsure && shells[i].Closed).ToList();
        if (found.Fused)
            context.Report(new Finding(FindingIds.StrutsUnsure, Level.Check,
                $"Struts and figure seem to be one surface (several thin, like-sized columns rise from the platform into the body of one shell). They could not be taken apart: {notSeparated}. That surface is enlarged only: nothing on it is thinned or hollowed.",
                "Drop a source whose struts are shells of their own, or look at the enlarged struts and hollow the figure by hand."));
        else if (unsure.Count > 0)
        {
            var first = unsure.MaxBy(i => Math.Abs(shells[i].SignedVolumeMm3));
            context.Report(new Finding(FindingIds.StrutsUnsure, Level.Check,
                $"{unsure.Count} of {shells.Count} shells could not be told for figure or strut; they are enlarged only, neither thinned nor hollowed. The largest (shell {first + 1}, {shells[first].Triangles.Length} triangles): {found.WhyOfShell[first]}",
                "Look at them in the picture; if they are struts, they can be thinned by hand.")
            { AtMm = null });
        }
        if (found.NoStruts && !found.Fused)
            context.Report(new Finding(FindingIds.StrutsNone, Level.Check,
                "No strut was found in this source. The figure is enlarged, hollowed and drained all the same, but nothing holds it up while it prints.",
                "Put struts on it at the small scale and drop it again, or support the enlarged figure before printing."));
        else if (found.NoRaft && !found.NoStruts)
            context.Report(new Finding(FindingIds.RaftMissing, Level.Note,
                "The source has no raft: its struts stand on the platform on their own feet.",
                "Make sure that the feet grip the platform; a raft at the small scale is carried over."));
        context.Measure("struts recognised", found.Graph.Segments.Count, "segments");
    }

    private static bool HasSurface(Mesh mesh)
    {
        for (var t = 0; t < mesh.TriangleCount; t++)
            if (mesh.AreaVector(t).LengthSquared > 0) return true;
        return false;
    }

    private static string Corners(Mesh mesh)
    {
        if (mesh.TriangleCount == 0) return "none";
        var (a, b, c) = mesh.Triangle(0);
        return $"{a}, {b}, {c}";
    }

    private static void ReportSize(SourceFigure source, StandingPose pose, IStageContext context)
    {
        if (!pose.Sure)
            context.Report(new Finding(FindingIds.HeightDoubt, context.Target.HeightMm is null ? Level.Note : Level.Check,
                $"The figure has no flat base large enough to say how it stands; its height in print position, {pose.HeightMm:0.0} mm, was taken for its standing height.",
                "If it leans in the print, put a slip beside the source with the figure's \"up\" direction."));
        if (context.SourceMm is { } range && (pose.HeightMm < range.Least || pose.HeightMm > range.Most))
            context.Report(new Finding(pose.HeightMm > range.Most ? FindingIds.SourceLarge : FindingIds.UnitDoubt, Level.Check,
                $"The figure stands {pose.HeightMm:0.0} mm tall, where this folder expects {range.Least:0.#} to {range.Most:0.#} mm." +
                (pose.HeightMm > range.Most ? " It may have been enlarged already." : " It may have been drawn in another unit."),
                "Check that this is the small-scale source and the right folder."));
        context.Measure("standing height of the source", pose.HeightMm, "mm");
    }
}
