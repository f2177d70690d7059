using Stiltwright.Geometry;
using Stiltwright.Geometry.Cutting;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Growing;
using Stiltwright.Printing.Resin;
using Stiltwright.Printing.Splitting;
using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Split;

/// <summary>
/// Cuts the figure into pieces that fit one printer, one plane after the other, with pegs and sockets at each seam; then gives
/// each piece its own struts and makes them stand.
/// </summary>
internal sealed class Splitter(SplitSettings settings, IStageContext context, PrinterData printer, CancellationToken cancel)
{
    /// <summary>Room kept for pegs that stand out of a cut face, mm.</summary>
    private const double PegReserveMm = 10;

    /// <summary>Kept at the sides for pegs, and for struts that stand a little outside the figure, mm.</summary>
    private const double SideReserveMm = 16;

    /// <summary>A part whose lowest point lies this much higher than the whole figure's is lowered, mm.</summary>
    private const double LowerFromMm = 10;

    /// <summary>Pieces, each lying centred on its own platform; a single one where it would take too many.</summary>
    public (Placement Placement, List<Piece> Pieces) Split(Placement placement, Piece whole, PlatformFit figure)
    {
        var (place, start) = PieceTurn.Turn(placement, whole, figure.TurnForFewestPieces(printer, SideReserveMm));
        var room = new Vec3(printer.WidthMm - 2 * printer.MarginMm, printer.DepthMm - 2 * printer.MarginMm, printer.HeightMm);
        var roomCut = new Vec3(room.X - SideReserveMm, room.Y - SideReserveMm, room.Z - PegReserveMm);
        var gap = PieceMeshes.Figure(start).Min.Z;
        var done = new List<Draft>();
        var everywhere = double.PositiveInfinity;
        var open = new Stack<Draft>([new Draft(start, new Box3(new Vec3(-everywhere, -everywhere, -everywhere), new Vec3(everywhere, everywhere, everywhere)), [], [])]);
        while (open.Count > 0)
        {
            cancel.ThrowIfCancellationRequested();
            var draft = open.Pop();
            var size = PieceMeshes.Figure(draft.Piece).Size;
            var baseZ = BaseZ(draft, gap);
            if (size.X <= room.X && size.Y <= room.Y && PieceMeshes.Figure(draft.Piece).Max.Z - baseZ <= room.Z) { done.Add(draft); continue; }
            if (done.Count + open.Count + 2 > settings.MostPieces) return (place, [start with { Printer = printer.Name, Fits = false }]);
            var plane = CutPlanner.Next(draft.Piece.Outer, start.Struts, baseZ, roomCut, cancel);
            if (plane is null) return (place, [start with { Printer = printer.Name, Fits = false }]); // what is too large is open and cannot be cut
            var (below, above) = CutNear(draft, plane);
            open.Push(above);
            open.Push(below);
        }
        var pieces = Lay([.. done.Where(d => d.Piece.Outer.TriangleCount + d.Piece.Untouched.TriangleCount > 0)], start, gap, room, place.Lattice);
        // A single one was only moved: that belongs to the placement of the set.
        return pieces.Count == 1 ? (place with { Map = place.Map.Then(pieces[0].FromSet) }, [pieces[0] with { FromSet = Affine.Identity }]) : (place, pieces);
    }

    /// <summary>
    /// Height of the set that becomes a piece's platform: nothing is lowered where the figure comes as near to the platform as the
    /// whole did; a piece with a level cut below stands on its cut face; any other keeps the whole's gap for its struts.
    /// </summary>
    private static double BaseZ(Draft draft, double gap)
    {
        var low = PieceMeshes.Figure(draft.Piece).Min.Z;
        if (low <= draft.Cell.Min.Z + 0.5) return low;
        return low <= gap + LowerFromMm ? 0 : low - gap;
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
        var (cellBelow, cellAbove) = Halves(draft.Cell, plane.Axis, at);
        return (
            new Draft(Half(p, lower, hollows.Below, untouched.Below, solidBelow), cellBelow, [.. draft.Seams, new SeamDraft(seam, centre, n, area, pegs.Count, 0)], [.. draft.Pegs, .. pegs]),
            new Draft(Half(p, upper, hollows.Above, untouched.Above, solidAbove), cellAbove, [.. draft.Seams, new SeamDraft(seam, centre, -n, area, 0, pegs.Count)], draft.Pegs));

        static (Mesh Below, Mesh Above) Both(PlaneCutResult r) => (r.Below, r.Above);
    }

    private static (Box3 Below, Box3 Above) Halves(Box3 cell, int axis, double at)
    {
        Vec3 With(Vec3 v) => axis == 0 ? v with { X = at } : axis == 1 ? v with { Y = at } : v with { Z = at };
        return (cell with { Max = With(cell.Max) }, cell with { Min = With(cell.Min) });
    }

