using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Growing;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Strength;
using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Reinforce;

/// <summary>Adds struts to one piece, first under what begins in mid-air, then under flats and beside what is overloaded; makes thicker what still is, and says so.</summary>
internal sealed class PieceReinforcer(Workpiece workpiece, Piece piece, GrowthSizes sizes, ReinforceSettings settings, IStageContext context, CancellationToken cancel)
{
    /// <summary>How often new struts are made thicker where their load asks for it.</summary>
    private const int StoutPasses = 2;

    /// <summary>How often new struts that are overloaded themselves are left out: each time loads are shared anew.</summary>
    private const int LeaveOutPasses = 3;

    /// <summary>Places named in a finding.</summary>
    private const int PlacesNamed = 5;

    private string? Letter => workpiece.Pieces.Count > 1 ? piece.Letter : null;

    private string Whose => Letter is null ? "" : $"Piece {Letter}: ";

    public Piece Reinforced()
    {
        var scene = Surroundings();
        var (struts, left) = HoldSpots(scene);
        if (settings.Overhangs && struts.Segments.Count > 0 && left > 0) (struts, left) = HoldFlats(scene, struts, left);
        if (settings.Helpers && struts.Segments.Count > 0 && left > 0) struts = Help(scene, struts, left);
        // What was grown is like plain enlarging of the figure's own; what is thicker than that is told from it.
        var thicker = settings.MostThicker > 1 && struts.Segments.Count > 0 ? Thicken(scene, struts) : struts;
        return ReferenceEquals(thicker, piece.Struts) ? piece : piece with { Struts = thicker, StrutsAsEnlarged = struts };
    }

    private GrowthScene Surroundings()
    {
        var printer = context.Printers.FirstOrDefault(p => p.Name == piece.Printer) ?? context.Printers[0];
        double x = printer.WidthMm / 2 - printer.MarginMm, y = printer.DepthMm / 2 - printer.MarginMm;
        var tree = TriangleTree.Build(piece.Untouched.TriangleCount == 0 ? piece.Figure : Mesh.Concat(piece.Outer.Lattice, [piece.Figure, piece.Untouched]));
        return new GrowthScene(tree, piece.Raft, new Box3(new Vec3(-x, -y, 0), new Vec3(x, y, printer.HeightMm)))
        {
            KeepOut = [.. piece.Cavities.SelectMany(c => c.Holes.Select(h => (h.CentreMm, h.DiameterMm / 2)))],
        };
    }

    // The struts, and how many more may be added: none where a person must decide.
    private (StrutGraph Struts, int Left) HoldSpots(GrowthScene scene)
    {
        var spots = UnheldSpots.Find(scene, PieceModels.FigureLayers(piece, context.Resin.LayerMm, cancel).ForLoads(), piece.Struts);
        if (spots.Count == 0) return (piece.Struts, settings.MostStruts);
        if (spots.Count > settings.MostStruts)
        {
            context.Report(new Finding(FindingIds.Island, Level.Check,
                $"{Whose}{spots.Count} parts of the figure begin in mid-air on no strut, more than the {settings.MostStruts} struts that may be added; none was.",
                "Look whether the source is supported at all; if it is, allow more with reinforce.mostStruts.")
            { AtMm = spots[0].At, Piece = Letter });
            return (piece.Struts, 0);
        }
        var result = StoutEnough(scene, piece.Struts, spots);
        Say(result);
        return (result.Graph, settings.MostStruts - result.Grown.Count);
    }

    // New struts under the spots, made thicker where their load asks for it.
    private GrowthResult StoutEnough(GrowthScene scene, StrutGraph struts, IReadOnlyList<GrowthSpot> spots)
    {
        var lattice = piece.Outer.Lattice;
        var result = StrutGrowth.Grow(scene, struts, spots, sizes, lattice, cancel);
        for (var pass = 0; pass < StoutPasses && result.Grown.Count > 0; pass++)
        {
            if (Stouter.Spots(LoadScenes.Of(piece, result.Graph, context, cancel), result, sizes, cancel) is not { } stouter) break;
            // A spot that found no way between thin struts finds none between thick ones.
            var again = StrutGrowth.Grow(scene, struts, [.. result.Grown.Select(g => stouter.GetValueOrDefault(g.Spot, g.Spot))], sizes, lattice, cancel, result);
            result = again with { Blocked = [.. result.Blocked, .. again.Blocked] };
        }
        return result;
    }

