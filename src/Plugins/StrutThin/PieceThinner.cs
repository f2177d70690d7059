using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.StrutThin;

/// <summary>Sizes and rebuilds the struts of one piece, and says which are over a rule.</summary>
internal sealed class PieceThinner(Workpiece workpiece, Piece piece, StrutThinSettings settings, IStageContext context, CancellationToken cancel)
{
    /// <summary>A thinner contact than this may be snapped off, a thicker one is cut, mm (common practice).</summary>
    private const double SnapMm = 0.6;

    /// <summary>A part that hangs free for no more layers than this, or is pulled with less than <see cref="LittleN"/>, is the lower end of something held.</summary>
    private const int FewLayers = 6;

    /// <summary>Pull that hardly moves anything, N.</summary>
    private const double LittleN = 0.2;

    /// <summary>Rounds of keeping segments as enlarged whose joints would open.</summary>
    private const int MostRepairs = 3;

    /// <summary>Share of a radius from which on a segment is as thick as plain enlarging makes it.</summary>
    private const double AsThick = 0.999;

    /// <summary>A torn spot is looked for this far outside the struts, mm.</summary>
    private const double TornSlackMm = 0.5;

    private string? Letter => workpiece.Pieces.Count > 1 ? piece.Letter : null;

    private string Whose => Letter is null ? "" : $"Piece {Letter}: ";

    public Piece Thin(LoadScene? source)
    {
        var request = new SizingRequest
        {
            Enlarged = LoadScenes.Of(piece, piece.Struts, context, cancel),
            Source = source,
            Rule = settings.Rule switch { "relative" => SizingRule.Relative, "absolute" => SizingRule.Absolute, _ => SizingRule.Both },
            Safety = settings.Safety,
            SmallestPillarMm = settings.SmallestPillarMm,
            SmallestTipMm = settings.SmallestTipMm,
            Unsure = piece.Struts.Segments.Where(s => s.Role == Role.Unsure).Select(s => s.Id).ToHashSet(),
        };
        var sized = StrutSizing.Size(request, cancel);
        var wanted = sized.Segments.Select(s => new SegmentSize(s.Segment, s.RadiusFrom, s.RadiusTo)).ToArray();
        var rebuilt = StrutShapes.Resize(piece.Struts, wanted, piece.Outer.Lattice);
        var open = new HashSet<int>();
        for (var round = 0; round < MostRepairs && !ReferenceEquals(rebuilt.Graph, piece.Struts); round++)
        {
            var torn = Torn(rebuilt.Graph);
            torn.ExceptWith(open);
            if (torn.Count == 0) break;
            open.UnionWith(torn);
            foreach (var i in open) wanted[i] = new SegmentSize(i, piece.Struts.Segments[i].RadiusFrom, piece.Struts.Segments[i].RadiusTo);
            rebuilt = StrutShapes.Resize(piece.Struts, wanted, piece.Outer.Lattice);
        }
        var weak = new HashSet<int>();
        if (!ReferenceEquals(rebuilt.Graph, piece.Struts)) (rebuilt, sized) = Hold(request, StrutSizing.AsBuilt(request, sized, rebuilt.Graph, cancel), rebuilt, wanted, open, weak);
        if (open.Count > 0) context.Measure($"{Whose}segments kept as enlarged so that no joint or contact opens", open.Count, "segments");
        var left = rebuilt.Left.SelectMany(l => l.Segments.Select(s => (s, l.Why))).Concat(open.Select(s => (s, "thinner, a joint or contact would open")))
            .Concat(weak.Select(s => (s, "thinner, it would be over a rule in the struts as they are built"))).ToLookup(x => x.Item1, x => x.Item2);
        var decisions = sized.Segments.Select(s =>
        {
            var now = rebuilt.Graph.Segments[s.Segment];
            return left.Contains(s.Segment)
                ? new StrutDecision(s.Segment, "kept", s.Use, left[s.Segment].First(), s.AtLayer, now.RadiusFrom, now.RadiusTo)
                : new StrutDecision(s.Segment, s.Decision, s.Use, s.BoundBy, s.AtLayer, now.RadiusFrom, now.RadiusTo);
        }).ToList();
        Report(sized, rebuilt, StrutSizing.Overloaded(request, sized.AsSized, sized.OfSource));
        return piece with { Struts = rebuilt.Graph, Decisions = decisions, Judging = Judging(sized) };
    }

