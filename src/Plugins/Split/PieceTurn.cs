using Stiltwright.Geometry;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Split;

/// <summary>Turns the one piece about z and centres it again.</summary>
internal static class PieceTurn
{
    public static (Placement Placement, Piece Piece) Turn(Placement placement, Piece piece, double radians)
    {
        if (radians == 0) return (placement, piece);
        // A quarter turn in plain numbers moves lattice points onto lattice points; sine and cosine of it would not quite.
        var turn = Math.Abs(radians - Math.PI / 2) < 1e-12 ? new Affine(0, -1, 0, 1, 0, 0, 0, 0, 1, Vec3.Zero) : Affine.Turn(Vec3.Up, radians);
        var box = PieceMeshes.All(piece).Where(m => m.TriangleCount > 0).Aggregate(Box3.Empty, (b, m) => Around(b, m, turn));
        var lattice = placement.Lattice;
        var shift = new Vec3(lattice.ToMm(lattice.Round(-box.Center.X)), lattice.ToMm(lattice.Round(-box.Center.Y)), 0);
        var map = turn.Then(Affine.Translation(shift));
        return (placement with { Map = placement.Map.Then(map) }, Moved(piece, map, lattice));
    }

    /// <summary>A piece with everything in it moved.</summary>
    public static Piece Moved(Piece p, Affine map, Lattice lattice)
    {
        var outer = p.Outer.Placed(map, lattice);
        var struts = p.Struts.Placed(map, lattice);
        return p with
        {
            Outer = outer,
            Figure = ReferenceEquals(p.Figure, p.Outer) ? outer : p.Figure.Placed(map, lattice),
            Untouched = p.Untouched.Placed(map, lattice),
            OldHollows = p.OldHollows.Placed(map, lattice),
            Raft = p.Raft.Placed(map, lattice),
            Struts = struts,
            StrutsAsEnlarged = ReferenceEquals(p.StrutsAsEnlarged, p.Struts) ? struts : p.StrutsAsEnlarged.Placed(map, lattice),
            KeepSolid = [.. p.KeepSolid.Select(k => k with { From = map.Apply(k.From), To = map.Apply(k.To) })],
            Seams = [.. p.Seams.Select(m => m with { CentreMm = map.Apply(m.CentreMm), Normal = map.Direction(m.Normal).Unit() })],
        };
    }

    private static Box3 Around(Box3 box, Mesh mesh, Affine map)
    {
        for (var v = 0; v < mesh.VertexCount; v++) box = box.With(map.Apply(mesh.Vertex(v)));
        return box;
    }
}