    // Contacts under flats whose first layers reach out too far, and how many more struts may be added.
    private (StrutGraph Struts, int Left) HoldFlats(GrowthScene scene, StrutGraph struts, int left)
    {
        var resin = context.Resin;
        var reach = Spacing.FreeLip(FlatOverhangs.BridgingLayers * resin.LayerMm, resin.GreenStrengthMPa, settings.Safety, resin.SeparationStressKPa / 1000);
        // Open shells have no inside: nothing is asked of them.
        var solid = Closedness.IsClosed(piece.Untouched) ? Mesh.Concat(piece.Outer.Lattice, [piece.Outer, piece.Untouched]) : piece.Outer;
        var runs = Columns.Build([new ColumnPart(solid, 0)], PieceModels.GridOf(piece), cancel).Runs();
        var spots = FlatOverhangs.Find(runs, struts, resin.LayerMm, reach, scene.RaftTopMm, left, cancel);
        if (spots.Count == 0) return (struts, left);
        var result = NoneOverloaded(scene, struts, [.. spots.Take(left)]);
        if (result.Grown.Count > 0)
            context.Report(new Finding(FindingIds.StrutAdded, Level.Note,
                $"{Whose}{result.Grown.Count} strut{(result.Grown.Count == 1 ? " was" : "s were")} added under flat undersides on which enlarging moved the contacts too far apart{WithBraces(result.Grown.Sum(g => g.Braces))}: at {Places(result.Grown.Select(g => g.Spot.At))}. The first {FlatOverhangs.BridgingLayers} layers bear {reach:0.0} mm from one hold to the next.",
                "Nothing to do; struts.json lists them as added.")
            { AtMm = result.Grown[0].Spot.At, Piece = Letter });
        if (result.Blocked.Count > 0)
            context.Report(new Finding(FindingIds.ContactsFarApart, Level.Note,
                $"{Whose}{result.Blocked.Count} place{(result.Blocked.Count == 1 ? "" : "s")} on flat undersides {(result.Blocked.Count == 1 ? "lies" : "lie")} too far from the next contact and got no strut ({result.Blocked[0].Why}): {Places(result.Blocked.Select(b => b.Spot.At))}. The first layers there may sag or show.",
                "Tilt the figure a little in the source, so that no face lies flat above the platform, or put struts there.")
            { AtMm = result.Blocked[0].Spot.At, Piece = Letter });
        if (spots.Count > left)
            context.Report(new Finding(FindingIds.ContactsFarApart, Level.Check,
                $"{Whose}More places on flat undersides lie too far from the next contact than the {left} struts that may still be added; those farthest from a hold got theirs, {spots[left].At} mm and others did not. The first layers there will sag.",
                "Tilt the figure in the source, so that no large face lies flat above the platform, or allow more struts with reinforce.mostStruts.")
            { AtMm = spots[left].At, Piece = Letter });
        return (result.Graph, left - result.Grown.Count);
    }

    // A flat that sags a little is less than a strut that breaks: new ones that would be over a rule themselves are left out again.
    private GrowthResult NoneOverloaded(GrowthScene scene, StrutGraph struts, IReadOnlyList<GrowthSpot> spots)
    {
        var result = StoutEnough(scene, struts, spots);
        var source = Request(struts).Source is { } s && settings.Rule != "absolute" ? LoadSolver.Solve(s, cancel) : null;
        for (var pass = 0; pass < LeaveOutPasses && result.Grown.Count > 0; pass++)
        {
            var request = Request(result.Graph);
            var over = StrutSizing.Overloaded(request, LoadSolver.Solve(request.Enlarged, cancel), source).Select(o => o.Segment).ToHashSet();
            var hard = result.Grown.Where(g => g.Segments.Any(over.Contains)).ToList();
            if (hard.Count == 0) break;
            var again = StrutGrowth.Grow(scene, struts, [.. result.Grown.Except(hard).Select(g => g.Spot)], sizes, piece.Outer.Lattice, cancel, result);
            result = again with { Blocked = [.. result.Blocked, .. hard.Select(g => new NoPath(g.Spot, "a strut there would itself be used too hard")), .. again.Blocked] };
        }
        return result;
    }

    private SizingRequest Request(StrutGraph struts) => new()
    {
        Enlarged = LoadScenes.Of(piece, struts, context, cancel),
        Source = LoadScenes.OfSource(workpiece, context, cancel),
        Rule = settings.Rule switch { "relative" => SizingRule.Relative, "absolute" => SizingRule.Absolute, _ => SizingRule.Both },
        Safety = settings.Safety,
    };

