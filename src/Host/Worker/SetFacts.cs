using Stiltwright.Geometry;
using Stiltwright.Host.Summaries;
using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Worker;

/// <summary>Everything that the summary states of a finished job, drawn from the workpiece and the audit.</summary>
internal static class SetFacts
{
    public static Summary Of(WorkOrder order, StagesResult stages, AuditResult audit, JobNotes notes, string stem)
    {
        var w = stages.Workpiece;
        var split = w.Pieces.Count > 1;
        var findings = Sorted(notes.Findings);
        return new Summary
        {
            Number = order.Number,
            Source = Source(w.Source),
            Folder = order.Folder,
            Recipe = order.RecipeName,
            Scale = w.Placement?.Scale,
            Height = Height(w, audit),
            Outcome = Summary.OutcomeOf(findings),
            Printer = w.Pieces[0].Printer.Length > 0 ? w.Pieces[0].Printer : order.Printers[0].Name,
            Resin = order.Resin.Name,
            Placement = w.Placement?.Map,
            Pieces = [.. w.Pieces.Select((p, i) => new PieceFacts(
                SetNames.OfPiece(stem, p.Letter) + ".stl", split ? p.Letter : "all", audit.Pieces[i].SizeMm, audit.Pieces[i].Triangles, audit.Pieces[i].Shells,
                audit.Pieces[i].Closed, audit.Pieces[i].VolumeMm3, audit.Pieces[i].MassG, p.Fits, split ? w.Placement!.Map.Then(p.FromSet) : null))],
            Roles = w.Inspection is { } ins ? Roles(ins) : null,
            Struts = Struts(w),
            Cavities = [.. w.Pieces.SelectMany(p => p.Cavities.Select(c => new CavityFacts(
                c.Surface.SignedVolumeMm3(), new WallFacts(c.WallAskedMm, c.WallMinMm, c.WallMeanMm, c.WallP99Mm),
                [.. c.Holes.Select(h => new HoleFacts(h.CentreMm, h.Axis, h.DiameterMm, h.Purpose))], split ? p.Letter : null, c.Drains, c.TrappedMm3)))],
            Layers = audit.Layers,
            Ways = w.Estimate is { } e ? [.. e.Ways.Select(x => new WayFacts(x.Name, x.VolumeMm3, x.MassG, x.SavedShare))] : [],
            Estimate = w.Estimate is { } s ? new EstimateFacts(s.MassG, s.ResinMl, s.PrintS, new CostFacts(s.Cost, s.Currency), s.Runs.Count) : null,
            Runs = w.Estimate is { } r ? [.. r.Runs.Select(x => new RunFacts(x.Printer, x.Pieces, x.Layers, x.PrintS, x.ResinMl, [.. x.Refills.Select(f => new RefillFacts(f.Layer, f.AfterS, f.Ml))]))] : [],
            Finish = [.. w.Pieces.Select((p, i) => audit.Pieces[i].Finish)],
            Extras = [.. notes.Extras.Select(x => new ExtraFacts("extras/" + x.FileName, x.What))],
            Findings = findings,
            Stages = Stages(stages),
        };
    }

    /// <summary>A refused job: what is known, and why.</summary>
    public static Summary Refused(WorkOrder order, string sha256, SourceFigure? source, IReadOnlyList<StageRun> runs, JobNotes notes) => new()
    {
        Number = order.Number,
        Source = source is null ? new SourceFacts(order.SourceName, sha256) : Source(source),
        Folder = order.Folder,
        Recipe = order.RecipeName,
        Outcome = Outcome.Stop,
        Printer = order.Printers[0].Name,
        Resin = order.Resin.Name,
        Findings = Sorted(notes.Findings),
        Stages = [.. runs.Select(s => new StageFacts(s.Stage, s.Version, s.Seconds, s.PeakMiB))],
    };

