using Stiltwright.Geometry;
using Stiltwright.Geometry.Cutting;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Drainage;
using Stiltwright.Sdk;
using Columns = Stiltwright.Geometry.Layers.Columns;
using TrappedPool = Stiltwright.Geometry.Layers.TrappedPool;

namespace Stiltwright.Plugins.DrainHole;

/// <summary>Drills one piece: sites, sizes, holes, proof. Pools that the proof finds get a hole of their own and the piece is drilled afresh.</summary>
internal sealed class PieceDriller(Piece piece, Workpiece workpiece, DrainHoleSettings settings, IStageContext context, CancellationToken cancel)
{
    private const int ToolSides = 32;

    /// <summary>How often pools may ask for further holes.</summary>
    private const int Rounds = 1;

    /// <summary>A pool larger than this gets a hole of its own; smaller ones are better filled, mm3.</summary>
    private const double WorthAHoleMm3 = 1500;

    /// <summary>Pools smaller than this are not worth a request, mm3.</summary>
    private const double WorthFillingMm3 = 15;

    private readonly Mesh _outer = piece.OldHollows.TriangleCount == 0 ? piece.Outer : Mesh.Concat(piece.Outer.Lattice, [piece.Outer, piece.OldHollows]);

    // Size of holes and places for them by cavity: a pool that asks for one hole more changes neither.
    private readonly Dictionary<int, VentSize> _vents = [];
    private readonly Dictionary<(int Cavity, double DiameterMm), IReadOnlyList<HoleSite>> _places = [];

    /// <summary>The drilled piece, or a request to keep cavities solid that no hole reaches.</summary>
    public (Piece Piece, BackRequest? Request) Drill()
    {
        if (piece.Cavities.Count == 0) return (piece, null);
        var outerTree = TriangleTree.Build(_outer);
        var trees = piece.Cavities.Select(c => TriangleTree.Build(c.Surface)).ToArray();
        var plans = new List<HoleSite>[trees.Length];
        var pools = piece.Cavities.Select(c => LowPockets.Of(c.Surface)).ToArray();
        List<SolidPlace> undrainable = [];
        for (var i = 0; i < trees.Length; i++)
        {
            plans[i] = Plan(i, outerTree, trees[i], pools[i]);
            if (plans[i].Count >= 2) continue;
            if (context.TimesGoneBack < 2) undrainable.Add(Solid(i));
        }
        if (undrainable.Count > 0)
            return (piece, new BackRequest("shell", undrainable, piece.Letter, undrainable.Count == 1 ? "one cavity has no room for two drain holes and is to stay solid" : $"{undrainable.Count} cavities have no room for two drain holes and are to stay solid"));

        for (var round = 0; ; round++)
        {
            var drilled = WithHoles(plans);
            var pose = DrainPose.Find(
                PieceModels.FigureColumns(drilled, cancel), Columns.MaskOf(PieceModels.FigureGroup),
                [.. piece.Cavities.Select((c, i) => (c.Surface.SignedVolumeMm3(), (Func<Vec3, bool>)(p => trees[i].Winding(p) > 0)))],
                [.. plans.SelectMany(p => p).OrderBy(h => h.Purpose == "drain" ? 0 : 1).Select(h => h.Axis)], cancel);
            var again = false;
            for (var i = 0; i < trees.Length && round < Rounds; i++)
            {
                if (DrainPose.Harmless(pose.TrappedMm3[i], piece.Cavities[i].Surface.SignedVolumeMm3()) || pose.Pools[i].Count == 0) continue;
                if (pose.Pools[i][0].VolumeMm3 < WorthAHoleMm3) continue;
                pools[i].Add(pose.Pools[i][0].Deepest);
                var more = Plan(i, outerTree, trees[i], pools[i]);
                if (more.Count <= plans[i].Count) continue;
                plans[i] = more;
                again = true;
            }
            if (again) continue;
            var pockets = context.TimesGoneBack < 2 ? Pockets(pose) : [];
            return pockets.Count > 0
                ? (piece, new BackRequest("shell", pockets, piece.Letter, $"{pockets.Count} pocket{(pockets.Count == 1 ? "" : "s")} would keep resin in every draining pose and {(pockets.Count == 1 ? "is" : "are")} to stay solid"))
                : (Proven(drilled, pose, plans), null);
        }
    }

