using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;
using Stiltwright.Printing.Estimates;
using Stiltwright.Printing.Strength;
using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Worker;

/// <summary>Checks of the final audit that look at the figure as people will: facets, and whether it stands.</summary>
internal static class FigureChecks
{
    /// <summary>A figure tips too easily below this angle, degrees (physics 8).</summary>
    private const double TopplesDegrees = 10;

    public static void Facets(WorkOrder order, Workpiece w, JobNotes notes)
    {
        foreach (var p in w.Pieces)
        {
            var printer = order.Printers.FirstOrDefault(x => x.Name == p.Printer) ?? order.Printers[0];
            var facets = FacetSurvey.Of(p.Outer, printer.PixelMm, order.Resin.LayerMm);
            if (facets.ShownShare <= FacetSurvey.WorthSaying) continue;
            notes.Add(int.MaxValue, new Finding(FindingIds.FacetsVisible, Level.Note,
                $"{(w.Pieces.Count > 1 ? $"Piece {p.Letter}: f" : "F")}acets of the source will show on {facets.ShownShare:P0} of the surface; the coarsest stands {facets.LargestDeviationMm:0.00} mm off the smooth shape ({facets.LongestMm:0.0} mm wide, turning {facets.TurnDegrees:0} degrees) at {facets.At} mm.",
                "Ask for a finer source, let the recipe smooth it (smoothFacets of rescale), or sand and fill before painting.")
            { AtMm = facets.At, Piece = w.Pieces.Count > 1 ? p.Letter : null });
        }
    }

    /// <summary>Tips that come out of a hollow figure's wall inside.</summary>
    public static void Tips(Workpiece w, Piece p, JobNotes notes)
    {
        var through = TipsInWalls.Find(p.Struts, [.. p.Cavities.Select(c => c.Surface)]);
        if (through.Count == 0) return;
        var worst = through.MaxBy(t => t.ThroughMm)!;
        notes.Add(int.MaxValue, new Finding(FindingIds.WallThin, Level.Check,
            $"{(w.Pieces.Count > 1 ? $"Piece {p.Letter}: " : "")}{through.Count} strut{(through.Count == 1 ? " reaches" : "s reach")} through the wall into the cavity, the farthest at {worst.At} mm by {worst.ThroughMm:0.00} mm. Taking {(through.Count == 1 ? "it" : "them")} off may leave a hole.",
            "Ask for a thicker wall in the recipe, or fill the marks before painting.")
        { AtMm = worst.At, Piece = w.Pieces.Count > 1 ? p.Letter : null });
    }

    /// <summary>Tip angle of the whole figure on its own base: nearest edge of the base against the height of the mass centre.</summary>
    public static void Toppling(Workpiece w, WorkOrder order, JobNotes notes, CancellationToken cancel)
    {
        if (w.Pieces.Count != 1 || w.Pieces[0].Outer.TriangleCount == 0 || w.Placement is not { } placement || w.Inspection is not { BaseAreaMm2: > 0 } inspection) return; // without a flat base, how it is fixed is a person's choice
        var p = w.Pieces[0];
        var up = placement.Map.Direction(inspection.Up).Unit();
        var u = up.AnyPerpendicular();
        var v = up.Cross(u);
        var low = double.PositiveInfinity;
        for (var i = 0; i < p.Outer.VertexCount; i++) low = Math.Min(low, up.Dot(p.Outer.Vertex(i)));
        var near = 0.002 * p.Outer.Bounds.Size.Length;
        var foot = new List<(double X, double Y)>();
        for (var i = 0; i < p.Outer.VertexCount; i++)
        {
            var q = p.Outer.Vertex(i);
            if (up.Dot(q) < low + near) foot.Add((u.Dot(q), v.Dot(q)));
        }
        var centre = PieceModels.FigureColumns(p, cancel).Mass(Columns.MaskOf(PieceModels.FigureGroup)).Centroid;
        var edge = ConvexOutline.DistanceToEdge(foot, (u.Dot(centre), v.Dot(centre)));
        if (foot.Count < 3 || edge is not { } e) return;
        var angle = Standing.TipAngle(Math.Max(0, e), up.Dot(centre) - low) * 180 / Math.PI;
        if (angle >= TopplesDegrees) return;
        notes.Add(int.MaxValue, new Finding(FindingIds.Topples, Level.Check,
            e <= 0 ? "The figure falls over on its own base: its mass centre lies beyond the edge of the base."
                : $"The figure tips over at {angle:0.0} degrees (mass centre {up.Dot(centre) - low:0} mm above its base, {e:0.0} mm inside the nearest edge).",
            "Fix it to a wider plinth."));
    }
}