    // Struts as they were built share loads a little otherwise than as they were sized: a thinned segment that is over a rule in
    // them goes back to plain enlarging, where that brings the overloads down.
    private (ResizeResult Rebuilt, SizingResult Sized) Hold(SizingRequest request, SizingResult sized, ResizeResult rebuilt, SegmentSize[] wanted, HashSet<int> open, HashSet<int> weak)
    {
        var over = StrutSizing.Overloaded(request, sized.AsSized, sized.OfSource);
        for (var round = 0; round < MostRepairs; round++)
        {
            bool Thinned(int i) => rebuilt.Graph.Segments[i] is var now && piece.Struts.Segments[i] is var was && (now.RadiusFrom < was.RadiusFrom * AsThick || now.RadiusTo < was.RadiusTo * AsThick);
            var back = over.Where(o => sized.Segments[o.Segment].Overloaded && Thinned(o.Segment)).Select(o => o.Segment).ToList();
            if (back.Count == 0) break;
            SegmentSize[] sizes = [.. wanted];
            foreach (var i in back) sizes[i] = new SegmentSize(i, piece.Struts.Segments[i].RadiusFrom, piece.Struts.Segments[i].RadiusTo);
            var built = StrutShapes.Resize(piece.Struts, sizes, piece.Outer.Lattice);
            if (ReferenceEquals(built.Graph, piece.Struts) || Torn(built.Graph).Except(open).Any()) break;
            var judged = StrutSizing.AsBuilt(request, sized, built.Graph, cancel);
            var left = StrutSizing.Overloaded(request, judged.AsSized, judged.OfSource);
            if (left.Sum(o => o.Over - 1) >= over.Sum(o => o.Over - 1)) break;
            (rebuilt, sized, over) = (built, judged, left);
            sizes.CopyTo(wanted, 0);
            weak.UnionWith(back);
        }
        return (rebuilt, sized);
    }

    // Segments at spots that begin in mid-air now and did not as enlarged.
    private HashSet<int> Torn(StrutGraph now)
    {
        var after = Scan(now);
        if (StrutIslands.Of(after).Count == 0) return [];
        _asEnlarged ??= Scan(piece.Struts);
        return [.. StrutIslands.Added(_asEnlarged, after).SelectMany(at => StrutIslands.SegmentsAt(piece.Struts, at, TornSlackMm))];
    }

    private LayerScan? _asEnlarged;

    // Open shells have no inside and are left out, before and after alike.
    private LayerScan Scan(StrutGraph struts)
    {
        var lattice = piece.Outer.Lattice;
        List<Mesh> parts = [piece.Figure, piece.Raft, struts.ToMesh(lattice)];
        if (Closedness.IsClosed(piece.Untouched)) parts.Add(piece.Untouched);
        return LayerScan.Of(Mesh.Concat(lattice, parts), context.Resin.LayerMm, StrutIslands.PixelMm, cancel);
    }