    /// <summary>Raft before (plain enlargement) and after; null where there is none.</summary>
    public static RaftEntry? Raft(Workpiece w)
    {
        var raft = w.Pieces.Where(p => p.Raft.TriangleCount > 0).Select(p => p.Raft.Bounds.Max.Z).DefaultIfEmpty(0).Max();
        if (raft <= 0 || w.Inspection is not { } i || w.Placement is not { } place) return null;
        var box = Box3.Empty;
        for (var s = 0; s < i.RoleOfShell.Count; s++)
            if (i.RoleOfShell[s] == Role.Raft) box = box.With(w.Drawn.Shells.Shells[s].Bounds);
        return box.IsEmpty ? null : new RaftEntry((box.Max.Z - w.Drawn.Mesh.Bounds.Min.Z) * place.Scale, raft);
    }

    private static SourceFacts Source(SourceFigure s) => new(s.FileName, s.Sha256, s.TrianglesInFile, s.Mesh.Bounds.Size);

    private static StageFacts[] Stages(StagesResult stages) => [.. stages.Runs.Select(s => new StageFacts(s.Stage, s.Version, s.Seconds, s.PeakMiB))];

    private static FindingFacts[] Sorted(IReadOnlyList<Finding> findings) => [.. findings.OrderByDescending(f => f.Level).Select(FindingFacts.From)];

    private static HeightFacts? Height(Workpiece w, AuditResult audit) => w.Inspection is { } i && w.Placement is { } p
        ? new HeightFacts(i.StandingHeightMm * p.Scale, audit.Pieces.Max(x => x.SizeMm.Z), p.Map.Direction(i.Up).Unit())
        : null;

    private static RoleFacts Roles(Inspection i)
    {
        int Count(params Role[] roles) => i.RoleOfShell.Count(roles.Contains);
        return new RoleFacts(Count(Role.Figure), Count(Role.Foot, Role.Pillar, Role.Brace, Role.Tip), Count(Role.Raft), Count(Role.InnerShell), Count(Role.Unsure),
            i.ConfidenceOfShell.Count == 0 ? 0 : i.ConfidenceOfShell.Min());
    }

    private static StrutFacts? Struts(Workpiece w)
    {
        var recognised = w.Inspection?.Struts.Segments.Count ?? 0;
        if (recognised == 0) return null;
        var decisions = w.Pieces.SelectMany(p => p.Decisions).ToList();
        var worst = decisions.Count > 0 ? decisions.MaxBy(d => d.Use) : null;
        // What was grown here is added, however thin it became; the others are the source's own.
        var added = w.Pieces.Sum(p => p.Struts.Segments.Count(s => s.Added));
        var own = w.Pieces.Sum(p => p.Struts.Segments.Count) - added;
        bool Thicker(Piece p, int i) => i < p.StrutsAsEnlarged.Segments.Count && !p.Struts.Segments[i].Added && StrutsFile.Thicker(p.StrutsAsEnlarged.Segments[i], p.Struts.Segments[i]);
        var thicker = w.Pieces.Sum(p => Enumerable.Range(0, p.Struts.Segments.Count).Count(i => Thicker(p, i)));
        var thinned = w.Pieces.Sum(p => p.Decisions.Count(d => d.Decision == "thinned" && !p.Struts.Segments[d.Segment].Added && !Thicker(p, d.Segment)));
        return new StrutFacts(
            recognised, thinned, Math.Max(0, own - thinned - thicker), added, Math.Max(0, recognised - own),
            Spreads(w, s => s.Role != Role.Tip, s => s.EqualAreaDiameter((s.RadiusFrom + s.RadiusTo) / 2)),
            Spreads(w, s => s.Role == Role.Tip, s => s.EqualAreaDiameter(s.RadiusTo)), worst?.Use, worst is { AtLayer: > 0 } ? worst.AtLayer : null)
        { Thicker = thicker };
    }

    private static BeforeAfter? Spreads(Workpiece w, Func<StrutSegment, bool> which, Func<StrutSegment, double> diameter)
    {
        var before = Spread.Of(w.Pieces.SelectMany(p => p.StrutsAsEnlarged.Segments).Where(which).Select(diameter));
        var after = Spread.Of(w.Pieces.SelectMany(p => p.Struts.Segments).Where(which).Select(diameter));
        return before is null || after is null ? null : new BeforeAfter(before, after);
    }
}
