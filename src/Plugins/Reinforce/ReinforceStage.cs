using Stiltwright.Geometry;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Growing;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Resin;
using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Reinforce;

/// <summary>Settings of <c>reinforce</c>.</summary>
public sealed class ReinforceSettings
{
    /// <summary>Most struts added to one piece.</summary>
    [Setting("Most struts that are added to one piece; where more are wanted none is added and a person decides.", Least = 0, Most = 2000)]
    public int MostStruts { get; set; } = 100;
}

/// <summary>Adds a strut under every part of the figure that begins in mid-air and that no contact holds.</summary>
public sealed class ReinforceStage : IStage
{
    /// <summary>How often new struts are made thicker where their load asks for it.</summary>
    private const int StoutPasses = 2;

    /// <summary>Places named in a finding.</summary>
    private const int PlacesNamed = 5;

    /// <inheritdoc/>
    public string Name => "reinforce";

    /// <inheritdoc/>
    public string Version => "1.0";

    /// <inheritdoc/>
    public Type SettingsType => typeof(ReinforceSettings);

    /// <inheritdoc/>
    public Parts Changes => Parts.Struts;

    /// <inheritdoc/>
    public Parts Settles => Parts.Placement | Parts.Pieces | Parts.Figure | Parts.Raft;

    /// <inheritdoc/>
    public StageResult Run(Workpiece workpiece, object settings, IStageContext context, CancellationToken cancel)
    {
        var most = ((ReinforceSettings)settings).MostStruts;
        // New struts are like the figure's own; a source without any is supported by a person (struts-none).
        if (GrowthSizes.Like(workpiece.Pieces.SelectMany(p => p.StrutsAsEnlarged.Segments)) is not { } sizes) return StageResult.Done(workpiece);
        var pieces = new List<Piece>();
        foreach (var piece in workpiece.Pieces)
        {
            pieces.Add(Reinforced(piece, sizes, most, workpiece.Pieces.Count > 1, context, cancel));
            context.Progress((double)pieces.Count / workpiece.Pieces.Count);
        }
        return StageResult.Done(workpiece with { Pieces = pieces });
    }

    private static Piece Reinforced(Piece piece, GrowthSizes sizes, int most, bool split, IStageContext context, CancellationToken cancel)
    {
        var layers = PieceModels.FigureLayers(piece, context.Resin.LayerMm, cancel).ForLoads();
        var lattice = piece.Outer.Lattice;
        var printer = context.Printers.FirstOrDefault(p => p.Name == piece.Printer) ?? context.Printers[0];
        double x = printer.WidthMm / 2 - printer.MarginMm, y = printer.DepthMm / 2 - printer.MarginMm;
        var tree = TriangleTree.Build(piece.Untouched.TriangleCount == 0 ? piece.Figure : Mesh.Concat(lattice, [piece.Figure, piece.Untouched]));
        var scene = new GrowthScene(tree, piece.Raft, new Box3(new Vec3(-x, -y, 0), new Vec3(x, y, printer.HeightMm)))
        {
            KeepOut = [.. piece.Cavities.SelectMany(c => c.Holes.Select(h => (h.CentreMm, h.DiameterMm / 2)))],
        };
        var spots = UnheldSpots.Find(scene, layers, piece.Struts);
        if (spots.Count == 0) return piece;
        var whose = split ? $"Piece {piece.Letter}: " : "";
        var letter = split ? piece.Letter : null;
        if (spots.Count > most)
        {
            context.Report(new Finding(FindingIds.Island, Level.Check,
                $"{whose}{spots.Count} parts of the figure begin in mid-air on no strut, more than the {most} struts that may be added; none was.",
                "Look whether the source is supported at all; if it is, allow more with reinforce.mostStruts.")
            { AtMm = spots[0].At, Piece = letter });
            return piece;
        }

        var result = StrutGrowth.Grow(scene, piece.Struts, spots, sizes, lattice, cancel);
        for (var pass = 0; pass < StoutPasses && result.Grown.Count > 0; pass++)
        {
            if (Stouter.Spots(Loads(piece, result.Graph, layers, printer, context), result, sizes, cancel) is not { } stouter) break;
            // A spot that found no way between thin struts finds none between thick ones.
            var again = StrutGrowth.Grow(scene, piece.Struts, [.. result.Grown.Select(g => stouter.GetValueOrDefault(g.Spot, g.Spot))], sizes, lattice, cancel);
            result = again with { Blocked = [.. result.Blocked, .. again.Blocked] };
        }
        if (result.Grown.Count > 0)
        {
            var braces = result.Grown.Sum(g => g.Braces);
            var pins = result.Grown.Count(g => g.Segments.Count == 1);
            var stilts = result.Grown.Count(g => g.HeldBy == EndHeldBy.Figure) - pins;
            context.Report(new Finding(FindingIds.StrutAdded, Level.Note,
                $"{whose}{result.Grown.Count} strut{(result.Grown.Count == 1 ? " was" : "s were")} added under parts of the figure that begin in mid-air{(braces > 0 ? $", with {braces} brace{(braces == 1 ? "" : "s")}" : "")}: at {Places(result.Grown.Select(g => g.Spot.At))}. Each keeps {GrowthScene.ClearanceMm:0.0} mm clear of the figure but for the half of a tip next to it.{(stilts > 0 ? $" {stilts} of them stand{(stilts == 1 ? "s" : "")} on the figure itself, since nothing else is below." : "")}{(pins > 0 ? $" {pins} {(pins == 1 ? "is a short pin" : "are short pins")} across a gap too low for a strut." : "")}",
                "Nothing to do; struts.json lists them as added.")
            { AtMm = result.Grown[0].Spot.At, Piece = letter });
        }
        if (result.Blocked.Count > 0)
        {
            var first = result.Blocked.MaxBy(b => b.Spot.FreeMm3)!;
            // How grave it is the loads and the final audit say; here is only why nothing was done about it.
            context.Report(new Finding(FindingIds.Island, Level.Note,
                $"{whose}{result.Blocked.Count} part{(result.Blocked.Count == 1 ? "" : "s")} of the figure that {(result.Blocked.Count == 1 ? "begins" : "begin")} in mid-air got no strut: {Places(result.Blocked.Select(b => b.Spot.At))}. The gravest, at {first.Spot.At} mm, {first.Spot.Why} ({first.Spot.FreeMm3:0.0} mm3); {first.Why}.",
                "Put a strut there in the source, or turn the figure a little.")
            { AtMm = first.Spot.At, Piece = letter });
        }
        return piece with { Struts = result.Graph, StrutsAsEnlarged = result.Graph };
    }

    private static LoadScene Loads(Piece piece, StrutGraph struts, FigureLayers layers, PrinterData printer, IStageContext context) => new()
    {
        Figure = layers,
        Struts = struts,
        Resin = context.Resin,
        Printer = printer,
        RaftTopMm = piece.Raft.TriangleCount == 0 ? 0 : piece.Raft.Bounds.Max.Z,
        Vents = [.. piece.Cavities.SelectMany(c => c.Holes.Select(h => new CupVent(c.Surface.Bounds, h.CentreMm, h.DiameterMm, c.WallAskedMm)))],
        WallMm = piece.Cavities.Count == 0 ? null : piece.Cavities.Min(c => c.WallAskedMm),
    };

    private static string Places(IEnumerable<Vec3> places)
    {
        var all = places.ToList();
        var named = string.Join(", ", all.Take(PlacesNamed).Select(p => p.ToString()));
        return all.Count > PlacesNamed ? $"{named} and {all.Count - PlacesNamed} more places" : $"{named} mm";
    }
}