    private void Report(SizingResult sized, ResizeResult rebuilt, IReadOnlyList<OverloadedStrut> overloaded)
    {
        if (sized.KeptPiece.Length > 0)
            context.Report(new Finding("struts-kept", Level.Note, $"{Whose}No strut was thinned: {sized.KeptPiece}.", "Nothing to do; the struts are as they were before this stage.") { Piece = Letter });
        if (rebuilt.Left.Count > 0)
            context.Report(new Finding("struts-kept", Level.Note,
                $"{Whose}{rebuilt.Left.Count} strut shell{(rebuilt.Left.Count == 1 ? "" : "s")} could not be made thinner without a fault and stay{(rebuilt.Left.Count == 1 ? "s" : "")} as enlarged; the first: {rebuilt.Left[0].Why}.",
                "Nothing to do; struts.json names them.")
            { Piece = Letter });
        var over = overloaded.Where(o => sized.Segments[o.Segment].Overloaded).ToList(); // hardest first
        var proven = sized.Segments.Count(s => s.Overloaded) - over.Count;
        if (proven > 0)
            context.Report(new Finding("struts-as-in-source", Level.Note,
                $"{Whose}{proven} strut segment{(proven == 1 ? " is" : "s are")} over a rule of safety but used no harder than the same strut{(proven == 1 ? "" : "s")} in the source, which is taken to have printed well.",
                "If the source never printed, treat them as overloaded: struts.json names them.")
            { Piece = Letter });
        if (over.Count > 0)
        {
            var worst = over[0];
            var at = piece.Struts.Segments[worst.Segment].To;
            // A use far below what a strut can bear may still be over the relative rule: say what it is measured by.
            var than = sized.RelativeUsed ? "the rules allow (the source's own struts are the measure as well as the resin's strength)" : "the rule of safety allows";
            context.Report(new Finding(FindingIds.StrutOverloaded, over.Any(o => sized.Segments[o.Segment].Stop) ? Level.Stop : Level.Check,
                $"{Whose}{over.Count} strut segment{(over.Count == 1 ? " is" : "s are")} over a rule of safety even at the largest size that is made; the hardest, segment {worst.Segment} ({piece.Struts.Segments[worst.Segment].Role.ToString().ToLowerInvariant()}), carries {worst.Use:P0} of what it can bear ({StrutSizing.InWords(worst.Check)}) at layer {worst.AtLayer}, {worst.Over:0.0#} times what {than}.",
                "Add struts around this place in the source, or turn the figure so that the layers there are smaller.")
            { AtMm = at, Layer = worst.AtLayer > 0 ? worst.AtLayer : null, Piece = Letter });
        }
        foreach (var group in sized.AsSized.Remarks.GroupBy(r => r.Kind))
        {
            if (group.Key is LoadRemarkKind.BodyNotHeld)
            {
                var grave = group.Where(r => r.LastLayer - r.FirstLayer >= FewLayers && r.Amount > LittleN).ToList();
                if (grave.Count == 0)
                {
                    context.Measure($"{Whose}lower ends of the figure that no strut holds in their first layers", group.Count(), "places");
                    continue;
                }
                var worst = grave.MaxBy(r => r.Amount)!;
                context.Report(new Finding(FindingIds.ContactsFarApart, Level.Check,
                    $"{Whose}{grave.Count} part{(grave.Count == 1 ? "" : "s")} of the figure hang{(grave.Count == 1 ? "s" : "")} on no strut while layers {worst.FirstLayer} to {worst.LastLayer} print; the film pulls there with up to {worst.Amount:0.0} N.",
                    "Put a strut under this place in the source.")
                { AtMm = worst.At, Layer = worst.FirstLayer > 0 ? worst.FirstLayer : null, Piece = Letter });
            }
            else context.Measure($"{Whose}load solver: {Words(group.Key)}", group.Count(), "places");
        }
        var thick = rebuilt.Graph.Segments.Count(s => s.Contact is not null && s.EqualAreaDiameter(s.RadiusTo) > SnapMm);
        if (thick > 0) context.Measure($"{Whose}tips above {SnapMm:0.0} mm (cut them, do not snap)", thick, "contacts");
    }

    private static string Words(LoadRemarkKind kind) => string.Concat(kind.ToString().Select((c, i) => i > 0 && char.IsUpper(c) ? " " + char.ToLowerInvariant(c) : char.ToLowerInvariant(c).ToString()));

    private List<string> Judging(SizingResult sized)
    {
        var bound = sized.Segments.GroupBy(s => s.BoundBy).OrderByDescending(g => g.Count()).ThenBy(g => g.Key, StringComparer.Ordinal).Select(g => $"{g.Key} ({g.Count()})");
        var said = new List<string>
        {
            settings.Rule switch
            {
                "relative" => "The relative rule decided.",
                "absolute" => $"The absolute rule decided: use times {settings.Safety:0.##} is at most 1 with the constants of the resin {context.Resin.Name}.",
                _ => $"Both rules had to hold: relative, and use times {settings.Safety:0.##} at most 1 with the constants of the resin {context.Resin.Name}.",
            },
        };
        if (sized.RelativeUsed) said.Add("The source is taken to have printed well at its own scale on a like film, resin and lift speed; its own struts, solved the same way, are the evidence.");
        else if (settings.Rule != "absolute") said.Add("The source gave no evidence for the relative rule, so the absolute rule stood alone.");
        said.Add($"{Whose}Sizes were set by: {string.Join(", ", bound)}.");
        return said;
    }
}