    private List<HoleSite> Plan(int i, TriangleTree outerTree, TriangleTree tree, List<Vec3> pools)
    {
        var cavity = piece.Cavities[i];
        if (!_vents.TryGetValue(i, out var vent))
            _vents[i] = vent = VentSize.For(cavity.Surface, cavity.WallAskedMm, settings.SmallestMm, settings.LargestMm, settings.Holes, context.Resin, context.Printers[0]);
        // The size that suction and drain time ask for first; where it finds no room, the smallest that is allowed.
        foreach (var diameter in vent.DiameterMm > settings.SmallestMm ? (double[])[vent.DiameterMm, settings.SmallestMm] : [settings.SmallestMm])
        {
            var request = Request(cavity, diameter, Math.Max(settings.Holes, vent.Holes), pools);
            if (!_places.TryGetValue((i, diameter), out var places)) _places[(i, diameter)] = places = DrainPlanner.Candidates(request, outerTree, tree, cancel);
            var sites = DrainPlanner.Choose(request, places);
            if (sites.Count >= 2 || diameter == settings.SmallestMm) return [.. sites];
        }
        return [];
    }

    private DrainRequest Request(Cavity cavity, double diameter, int holes, List<Vec3> pools)
    {
        var toPiece = workpiece.Placement!.Map.Then(piece.FromSet);
        return new DrainRequest
        {
            Outer = _outer,
            Cavity = cavity.Surface,
            DiameterMm = diameter,
            Holes = holes,
            WallMm = cavity.WallAskedMm,
            ClosedBelowMm = piece.Raft.TriangleCount > 0 ? piece.Raft.Bounds.Max.Z : 0,
            Contacts = [.. piece.Struts.Segments.Where(g => g.Contact is not null).Select(g => (g.Contact!.Value, g.RadiusTo))],
            KeepClear = [.. piece.KeepSolid.Where(k => k.Why is "peg" or "socket").Select(k => (k.From, k.To, k.RadiusMm))],
            NoHoles = [.. context.Slip.NoHoles.Select(b => Mapped(b, toPiece))],
            Front = context.Slip.Front is { } f ? toPiece.Direction(f).Unit() : null,
            AlsoDrain = pools,
        };
    }

    private Piece WithHoles(List<HoleSite>[] plans)
    {
        var holes = new List<(int Cavity, HoleSite Site, Mesh Tool)>();
        for (var i = 0; i < plans.Length; i++)
            // The polygon's flats give the diameter, its corners lie a little outside.
            foreach (var site in plans[i])
                holes.Add((i, site, Primitives.Prism(piece.Figure.Lattice, site.ToolFrom, site.ToolTo, site.DiameterMm / 2 / Math.Cos(Math.PI / ToolSides), ToolSides)));
        var figure = Drilled(holes, plans);
        return piece with
        {
            Figure = figure,
            Cavities = [.. piece.Cavities.Select((c, i) => c with { Holes = [.. plans[i].Select(s => new Sdk.DrainHole(s.Outer, s.Axis, s.DiameterMm, s.Purpose))] })],
        };
    }

    // All holes in one pass over the figure; where that is refused, one by one, so that one bad place costs one hole only.
    private Mesh Drilled(List<(int Cavity, HoleSite Site, Mesh Tool)> holes, List<HoleSite>[] plans)
    {
        cancel.ThrowIfCancellationRequested();
        try
        {
            return NullEdges.Collapse(SolidTool.Subtract(piece.Figure, [.. holes.Select(h => h.Tool)], 1).Result);
        }
        catch (CuttingException)
        {
            // One by one, so that the hole that cannot be drilled is named and the others are.
            var figure = piece.Figure;
            foreach (var (cavity, site, tool) in holes)
            {
                cancel.ThrowIfCancellationRequested();
                figure = One(figure, cavity, site, tool, plans);
            }
            return figure;
        }
    }

    private Mesh One(Mesh figure, int cavity, HoleSite site, Mesh tool, List<HoleSite>[] plans)
    {
        try
        {
            return NullEdges.Collapse(SolidTool.Subtract(figure, tool, (ulong)(100 * cavity + plans[cavity].IndexOf(site) + 1)).Result);
        }
        catch (CuttingException e)
        {
            plans[cavity].Remove(site); // a hole that is not there is not counted: the proof judges the others
            context.Report(new Finding("hole-refused", Level.Check, $"A hole of {Name(cavity)} could not be drilled at {site.Outer} mm. {e.Message}", "Drill it by hand, or mend the surface there and drop the file again.") { AtMm = site.Outer, Piece = Letter });
            return figure;
        }
    }

