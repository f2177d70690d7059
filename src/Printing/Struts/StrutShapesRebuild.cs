using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <content>Moving the vertices of one strut shell.</content>
public static partial class StrutShapes
{
    /// <summary>Vertices this near to the lowest level of a shell that stands on raft or platform are its flat bottom, mm.</summary>
    private const double BottomMm = 0.01;

    private static Mesh? Rebuilt(
        StrutGraph graph, StrutShell shell, double[] from, double[] to, Vec3[] start, Vec3[] end, Lattice lattice, out string why)
    {
        var mesh = shell.Shape;
        var xyz = new int[3 * mesh.VertexCount];
        var first = graph.Segments[shell.Segments[0]];
        var bottom = first.FromHeldBy is EndHeldBy.Raft or EndHeldBy.Platform ? mesh.Bounds.Min.Z + BottomMm : double.NegativeInfinity;
        for (var v = 0; v < mesh.VertexCount; v++)
        {
            var p = mesh.Vertex(v);
            var (id, s, next) = Locate(graph, shell, p);
            var g = graph.Segments[id];
            var axis = g.To - g.From;
            Vec3 moved;
            if (next >= 0)
            {
                // A ring shared by two pieces lies in the plane between them: scaled about the joint it stays there.
                var joint = s > 0.5 ? g.To : g.From;
                var k = s > 0.5 ? Ratio(to[id], g.RadiusTo) : Ratio(from[id], g.RadiusFrom);
                var shifted = s > 0.5 ? end[id] : start[id];
                moved = shifted + (p - joint) * k;
            }
            else
            {
                var inside = Math.Clamp(s, 0, 1);
                var k = Ratio(from[id] + (to[id] - from[id]) * inside, g.RadiusFrom + (g.RadiusTo - g.RadiusFrom) * inside);
                if (p.Z <= bottom && id == first.Id && Math.Abs(axis.Z) > 1e-9)
                {
                    // On the flat bottom: in its own plane about the point where the axis goes through it.
                    var centre = g.From + axis * ((p.Z - g.From.Z) / axis.Z);
                    moved = (centre + (p - centre) * k) with { Z = p.Z };
                }
                else if (Bulges(g, p, s))
                {
                    // A ball at the end, wider or longer than the piece: scaled about its centre.
                    var centre = s > 0.5 ? g.To : g.From;
                    moved = (s > 0.5 ? end[id] : start[id]) + (p - centre) * k;
                }
                else
                {
                    var centre = g.From + axis * s;
                    moved = start[id] + (end[id] - start[id]) * s + (p - centre) * k;
                }
            }
            Put(xyz, v, moved, lattice);
        }
        var shape = new Mesh(lattice, xyz, mesh.CornersArray);
        return Sound(mesh, shape, out why) ? shape : null;
    }

    private static double Ratio(double now, double was) => was > 0 ? now / was : 1;

    private static bool Bulges(StrutSegment g, Vec3 p, double s)
    {
        var axis = g.To - g.From;
        var l = axis.Length;
        var centre = s > 0.5 ? g.To : g.From;
        var r = s > 0.5 ? g.RadiusTo : g.RadiusFrom;
        var aside = p.DistanceTo(g.From + axis * s);
        var beyond = Math.Max(-s, s - 1) * l;
        return p.DistanceTo(centre) < 3 * r && (beyond > 0.1 * r || aside > 1.25 * (g.RadiusFrom + (g.RadiusTo - g.RadiusFrom) * Math.Clamp(s, 0, 1)));
    }

    /// <summary>
    /// The segment a vertex belongs to, its place along the axis (not clamped), and the neighbouring segment of the same
    /// shell where it lies on the ring they share (else -1).
    /// </summary>
    private static (int Segment, double S, int Next) Locate(StrutGraph graph, StrutShell shell, Vec3 p)
    {
        var best = -1;
        double bestScore = double.MaxValue, bestS = 0;
        for (var k = 0; k < shell.Segments.Count; k++)
        {
            var (score, s) = Score(graph.Segments[shell.Segments[k]], p);
            if (score >= bestScore) continue;
            (best, bestScore, bestS) = (k, score, s);
        }
        var id = shell.Segments[best];
        var side = bestS > 0.5 ? best + 1 : best - 1;
        if (side < 0 || side >= shell.Segments.Count) return (id, bestS, -1);
        var g = graph.Segments[id];
        var other = graph.Segments[shell.Segments[side]];
        double mine = bestS > 0.5 ? g.RadiusTo : g.RadiusFrom, its = bestS > 0.5 ? other.RadiusFrom : other.RadiusTo;
        if (Math.Abs(mine - its) > 0.04 * Math.Max(mine, its)) return (id, bestS, -1);
        var joint = bestS > 0.5 ? g.To : g.From;
        // On the plane that halves the bend.
        var halving = (g.To - g.From).Unit() + (other.To - other.From).Unit();
        return Math.Abs((p - joint).Dot(halving.Unit())) <= 0.08 * mine && p.DistanceTo(joint) < 2.5 * mine
            ? (id, bestS, other.Id) : (id, bestS, -1);
    }

    private static (double Score, double S) Score(StrutSegment g, Vec3 p)
    {
        var axis = g.To - g.From;
        var l = axis.Length;
        if (!(l > 0)) return (double.MaxValue, 0);
        var s = (p - g.From).Dot(axis) / (l * l);
        var aside = p.DistanceTo(g.From + axis * s);
        var inside = Math.Clamp(s, 0, 1);
        var r = Math.Max(g.RadiusFrom + (g.RadiusTo - g.RadiusFrom) * inside, 1e-9);
        var beyond = Math.Max(0, Math.Max(-s, s - 1)) * l;
        // Corners lie on the radius or (cap middles) on the axis.
        return (Math.Min(Math.Abs(aside - r), aside + 0.02 * r) + beyond, s);
    }
}
