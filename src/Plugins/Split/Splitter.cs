using Stiltwright.Geometry;
using Stiltwright.Geometry.Cutting;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Resin;
using Stiltwright.Printing.Splitting;
using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Split;

/// <summary>Cuts the whole into pieces that fit one printer, one plane after the other, with pegs and sockets at each seam.</summary>
internal sealed class Splitter(SplitSettings settings, IStageContext context, PrinterData printer, CancellationToken cancel)
{
    /// <summary>Room kept for pegs that stand out of a cut face, mm.</summary>
    private const double PegReserveMm = 10;

    /// <summary>Kept for struts that stand out beyond an upright cut, mm.</summary>
    private const double StrutReserveMm = 34;

    /// <summary>Whole struts may stand out beyond an upright cut by this much, mm.</summary>
    private const double MostOverhangMm = 30;

    /// <summary>Raft left round a foot that stands beyond the cut, mm.</summary>
    private const double FootMarginMm = 2;

    /// <summary>Pieces, each lying centred on its own platform; a single one where it would take too many.</summary>
    public (Placement Placement, List<Piece> Pieces) Split(Placement placement, Piece whole, PlatformFit fit)
    {
        var (place, start) = PieceTurn.Turn(placement, whole, fit.TurnForFewestPieces(printer, PegReserveMm));
        var room = new Vec3(printer.WidthMm - 2 * printer.MarginMm, printer.DepthMm - 2 * printer.MarginMm, printer.HeightMm);
        var roomCut = new Vec3(room.X - StrutReserveMm, room.Y - StrutReserveMm, room.Z - PegReserveMm);
        var done = new List<Draft>();
        var open = new Stack<Draft>([new Draft(start, [])]);
        while (open.Count > 0)
        {
            cancel.ThrowIfCancellationRequested();
            var draft = open.Pop();
            var box = PieceMeshes.Box(draft.Piece);
            var low = draft.Piece.Raft.TriangleCount > 0 || box.Min.Z < 1 ? 0 : box.Min.Z;
            var lying = new Box3(new Vec3(box.Min.X, box.Min.Y, 0), new Vec3(box.Max.X, box.Max.Y, box.Max.Z - low));
            if (lying.Size.X <= room.X && lying.Size.Y <= room.Y && lying.Max.Z <= room.Z) { done.Add(draft); continue; }
            if (done.Count + open.Count + 2 > settings.MostPieces) return (place, [start with { Printer = printer.Name, Fits = false }]);
            // First with room for struts that stand out; a piece that fits but for that reserve is cut at the bare room.
            var plane = CutPlanner.Next(draft.Piece.Outer, draft.Piece.Struts, new Box3(new Vec3(box.Min.X, box.Min.Y, low), box.Max), new Vec3(roomCut.X, roomCut.Y, roomCut.Z + low), cancel)
                ?? CutPlanner.Next(draft.Piece.Outer, draft.Piece.Struts, new Box3(new Vec3(box.Min.X, box.Min.Y, low), box.Max), new Vec3(room.X, room.Y, room.Z + low), cancel)
                ?? throw new InvalidOperationException("A piece that does not fit found no cut; this cannot happen.");
            var (below, above) = CutNear(draft, plane);
            open.Push(above);
            open.Push(below);
        }
        return (place, Lay(done, place.Lattice));
    }

    /// <summary>Cuts at the plane, or up to a few tenths of a millimetre beside it where the section there could not be decided.</summary>
    private (Draft Below, Draft Above) CutNear(Draft draft, CutPlane plane)
    {
        for (var attempt = 0; ; attempt++)
        {
            try
            {
                return Cut(draft, plane with { OffsetMm = plane.OffsetMm + 0.0371 * attempt * ((attempt & 1) == 0 ? 1 : -1) });
            }
            catch (CuttingException) when (attempt < 8)
            {
                // Tried again beside it; the last attempt's own words go to the summary.
            }
        }
    }

