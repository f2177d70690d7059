using System.Globalization;
using Stiltwright.Geometry;
using Stiltwright.Geometry.Cutting;
using Stiltwright.Geometry.Fields;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Shell;

/// <summary>Settings of <c>shell</c>.</summary>
public sealed class ShellSettings
{
    /// <summary>Wall that stays everywhere.</summary>
    [Setting("Wall that stays everywhere (2 mm is common practice).", "mm", Least = 0.8, Most = 10)]
    public double WallMm { get; set; } = 2.0;

    /// <summary>Radius of the solid ball under a contact beyond the wall.</summary>
    [Setting("How much deeper than the wall the figure stays solid under each contact.", "mm", Least = 0, Most = 10)]
    public double ContactMm { get; set; } = 1.0;

    /// <summary>Cavities smaller than this are not worth a hole.</summary>
    [Setting("Cavities smaller than this stay solid.", "mm3", Least = 1, Most = 100000)]
    public double SmallestMm3 { get; set; } = 150;

    /// <summary>Cavities narrower than this cannot be drained.</summary>
    [Setting("Least radius of the largest ball in a cavity; narrower ones stay solid.", "mm", Least = 0.3, Most = 20)]
    public double NarrowestMm { get; set; } = 1.5;

    /// <summary>Resolution of the field, or 0 for the wall's own.</summary>
    [Setting("Size of a cell of the distance field; 0 chooses it from wall and size.", "mm", Least = 0, Most = 2)]
    public double CellMm { get; set; }

    /// <summary>Allowed deviation when the cavity's surface is simplified.</summary>
    [Setting("Most that the cavity's surface may move inwards when it is simplified.", "mm", Least = 0, Most = 0.5)]
    public double SimplifyMm { get; set; } = 0.08;
}

/// <summary>Hollows each piece's figure to a guaranteed wall; the outer surface is not touched.</summary>
public sealed class ShellStage : IStage
{
    /// <inheritdoc/>
    public string Name => "shell";

    /// <inheritdoc/>
    public string Version => "1.1";

    /// <inheritdoc/>
    public Type SettingsType => typeof(ShellSettings);

    /// <inheritdoc/>
    public Parts Changes => Parts.Figure;

    /// <inheritdoc/>
    public Parts Settles => Parts.Placement | Parts.Pieces;

    /// <inheritdoc/>
    public StageResult Run(Workpiece workpiece, object settings, IStageContext context, CancellationToken cancel)
    {
        var s = (ShellSettings)settings;
        var pieces = new List<Piece>();
        foreach (var piece in workpiece.Pieces)
        {
            pieces.Add(Hollow(piece, s, context, cancel));
            context.Progress((double)pieces.Count / workpiece.Pieces.Count);
        }
        return StageResult.Done(workpiece with { Pieces = pieces });
    }

    private static Piece Hollow(Piece piece, ShellSettings s, IStageContext context, CancellationToken cancel)
    {
        if (piece.Figure.TriangleCount == 0) return piece; // nothing but unsure or open shells: already reported
        var solid = piece.Struts.Segments.Where(g => g.Contact is not null)
            .Select(g => new Capsule(g.Contact!.Value, g.Contact.Value, s.WallMm + s.ContactMm + g.RadiusTo))
            .Concat(piece.KeepSolid.Select(k => new Capsule(k.From, k.To, Math.Max(k.RadiusMm, s.WallMm)))).ToList();
        var result = CavityBuilder.Build(piece.Figure, new CavityRequest
        {
            WallMm = s.WallMm,
            KeepSolid = solid,
            CellMm = s.CellMm > 0 ? s.CellMm : null,
            LeastVolumeMm3 = s.SmallestMm3,
            LeastRadiusMm = s.NarrowestMm,
            SimplifyMm = s.SimplifyMm,
        }, cancel);
        var whose = piece.Letter.Length == 0 ? "The figure" : $"Piece {piece.Letter}";
        if (result.Refusal is { } refusal)
        {
            context.Report(new Finding(FindingIds.CavityNone, Level.Check, $"{whose} was not hollowed: {refusal}", "Mend the surface in the sculpting program and drop it again, or print it solid.") { Piece = piece.Letter });
            return piece;
        }
        if (result.Parts.Count == 0)
        {
            context.Report(new Finding(FindingIds.CavityNone, Level.Note,
                $"{whose} stays solid: nowhere is it thick enough for a cavity inside a wall of {s.WallMm:0.0} mm (a ball of radius {s.NarrowestMm:0.0} mm must fit, {s.SmallestMm3:0} mm3 at least).",
                "Nothing to do; a thinner wall in the recipe would hollow more.")
            { Piece = piece.Letter });
            return piece;
        }
        if (result.Dropped > 0)
            context.Measure($"cavities too small to drain, kept solid{(piece.Letter.Length == 0 ? "" : $" in piece {piece.Letter}")}", result.Dropped, $"({result.DroppedMm3:0} mm3)");
        StateTheWall(result, s, piece, whose, context);
        var figure = piece.Figure;
        var cavities = new List<Cavity>();
        foreach (var part in result.Parts)
        {
            cancel.ThrowIfCancellationRequested();
            try
            {
                figure = NullEdges.Collapse(SolidTool.Subtract(figure, part.Surface, 1).Result);
            }
            catch (CuttingException e)
            {
                // The cut decides exactly and refuses what it cannot decide: that cavity stays solid, the others are made.
                context.Report(new Finding(FindingIds.CavityNone, Level.Check,
                    $"{whose} stays solid in one place ({part.VolumeMm3 / 1000:0.0} cm3): the cavity there could not be taken out. {e.Message}",
                    "Mend the surface at that place in the sculpting program and drop it again, or print it as it is.")
                { AtMm = e.At, Piece = piece.Letter });
                continue;
            }
            cavities.Add(new Cavity(part.Surface, s.WallMm, part.WallMinMm, part.WallMeanMm, part.WallP99Mm, []));
        }
        return piece with { Figure = figure, Cavities = cavities };
    }

    // What was measured on the cavities as made. The wall asked is proven, so a thinner one would be a fault of ours that a person must see.
    private static void StateTheWall(CavityResult result, ShellSettings s, Piece piece, string whose, IStageContext context)
    {
        double least = result.Parts.Min(p => p.WallMinMm), deeper = Math.Max(result.BluntMm, result.Parts.Max(p => p.DeeperMm));
        var inPiece = piece.Letter.Length == 0 ? "" : $" in piece {piece.Letter}";
        // Inner edges and corners are sharp to within 0.2 mm; only where two walls face each other across less than a cell does the cavity end early.
        if (result.GapMm > result.BluntMm)
            context.Measure(string.Create(CultureInfo.InvariantCulture, $"cavity deeper than asked at most (it ends where it would be narrower than {result.CellMm:0.00} mm between two walls, near {result.GapAt} mm){inPiece}"), Math.Round(Math.Max(deeper, result.GapMm), 3), "mm");
        else context.Measure($"cavity deeper than asked at most{inPiece}", Math.Round(deeper, 3), "mm");
        if (least < s.WallMm - 0.001)
            context.Report(new Finding(FindingIds.WallThin, Level.Check, $"{whose} has a wall of {least:0.000} mm in one place of its cavity; {s.WallMm:0.0} mm were asked.",
                "Do not print it before somebody has looked at the place; a finer cell in the recipe may help.")
            { Piece = piece.Letter });
    }
}