    private Piece Proven(Piece drilled, DrainPose pose, List<HoleSite>[] plans)
    {
        var cavities = new List<Cavity>();
        double slowest = 0;
        for (var i = 0; i < drilled.Cavities.Count; i++)
        {
            var cavity = drilled.Cavities[i];
            var volume = cavity.Surface.SignedVolumeMm3();
            var drains = !pose.Sealed[i] && plans[i].Count >= 2 && DrainPose.Harmless(pose.TrappedMm3[i], volume);
            cavities.Add(cavity with { Drains = drains, TrappedMm3 = pose.TrappedMm3[i] });
            if (plans[i].Count > 0)
                slowest = Math.Max(slowest, VentSize.DrainTimeS(cavity.Surface, cavity.WallAskedMm, plans[i][0].DiameterMm, plans[i].Count, context.Resin));
            if (plans[i].Count < 2) ReportSealed(i, plans[i].Count);
            if (!drains && plans[i].Count >= 2)
                context.Report(new Finding(FindingIds.ResinTrapped, Level.Check,
                    $"{Name(i)} keeps {pose.TrappedMm3[i]:0} mm3 of resin in the best draining pose that was tried, most of it at {(pose.Pools[i].Count > 0 ? pose.Pools[i][0].Deepest : cavity.Surface.Bounds.Center)} mm.",
                    "Turn the part about while draining and washing, or keep that pocket solid with a slip (keepSolid).")
                { AtMm = pose.Pools[i].Count > 0 ? pose.Pools[i][0].Deepest : null, Piece = Letter });
            if (plans[i].Count > 0 && plans[i][0].DiameterMm < 3.5)
                context.Measure($"drain holes of {Name(i)}", plans[i][0].DiameterMm, "mm (a bubble may stick below 3.5 mm: keep both holes open)");
        }
        if (slowest > 15 * 60)
            context.Report(new Finding("drain-slow", Level.Note, $"The slowest cavity drains for about {slowest / 60:0} minutes through its holes.", "Warm the room a little, or allow larger holes in the recipe (largestMm).") { Piece = Letter });
        return drilled with { Cavities = cavities, DrainDown = pose.Down, DrainS = slowest };
    }

    /// <summary>The pools of cavities that keep too much, as places to keep solid: a capsule from the deepest place towards the lip.</summary>
    private List<SolidPlace> Pockets(DrainPose pose)
    {
        var places = new List<SolidPlace>();
        for (var i = 0; i < piece.Cavities.Count; i++)
        {
            if (DrainPose.Harmless(pose.TrappedMm3[i], piece.Cavities[i].Surface.SignedVolumeMm3())) continue;
            foreach (var pool in pose.Pools[i].Where(p => p.VolumeMm3 > WorthFillingMm3))
            {
                // A cylinder of the pool's volume and depth; the ball at its end reaches the wall.
                var radius = Math.Sqrt(pool.VolumeMm3 / Math.PI / Math.Max(1, pool.DepthMm)) + piece.Cavities[i].WallAskedMm / 2;
                var up = pose.Down * -Math.Max(0, pool.DepthMm - radius);
                places.Add(new SolidPlace(pool.Deepest, pool.Deepest + up, radius, "a pocket that would keep resin"));
            }
        }
        return places;
    }

    private SolidPlace Solid(int i)
    {
        var box = piece.Cavities[i].Surface.Bounds;
        return new SolidPlace(box.Center, box.Center, box.Size.Length / 2, "no room for drain holes");
    }

    private void ReportSealed(int i, int found) => context.Report(new Finding(FindingIds.CavitySealed, Level.Stop,
        $"{Name(i)} has room for {(found == 0 ? "no hole" : "only one hole")} of {settings.SmallestMm:0.0} mm, and two are needed: liquid resin would stay inside.",
        "Keep this place solid with a slip (keepSolid).")
    { AtMm = piece.Cavities[i].Surface.Bounds.Center, Piece = Letter });

    private string? Letter => workpiece.Pieces.Count > 1 ? piece.Letter : null;

    private string Name(int i) => $"Cavity {i + 1}{(Letter is { } l ? $" of piece {l}" : "")} ({piece.Cavities[i].Surface.SignedVolumeMm3() / 1000:0.0} cm3)";

    private static Box3 Mapped(Box3 box, Affine map)
    {
        var mapped = Box3.Empty;
        for (var i = 0; i < 8; i++)
            mapped = mapped.With(map.Apply(new Vec3((i & 1) == 0 ? box.Min.X : box.Max.X, (i & 2) == 0 ? box.Min.Y : box.Max.Y, (i & 4) == 0 ? box.Min.Z : box.Max.Z)));
        return mapped;
    }
}