    private (Draft Below, Draft Above) Cut(Draft draft, CutPlane plane)
    {
        var p = draft.Piece;
        var lattice = p.Outer.Lattice;
        var n = plane.Normal;
        // The plane lies between two lattice planes, so that no corner lies on it whatever the figure.
        var at = lattice.ToMm(lattice.Round(plane.OffsetMm)) + lattice.UnitMm / 2;
        var outer = PlaneCut.Cut(p.Outer, n, at);
        var untouched = SortOpen(p.Untouched, n, at);
        var hollows = p.OldHollows.TriangleCount == 0 ? (Below: p.OldHollows, Above: p.OldHollows) : Both(PlaneCut.Cut(p.OldHollows, n, at));
        var level = plane.Axis == 2;
        var (strutsBelow, strutsAbove, _) = level ? StrutCut.Split(p.Struts, n, at, EndHeldBy.Platform) : StrutCut.Share(p.Struts, n, at);
        // Whole struts are better, but where they reach so far beyond the cut that the half is hardly smaller, the plane goes through them too.
        if (!level && (Reach(strutsBelow, n) - at > MostOverhangMm || at + Reach(strutsAbove, -n) > MostOverhangMm))
        {
            (strutsBelow, strutsAbove, _) = StrutCut.Split(p.Struts, n, at, EndHeldBy.Nothing);
            level = true; // the raft is cut at the plane as well
        }
        var raft = level
            ? p.Raft.TriangleCount == 0 ? (Below: p.Raft, Above: p.Raft) : Both(PlaneCut.Cut(p.Raft, n, at))
            : (Below: RaftUnder(p.Raft, strutsBelow, n, at), Above: RaftUnder(p.Raft, strutsAbove, -n, -at));

        var section = SectionBox(outer.Below, n, at);
        IReadOnlyList<Peg> pegs = section.IsEmpty ? [] : PegPlanner.Place(TriangleTree.Build(p.Outer), section, n, at, settings.SocketWallMm, settings.ClearanceMm, cancel);
        var lower = outer.Below;
        var upper = outer.Above;
        List<SolidPlace> solidBelow = [.. p.KeepSolid], solidAbove = [.. p.KeepSolid];
        foreach (var peg in pegs)
        {
            lower = Mesh.Concat(lattice, [lower, PegShape.Peg(peg, lattice)]);
            upper = SolidTool.Subtract(upper, PegShape.Socket(peg, settings.ClearanceMm, lattice), (ulong)solidAbove.Count + 7).Result;
            solidBelow.Add(new SolidPlace(peg.At - peg.Axis * Peg.RootMm, peg.At + peg.Axis * peg.LengthMm, peg.RadiusMm + 0.5, "peg"));
            solidAbove.Add(new SolidPlace(peg.At, peg.At + peg.Axis * peg.LengthMm, peg.RadiusMm + settings.SocketWallMm, "socket"));
        }
        var area = plane.SectionMm2;
        var centre = SectionArea.Of(p.Outer, n, at).Centroid;
        var seam = draft.NextSeam();
        return (
            new Draft(Half(p, lower, hollows.Below, untouched.Below, raft.Below, strutsBelow, solidBelow), [.. draft.Seams, new SeamDraft(seam, centre, n, area, pegs.Count, 0)]),
            new Draft(Half(p, upper, hollows.Above, untouched.Above, raft.Above, strutsAbove, solidAbove), [.. draft.Seams, new SeamDraft(seam, centre, -n, area, 0, pegs.Count)]));

        static (Mesh Below, Mesh Above) Both(PlaneCutResult r) => (r.Below, r.Above);
    }

    /// <summary>How far struts reach along a direction, mm.</summary>
    private static double Reach(StrutGraph struts, Vec3 n)
    {
        var reach = double.NegativeInfinity;
        foreach (var shell in struts.Shells)
        {
            var box = shell.Shape.Bounds;
            if (!box.IsEmpty) reach = Math.Max(reach, Math.Max(n.Dot(box.Min), n.Dot(box.Max)));
        }
        return reach;
    }

    /// <summary>The raft on one side of an upright plane, with what lies under feet that reach beyond the plane.</summary>
    private static Mesh RaftUnder(Mesh raft, StrutGraph struts, Vec3 n, double at)
    {
        if (raft.TriangleCount == 0) return raft;
        var to = at;
        foreach (var s in struts.Segments)
            if (s.FromHeldBy == EndHeldBy.Raft) to = Math.Max(to, n.Dot(s.From) + Math.Max(s.RadiusFrom, s.RadiusTo) + FootMarginMm);
        var lattice = raft.Lattice;
        return PlaneCut.Cut(raft, n, lattice.ToMm(lattice.Round(to)) + lattice.UnitMm / 2).Below;
    }