    private static Piece Half(Piece p, Mesh outer, Mesh hollows, Mesh untouched, List<SolidPlace> solid) => p with
    {
        Outer = outer,
        Figure = hollows.TriangleCount == 0 ? outer : Mesh.Concat(outer.Lattice, [outer, hollows]),
        OldHollows = hollows,
        Untouched = untouched,
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

    /// <summary>Gives letters from below upwards, lays each piece centred on its platform with its struts, and says what a person must look at.</summary>
    private List<Piece> Lay(List<Draft> drafts, Piece start, double gap, Vec3 room, Lattice lattice)
    {
        var ordered = drafts.OrderBy(d => PieceMeshes.Figure(d.Piece).Min.Z).ThenBy(d => PieceMeshes.Figure(d.Piece).Min.X).ThenBy(d => PieceMeshes.Figure(d.Piece).Min.Y).ToList();
        var owners = StrutShare.Owners(start.Struts, [.. ordered.Select(d => d.Cell)]);
        var sizes = GrowthSizes.Like(start.Struts.Segments);
        var pieces = new List<Piece>();
        for (var i = 0; i < ordered.Count; i++)
        {
            cancel.ThrowIfCancellationRequested();
            var d = ordered[i];
            var own = StrutSubset.Of(start.Struts, s => owners[s.Id] == i);
            var centre = Centre(d, own, room);
            var map = Affine.Translation(new Vec3(lattice.ToMm(lattice.Round(-centre.X)), lattice.ToMm(lattice.Round(-centre.Y)), lattice.ToMm(lattice.Round(-BaseZ(d, gap)))));
            var settled = Settle(d, own, start.Raft, map, room, sizes, lattice);
            var piece = PieceTurn.Moved(d.Piece with { Struts = StrutGraph.None, StrutsAsEnlarged = StrutGraph.None, Raft = Mesh.Empty(lattice) }, map, lattice) with
            {
                Letter = ordered.Count == 1 ? "" : Letters.Of(i),
                FromSet = map,
                Printer = printer.Name,
                Fits = true,
                Struts = settled.Struts,
                StrutsAsEnlarged = settled.Struts,
                Raft = settled.Raft,
            };
            piece = piece with
            {
                Seams = [.. d.Seams.Where(m => Touches(d, m)).Select(m => new Seam(
                    string.Join('+', Enumerable.Range(0, ordered.Count).Where(j => j != i && ordered[j].Seams.Any(o => o.Number == m.Number && o.Normal.Dot(m.Normal) < 0) && Touches(ordered[j], m)).Select(Letters.Of)),
                    map.Apply(m.CentreMm), m.Normal, m.AreaMm2, m.Pegs, m.Sockets))],
            };
            pieces.Add(piece);
            SeamFindings.Report(piece, settled, context);
        }
        return pieces;

        static bool Touches(Draft d, SeamDraft m)
        {
            var n = m.Normal;
            var at = n.Dot(m.CentreMm);
            var box = PieceMeshes.Figure(d.Piece);
            return Math.Abs((n.X + n.Y + n.Z > 0 ? n.Dot(box.Max) : n.Dot(box.Min)) - at) < 12;
        }
    }

    /// <summary>Middle of the room that a piece gets: all of the figure inside, and as much of its struts as can be.</summary>
    private static Vec3 Centre(Draft d, StrutGraph own, Vec3 room)
    {
        var figure = PieceMeshes.Figure(d.Piece);
        var all = own.Shells.Where(h => h.Shape.TriangleCount > 0).Aggregate(figure, (b, h) => b.With(h.Shape.Bounds));
        double Along(int a) => Math.Clamp(all.Center[a], figure.Max[a] - room[a] / 2, Math.Max(figure.Max[a] - room[a] / 2, figure.Min[a] + room[a] / 2));
        return new Vec3(Along(0), Along(1), 0);
    }

    private SettledStruts Settle(Draft d, StrutGraph own, Mesh raft, Affine map, Vec3 room, GrowthSizes? sizes, Lattice lattice)
    {
        var lowered = map.Shift.Z < 0;
        var struts = own.Placed(map, lattice);
        if (lowered)
        {
            // Braces that the new platform cuts hold nothing up.
            var cut = StrutShapes.CutBelow(struts, 0);
            struts = StrutSubset.Of(cut, s => s.Role != Role.Brace || s.FromHeldBy != EndHeldBy.Platform && s.ToHeldBy != EndHeldBy.Platform);
        }
        var back = -map.Shift;
        // Half a unit of the lattice at the rim: what was clamped to the room exactly must not fall out by rounding.
        var half = new Vec3(room.X / 2 + lattice.UnitMm, room.Y / 2 + lattice.UnitMm, 0);
        var figure = d.Piece.Untouched.TriangleCount == 0 ? d.Piece.Outer : Mesh.Concat(lattice, [d.Piece.Outer, d.Piece.Untouched]);
        return StrutSettling.Settle(
            figure.Placed(map, lattice), struts, lowered ? Mesh.Empty(lattice) : raft.Placed(map, lattice), lowered,
            [.. d.Pegs.Where(p => d.Cell.Grown(Peg.RootMm).Holds(p.At)).Select(p => p with { At = map.Apply(p.At) })],
            p => d.Cell.Holds(p + back), new Box3(-half, half with { Z = room.Z }), sizes, cancel);
    }

    private sealed record SeamDraft(string Number, Vec3 CentreMm, Vec3 Normal, double AreaMm2, int Pegs, int Sockets);

    /// <summary>A part of the figure while it is cut: its cell of space, its seams, the pegs that stand on it.</summary>
    private sealed record Draft(Piece Piece, Box3 Cell, IReadOnlyList<SeamDraft> Seams, IReadOnlyList<Peg> Pegs)
    {
        /// <summary>A name for the next seam that no other cut gives: the path of cuts that led here.</summary>
        public string NextSeam() => string.Concat(Seams.Select(s => s.Number + (s.Normal.X + s.Normal.Y + s.Normal.Z > 0 ? "<" : ">"))) + "|";
    }
}
