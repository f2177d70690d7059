using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Split;

/// <summary>What a person must look at on a piece that was cut.</summary>
internal static class SeamFindings
{
    public static void Report(Piece piece, IStageContext context)
    {
        var what = new List<string>();
        if (piece.Raft.TriangleCount == 0) what.Add("it has no raft and stands on its cut face or its cut struts");
        var loose = piece.Struts.Segments.Count(s => s.FromHeldBy == EndHeldBy.Nothing && s.FromJoins.Count == 0);
        if (loose > 0) what.Add($"{loose} strut segment{(loose == 1 ? " was" : "s were")} cut off from the raft");
        var thin = piece.Seams.Count(s => s.Pegs + s.Sockets == 0);
        if (thin > 0) what.Add($"{thin} seam{(thin == 1 ? " is" : "s are")} too thin for a peg");
        if (what.Count == 0) return;
        context.Report(new Finding(FindingIds.SeamReview, Level.Check,
            $"Piece {piece.Letter}: {string.Join("; ", what)}.",
            "Look at the piece before printing: put struts or a raft under it where it needs them, and pin thin seams with metal rod.")
        { Piece = piece.Letter, AtMm = piece.Seams.Count > 0 ? piece.Seams[0].CentreMm : null });
    }
}
