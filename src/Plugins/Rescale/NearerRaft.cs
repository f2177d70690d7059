using Stiltwright.Geometry;
using Stiltwright.Printing.Estimates;
using Stiltwright.Printing.Placing;
using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Rescale;

/// <summary>Sets the figure nearer to its raft where the recipe asks for it, and says what that saves.</summary>
internal static class NearerRaft
{
    /// <summary>Room round everything in which struts may grow, mm.</summary>
    public const double RoomMm = 20;

    public static Lowered? Lower(Mesh outer, Mesh untouched, StrutGraph struts, Mesh raft, double gapMm, IStageContext context, CancellationToken cancel)
    {
        var lattice = outer.Lattice;
        var figure = untouched.TriangleCount == 0 ? outer : Mesh.Concat(lattice, [outer, untouched]);
        var drop = FreeHeight.Drop(figure, raft, gapMm);
        if (struts.Segments.Count == 0 || drop < FreeHeight.LeastDropMm)
        {
            var asked = FreeHeight.Drop(outer, raft, gapMm);
            if (asked >= FreeHeight.LeastDropMm)
                context.Report(new Finding(FindingIds.StrutsUnsure, Level.Note,
                    $"The figure stays {asked + gapMm:0.0} mm above its ground instead of {gapMm:0.0} mm: {(struts.Segments.Count == 0 ? "no strut was recognised that could be shortened" : $"an open or unsure shell reaches down to {untouched.Bounds.Min.Z:0.0} mm above the platform and would be cut")}.",
                    "See what is said of unsure or open shells; once they are told apart the figure can come down.")
                { AtMm = untouched.TriangleCount == 0 ? null : untouched.Bounds.Center });
            return null;
        }
        var before = VolumeOf(struts, raft);
        var room = figure.Bounds.With(raft.TriangleCount == 0 ? figure.Bounds : raft.Bounds).Grown(RoomMm);
        foreach (var shell in struts.Shells) room = room.With(shell.Shape.Bounds);
        if (context.Printers.Count > 0)
        {
            // What fits a printer now must not outgrow it by a new strut.
            var (x, y) = (context.Printers.Max(p => p.WidthMm / 2 - p.MarginMm), context.Printers.Max(p => p.DepthMm / 2 - p.MarginMm));
            var all = figure.Bounds.With(raft.TriangleCount == 0 ? figure.Bounds : raft.Bounds);
            if (Math.Max(-all.Min.X, all.Max.X) <= x && Math.Max(-all.Min.Y, all.Max.Y) <= y)
                room = new Box3(new Vec3(Math.Max(room.Min.X, -x), Math.Max(room.Min.Y, -y), room.Min.Z), new Vec3(Math.Min(room.Max.X, x), Math.Min(room.Max.Y, y), room.Max.Z));
        }
        var lowered = FreeHeight.Apply(figure.Placed(Affine.Translation(new Vec3(0, 0, -drop)), lattice), struts, raft, drop, room, cancel);
        if (lowered is null)
        {
            context.Report(new Finding(FindingIds.StrutsUnsure, Level.Note,
                $"The figure stays {drop + gapMm:0.0} mm above its ground instead of {gapMm:0.0} mm: no strut of the source has a plain shaft, so nothing says how thick new feet must be.",
                "Shorten the struts in the source to save this resin and time."));
            return null;
        }
        var grams = (before - VolumeOf(lowered.Struts, lowered.Raft)) / 1000 * context.Resin.CuredDensity;
        var top = Math.Max(figure.Bounds.Max.Z, struts.Segments.Max(s => Math.Max(s.From.Z, s.To.Z)));
        int layersBefore = PrintTime.Layers(top, context.Resin.LayerMm), layersAfter = PrintTime.Layers(top - drop, context.Resin.LayerMm);
        var hours = context.Printers.Count == 0 ? 0
            : (PrintTime.RunS(layersBefore, context.Resin, context.Printers[0]) - PrintTime.RunS(layersAfter, context.Resin, context.Printers[0])) / 3600;
        var newRaft = !ReferenceEquals(lowered.Raft, raft);
        context.Report(new Finding("figure-lowered", Level.Note,
            $"Figure and struts were lowered by {drop:0.0} mm, to {gapMm:0.0} mm above the {(raft.TriangleCount == 0 ? "platform" : "raft")}: {layersBefore - layersAfter} layers, {hours:0.0} h (on {context.Printers[0].Name}) are saved, and struts and raft take about {Math.Abs(grams):0.0} g {(grams < 0 ? "more" : "less")} (struts at the size of plain enlarging). Feet{(newRaft ? " and raft, which lies under all of them," : "")} are new where the old ones sank away{(lowered.Regrown.Count == 0 ? "" : $"; {lowered.Regrown.Count} strut{(lowered.Regrown.Count == 1 ? "" : "s")} of which too little was left to stand upright on a foot grew anew")}.",
            "Nothing to do; set freeHeightMm to 0 in the recipe to keep the gap as enlarged."));
        if (lowered.Blocked.Count > 0)
            context.Report(new Finding(FindingIds.ContactsFarApart, Level.Check,
                $"{lowered.Blocked.Count} contact{(lowered.Blocked.Count == 1 ? "" : "s")} lost the strut when the figure was lowered and found no other way ({lowered.Blocked[0].Why}).",
                "Ask for a larger gap (freeHeightMm) in the recipe, or put a strut under this place in the source.")
            { AtMm = lowered.Blocked[0].Spot.At });
        context.Measure("figure lowered by", drop, "mm");
        return lowered;
    }

    private static double VolumeOf(StrutGraph struts, Mesh raft) => struts.Shells.Sum(s => s.Shape.SignedVolumeMm3()) + raft.SignedVolumeMm3();
}
