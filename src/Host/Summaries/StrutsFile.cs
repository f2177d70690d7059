using Stiltwright.Geometry;
using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Summaries;

/// <summary>
/// What each strut segment was, is, and why: written as <c>struts.json</c>. Set coordinates (for split sets those of the
/// piece named beside the segment), mm; radii run to the corners of the section polygon.
/// </summary>
/// <param name="Struts">One entry a segment.</param>
/// <param name="Raft">Heights of the raft; null where there is none.</param>
public sealed record StrutsFile(IReadOnlyList<StrutEntry> Struts, RaftEntry? Raft)
{
    /// <summary>
    /// Gathers the entries of a finished workpiece. Segments keep the order of pieces and graphs; ids are counted through,
    /// so that they stay unique where a set has several pieces.
    /// </summary>
    public static StrutsFile From(Workpiece workpiece, RaftEntry? raft)
    {
        var entries = new List<StrutEntry>();
        int idAt = 0, strutAt = 0;
        var split = workpiece.Pieces.Count > 1;
        foreach (var piece in workpiece.Pieces)
        {
            var decided = new Dictionary<int, StrutDecision>();
            foreach (var d in piece.Decisions) decided[d.Segment] = d;
            var before = piece.StrutsAsEnlarged.Segments;
            var chains = 0;
            foreach (var now in piece.Struts.Segments)
            {
                var was = now.Id < before.Count ? before[now.Id] : null;
                decided.TryGetValue(now.Id, out var d);
                entries.Add(new StrutEntry(
                    idAt + now.Id, now.Role == Role.Unsure ? "unsure" : now.Role.ToString().ToLowerInvariant(), now.From, now.To,
                    was is null || now.Added ? [0, 0] : [was.RadiusFrom, was.RadiusTo], [now.RadiusFrom, now.RadiusTo], now.Sides, now.Confidence,
                    now.Added ? "added" : was is not null && Thicker(was, now) ? "reinforced" : d?.Decision ?? (was is null ? "added" : now.Role == Role.Unsure ? "unsure" : "kept"),
                    d?.Use, d?.BoundBy, d is { AtLayer: > 0 } ? d.AtLayer : null, strutAt + now.Chain, split ? piece.Letter : null, now.Contact));
                chains = Math.Max(chains, now.Chain + 1);
            }
            idAt += piece.Struts.Segments.Count;
            strutAt += chains;
        }
        return new StrutsFile(entries, raft);
    }

    /// <summary>True if an end of a segment is thicker than plain enlarging makes it.</summary>
    public static bool Thicker(StrutSegment enlarged, StrutSegment now) =>
        now.RadiusFrom > enlarged.RadiusFrom * (1 + Noticeable) || now.RadiusTo > enlarged.RadiusTo * (1 + Noticeable);

    private const double Noticeable = 1e-3;
}

/// <summary>One strut segment.</summary>
/// <param name="Id">Unique in the file.</param>
/// <param name="Role">"foot", "pillar", "brace", "tip" or "unsure".</param>
/// <param name="FromMm">Lower end of the axis.</param>
/// <param name="ToMm">Upper end of the axis.</param>
/// <param name="RadiusBeforeMm">Radii at both ends after plain enlargement; zero for one that was added.</param>
/// <param name="RadiusAfterMm">Radii at both ends as printed.</param>
/// <param name="Sides">Sides of the section polygon, 0 where it is none.</param>
/// <param name="Confidence">How sure the role is, 0..1.</param>
/// <param name="Decision">"thinned", "kept", "reinforced", "added" or "unsure".</param>
/// <param name="Use">Load over capacity of the hardest check, no factor in it; null where no load was solved.</param>
/// <param name="BoundBy">Which check or limit set the size.</param>
/// <param name="AtLayer">Layer of the hardest use, from 1.</param>
/// <param name="Strut">Number of its chain.</param>
/// <param name="Piece">Letter of the piece, for split sets.</param>
/// <param name="ContactMm">Where it meets the figure.</param>
public sealed record StrutEntry(
    int Id, string Role, Vec3 FromMm, Vec3 ToMm, double[] RadiusBeforeMm, double[] RadiusAfterMm, int Sides, double Confidence,
    string Decision, double? Use, string? BoundBy, int? AtLayer, int Strut, string? Piece, Vec3? ContactMm);

/// <summary>Heights of the raft, mm.</summary>
/// <param name="HeightBeforeMm">After plain enlargement.</param>
/// <param name="HeightAfterMm">As printed.</param>
public sealed record RaftEntry(double HeightBeforeMm, double HeightAfterMm);
