using Stiltwright.Printing.Splitting;
using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Split;

/// <summary>What a person must look at on a piece that was cut.</summary>
internal static class SeamFindings
{
    /// <summary>Places named in a finding.</summary>
    private const int PlacesNamed = 5;

    public static void Report(Piece piece, SettledStruts settled, IStageContext context)
    {
        var whose = piece.Letter.Length == 0 ? "" : $"Piece {piece.Letter}: ";
        var letter = piece.Letter.Length == 0 ? null : piece.Letter;
        if (settled.Regrown.Count > 0)
            context.Report(new Finding(FindingIds.StrutAdded, Level.Note,
                $"{whose}{settled.Regrown.Count} strut{(settled.Regrown.Count == 1 ? " was" : "s were")} grown anew to {(settled.Regrown.Count == 1 ? "a contact" : "contacts")} whose own struts stood outside the printer's room, on another piece or in the way of a peg.",
                "Nothing to do; struts.json lists them as added.")
            { AtMm = settled.Regrown[0].Spot.At, Piece = letter });

        var what = new List<string>();
        if (piece.Raft.TriangleCount == 0)
            what.Add(piece.Outer.TriangleCount > 0 && piece.Outer.Bounds.Min.Z < 0.01 ? "it has no raft and stands on its cut face" : "it has no raft; its struts stand on feet of their own");
        if (settled.Blocked.Count > 0)
        {
            var named = string.Join(", ", settled.Blocked.Take(PlacesNamed).Select(b => b.Spot.At.ToString()));
            what.Add($"{settled.Blocked.Count} strut{(settled.Blocked.Count == 1 ? "" : "s")} that the cut left without ground {(settled.Blocked.Count == 1 ? "was" : "were")} taken away and found no other way, at {named}{(settled.Blocked.Count > PlacesNamed ? $" and {settled.Blocked.Count - PlacesNamed} more places" : " mm")} ({settled.Blocked[0].Why})");
        }
        var thin = piece.Seams.Count(s => s.Pegs + s.Sockets == 0);
        if (thin > 0) what.Add($"{thin} seam{(thin == 1 ? " is" : "s are")} too thin for a peg");
        if (what.Count == 0) return;
        context.Report(new Finding(FindingIds.SeamReview, Level.Check,
            $"{whose}{string.Join("; ", what)}.",
            "Look at the piece before printing: put struts under it where it needs them, and pin thin seams with metal rod.")
        { Piece = letter, AtMm = settled.Blocked.Count > 0 ? settled.Blocked[0].Spot.At : piece.Seams.Count > 0 ? piece.Seams[0].CentreMm : null });
    }
}