    private static Piece Half(Piece p, Mesh outer, Mesh hollows, Mesh untouched, Mesh raft, StrutGraph struts, List<SolidPlace> solid) => p with
    {
        Outer = outer,
        Figure = hollows.TriangleCount == 0 ? outer : Mesh.Concat(outer.Lattice, [outer, hollows]),
        OldHollows = hollows,
        Untouched = untouched,
        Raft = raft,
        Struts = struts,
        StrutsAsEnlarged = struts,
        KeepSolid = solid,
    };

    /// <summary>Open shells cannot be cut and closed: each triangle goes to the side of its middle.</summary>
    private static (Mesh Below, Mesh Above) SortOpen(Mesh mesh, Vec3 n, double at)
    {
        List<int> below = [], above = [];
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            (n.Dot(a + b + c) / 3 < at ? below : above).Add(t);
        }
        return (mesh.Part(below.ToArray()), mesh.Part(above.ToArray()));
    }

    private static Box3 SectionBox(Mesh below, Vec3 n, double at)
    {
        var box = Box3.Empty;
        for (var v = 0; v < below.VertexCount; v++)
        {
            var p = below.Vertex(v);
            if (Math.Abs(n.Dot(p) - at) < 2 * below.Lattice.UnitMm) box = box.With(p);
        }
        return box;
    }

    /// <summary>Gives letters from below upwards, lays each piece centred on its platform, and says what a person must look at.</summary>
    private List<Piece> Lay(List<Draft> drafts, Lattice lattice)
    {
        var ordered = drafts.Where(d => d.Piece.Outer.TriangleCount + d.Piece.Untouched.TriangleCount + d.Piece.Struts.Shells.Count + d.Piece.Raft.TriangleCount > 0)
            .OrderBy(d => PieceMeshes.Box(d.Piece).Min.Z).ThenBy(d => PieceMeshes.Box(d.Piece).Min.X).ThenBy(d => PieceMeshes.Box(d.Piece).Min.Y).ToList();
        var pieces = new List<Piece>();
        for (var i = 0; i < ordered.Count; i++)
        {
            var d = ordered[i];
            var box = PieceMeshes.Box(d.Piece);
            var shift = new Vec3(lattice.ToMm(lattice.Round(-box.Center.X)), lattice.ToMm(lattice.Round(-box.Center.Y)), lattice.ToMm(lattice.Round(-box.Min.Z)));
            var map = Affine.Translation(shift);
            var piece = PieceTurn.Moved(d.Piece, map, lattice) with { Letter = Letters.Of(i), FromSet = map, Printer = printer.Name, Fits = true };
            piece = piece with
            {
                Seams = [.. d.Seams.Where(m => Touches(d, m)).Select(m => new Seam(
                    string.Join('+', Enumerable.Range(0, ordered.Count).Where(j => j != i && ordered[j].Seams.Any(o => o.Number == m.Number && o.Normal.Dot(m.Normal) < 0) && Touches(ordered[j], m)).Select(Letters.Of)),
                    map.Apply(m.CentreMm), m.Normal, m.AreaMm2, m.Pegs, m.Sockets))],
            };
            pieces.Add(piece);
            SeamFindings.Report(piece, context);
        }
        return pieces;

        static bool Touches(Draft d, SeamDraft m)
        {
            var n = m.Normal;
            var at = n.Dot(m.CentreMm);
            var box = PieceMeshes.Box(d.Piece);
            return Math.Abs((n.X + n.Y + n.Z > 0 ? n.Dot(box.Max) : n.Dot(box.Min)) - at) < 12;
        }
    }

    private sealed record SeamDraft(string Number, Vec3 CentreMm, Vec3 Normal, double AreaMm2, int Pegs, int Sockets);

    private sealed record Draft(Piece Piece, IReadOnlyList<SeamDraft> Seams)
    {
        /// <summary>A name for the next seam that no other cut gives: the path of cuts that led here.</summary>
        public string NextSeam() => string.Concat(Seams.Select(s => s.Number + (s.Normal.X + s.Normal.Y + s.Normal.Z > 0 ? "<" : ">"))) + "|";
    }
}