    private void Say(GrowthResult result)
    {
        if (result.Grown.Count > 0)
        {
            var braces = result.Grown.Sum(g => g.Braces);
            var pins = result.Grown.Count(g => g.Segments.Count == 1 && g.HeldBy == EndHeldBy.Figure);
            var cones = result.Grown.Count(g => g.Segments.Count == 1) - pins;
            var stilts = result.Grown.Count(g => g.HeldBy == EndHeldBy.Figure) - pins;
            context.Report(new Finding(FindingIds.StrutAdded, Level.Note,
                $"{Whose}{result.Grown.Count} strut{(result.Grown.Count == 1 ? " was" : "s were")} added under parts of the figure that begin in mid-air{WithBraces(braces)}: at {Places(result.Grown.Select(g => g.Spot.At))}. Each keeps {GrowthScene.ClearanceMm:0.0} mm clear of the figure but for the upper half of tip or cone.{(stilts > 0 ? $" {stilts} of them stand{(stilts == 1 ? "s" : "")} on the figure itself, since nothing else is below." : "")}{(pins > 0 ? $" {pins} {(pins == 1 ? "is a short pin" : "are short pins")} across a gap too low for a strut." : "")}{(cones > 0 ? $" {cones} {(cones == 1 ? "is a plain cone" : "are plain cones")} low above raft or platform, which may touch the figure near the contact: cut, do not snap." : "")}",
                "Nothing to do; struts.json lists them as added.")
            { AtMm = result.Grown[0].Spot.At, Piece = Letter });
        }
        if (result.Blocked.Count > 0)
        {
            var first = result.Blocked.MaxBy(b => b.Spot.FreeMm3)!;
            // How grave it is the loads and the final audit say; here is only why nothing was done about it.
            context.Report(new Finding(FindingIds.Island, Level.Note,
                $"{Whose}{result.Blocked.Count} part{(result.Blocked.Count == 1 ? "" : "s")} of the figure that {(result.Blocked.Count == 1 ? "begins" : "begin")} in mid-air got no strut: {Places(result.Blocked.Select(b => b.Spot.At))}. The gravest, at {first.Spot.At} mm, {first.Spot.Why} ({first.Spot.FreeMm3:0.0} mm3); {first.Why}.",
                "Put a strut there in the source, or turn the figure a little.")
            { AtMm = first.Spot.At, Piece = Letter });
        }
    }

    private StrutGraph Help(GrowthScene scene, StrutGraph struts, int most)
    {
        var request = Request(struts);
        if (request.Source is null && request.Rule == SizingRule.Relative) return struts;
        var result = HelperStruts.Add(scene, TriangleTree.Build(piece.Outer), request, sizes, most, piece.Outer.Lattice, cancel);
        if (result.Grown.Count == 0) return struts;
        context.Report(new Finding(FindingIds.StrutAdded, Level.Note,
            $"{Whose}{result.Grown.Count} strut{(result.Grown.Count == 1 ? " was" : "s were")} added beside such as were used too hard{WithBraces(result.Grown.Sum(g => g.Braces))}: at {Places(result.Grown.Select(g => g.Spot.At))}. {result.OverBefore} strut segment{(result.OverBefore == 1 ? " was" : "s were")} over a rule of safety without them, {result.OverAfter} {(result.OverAfter == 1 ? "is" : "are")} with them.{(result.Grown.Count == most ? " No more may be added by reinforce.mostStruts." : "")}",
            result.OverAfter == 0 ? "Nothing to do; struts.json lists them as added." : "See what is said of overloaded struts; struts.json lists the new ones as added.")
        { AtMm = result.Grown[0].Spot.At, Piece = Letter });
        return result.Graph;
    }

    private StrutGraph Thicken(GrowthScene scene, StrutGraph struts)
    {
        var request = Request(struts) with { Unsure = struts.Segments.Where(s => s.Role == Role.Unsure).Select(s => s.Id).ToHashSet() };
        if (request.Source is null && request.Rule == SizingRule.Relative) return struts;
        var result = StouterStruts.Thicken(scene, request, settings.MostThicker, piece.Outer.Lattice, cancel);
        if (result.Thicker.Count == 0) return struts;
        context.Report(new Finding(FindingIds.StrutThicker, Level.Note,
            $"{Whose}{result.Thicker.Count} strut segment{(result.Thicker.Count == 1 ? " was" : "s were")} made thicker than plain enlarging makes {(result.Thicker.Count == 1 ? "it" : "them")}, up to {result.Most:0.00} times, since {(result.OverBefore == 1 ? "one was" : "some were")} used too hard: {result.OverBefore} {(result.OverBefore == 1 ? "was" : "were")} over a rule of safety before, {result.OverAfter} {(result.OverAfter == 1 ? "is" : "are")} now. Where contacts are thicker, their marks on the figure are wider.",
            result.OverAfter == 0 ? "Nothing to do; struts.json has the radii before and after." : "See what is said of overloaded struts; struts.json has the radii before and after.")
        { AtMm = result.Graph.Segments[result.Thicker[0]].To, Piece = Letter });
        return result.Graph;
    }

    private static string WithBraces(int braces) => braces > 0 ? $", with {braces} brace{(braces == 1 ? "" : "s")}" : "";

    private static string Places(IEnumerable<Vec3> places)
    {
        var all = places.ToList();
        var named = string.Join(", ", all.Take(PlacesNamed).Select(p => p.ToString()));
        return all.Count > PlacesNamed ? $"{named} and {all.Count - PlacesNamed} more places" : $"{named} mm";
    }
}
