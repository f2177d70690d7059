using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>New corner radii of one segment, mm.</summary>
/// <param name="Segment">Its id in the graph.</param>
/// <param name="RadiusFrom">New radius to the corners at the lower end.</param>
/// <param name="RadiusTo">New radius to the corners at the upper end.</param>
public sealed record SegmentSize(int Segment, double RadiusFrom, double RadiusTo);

/// <summary>A strut shell that could not be rebuilt and stays as it was.</summary>
/// <param name="Shell">Index in the graph's shells.</param>
/// <param name="Segments">The segments it draws.</param>
/// <param name="Why">The reason, in words.</param>
public sealed record ShellLeft(int Shell, IReadOnlyList<int> Segments, string Why);

/// <summary>The resized struts.</summary>
/// <param name="Graph">All struts: same segments and shells, same numbers, new radii and shapes.</param>
/// <param name="Left">Shells that stay as they were, because rebuilding them would have broken them.</param>
public sealed record ResizeResult(StrutGraph Graph, IReadOnlyList<ShellLeft> Left);

/// <summary>
/// Rebuilds strut shells at other radii about their own axes. Contacts stay at their places and penetrate as deep as
/// before, bottoms of feet stay flat, and what ends on a strut that became thinner is led on into it.
/// </summary>
public static partial class StrutShapes
{
    /// <summary>Share of the carrying strut's new radius within which an end must reach its axis.</summary>
    private const double ReachShare = 0.6;

    /// <summary>
    /// Resizes. Segments without an entry keep their radii; equal radii give back the very same shells. Where two pieces
    /// of one shell share a ring, the ring takes the larger of their two new sizes. A shell that would turn inside out,
    /// lose its volume or get a triangle of no area stays as it was and is named in the result.
    /// </summary>
    /// <exception cref="ArgumentException">A size names no segment, or a radius is not positive (0 is allowed for a point that was one).</exception>
    public static ResizeResult Resize(StrutGraph asEnlarged, IReadOnlyList<SegmentSize> sizes, Lattice lattice)
    {
        ArgumentNullException.ThrowIfNull(asEnlarged);
        ArgumentNullException.ThrowIfNull(sizes);
        ArgumentNullException.ThrowIfNull(lattice);
        var old = asEnlarged.Segments;
        var from = new double[old.Count];
        var to = new double[old.Count];
        for (var i = 0; i < old.Count; i++) (from[i], to[i]) = (old[i].RadiusFrom, old[i].RadiusTo);
        foreach (var s in sizes)
        {
            if ((uint)s.Segment >= (uint)old.Count) throw new ArgumentException($"Segment {s.Segment} is not one of {old.Count}.", nameof(sizes));
            if (!(s.RadiusFrom > 0 || old[s.Segment].RadiusFrom == 0 && s.RadiusFrom == 0) || !(s.RadiusTo > 0 || old[s.Segment].RadiusTo == 0 && s.RadiusTo == 0))
                throw new ArgumentException($"Segment {s.Segment}: radii {s.RadiusFrom} and {s.RadiusTo} mm are no radii.", nameof(sizes));
            (from[s.Segment], to[s.Segment]) = (s.RadiusFrom, s.RadiusTo);
        }
        MatchRings(asEnlarged, from, to);

        var start = new Vec3[old.Count];
        var end = new Vec3[old.Count];
        for (var i = 0; i < old.Count; i++) (start[i], end[i]) = (old[i].From, old[i].To);
        LeadOn(asEnlarged, from, to, start, end);

        var shells = new StrutShell[asEnlarged.Shells.Count];
        var left = new List<ShellLeft>();
        for (var h = 0; h < shells.Length; h++)
        {
            var shell = asEnlarged.Shells[h];
            if (shell.Segments.Count == 0) continue;
            var same = true;
            foreach (var i in shell.Segments)
                same &= from[i] == old[i].RadiusFrom && to[i] == old[i].RadiusTo && start[i] == old[i].From && end[i] == old[i].To;
            if (same)
            {
                shells[h] = shell;
                continue;
            }
            var shape = Rebuilt(asEnlarged, shell, from, to, start, end, lattice, out var why);
            if (shape is null)
            {
                left.Add(new ShellLeft(h, shell.Segments, why));
                shape = shell.Shape;
                foreach (var i in shell.Segments)
                {
                    (from[i], to[i]) = (old[i].RadiusFrom, old[i].RadiusTo);
                    (start[i], end[i]) = (old[i].From, old[i].To);
                }
            }
            shells[h] = shell with { Shape = shape };
        }
        // Joint balls last: they follow the sizes that were really made.
        for (var h = 0; h < shells.Length; h++)
        {
            var shell = asEnlarged.Shells[h];
            if (shell.Segments.Count > 0) continue;
            shells[h] = shell;
            var k = BallScale(asEnlarged, shell, from, to);
            if (k == 1) continue;
            var shape = ScaledAbout(shell.Shape, Middle(shell.Shape), k, lattice);
            if (Sound(shell.Shape, shape, out var why)) shells[h] = shell with { Shape = shape };
            else left.Add(new ShellLeft(h, shell.JointOf, why));
        }
        var segments = new StrutSegment[old.Count];
        for (var i = 0; i < segments.Length; i++)
            segments[i] = old[i] with { From = start[i], To = end[i], RadiusFrom = from[i], RadiusTo = to[i] };
        return new ResizeResult(new StrutGraph(segments, shells), left);
    }

    /// <summary>A ring shared by two pieces of one shell has one size: the larger.</summary>
    private static void MatchRings(StrutGraph graph, double[] from, double[] to)
    {
        foreach (var shell in graph.Shells)
            for (var k = 0; k + 1 < shell.Segments.Count; k++)
            {
                int a = shell.Segments[k], b = shell.Segments[k + 1];
                double ra = graph.Segments[a].RadiusTo, rb = graph.Segments[b].RadiusFrom;
                if (Math.Abs(ra - rb) > 0.04 * Math.Max(ra, rb) || !(ra > 0) || !(rb > 0)) continue; // a shoulder: two rings
                var scale = Math.Max(to[a] / ra, from[b] / rb);
                (to[a], from[b]) = (ra * scale, rb * scale);
            }
    }

    /// <summary>Ends that lay inside a strut's old radius but would miss its new one go on to its axis.</summary>
    private static void LeadOn(StrutGraph graph, double[] from, double[] to, Vec3[] start, Vec3[] end)
    {
        foreach (var s in graph.Segments)
        {
            if (s.FromHeldBy == EndHeldBy.Strut && Target(graph, s, s.From, s.To, s.FromJoins, from, to) is { } a) start[s.Id] = a;
            if (s.ToHeldBy == EndHeldBy.Strut && Target(graph, s, s.To, s.From, s.ToJoins, from, to) is { } b) end[s.Id] = b;
        }
    }

    private static Vec3? Target(StrutGraph graph, StrutSegment s, Vec3 at, Vec3 far, IReadOnlyList<int> joins, double[] from, double[] to)
    {
        var bestGap = double.MaxValue;
        Vec3? target = null;
        foreach (var j in joins)
        {
            var other = graph.Segments[j];
            if (other.Shell == s.Shell) return null; // pieces of one shell share their ring
            var d = other.To - other.From;
            var l2 = d.LengthSquared;
            if (!(l2 > 0)) continue;
            var t = Math.Clamp((at - other.From).Dot(d) / l2, 0, 1);
            var aside = at.DistanceTo(other.From + d * t);
            var was = other.RadiusFrom + (other.RadiusTo - other.RadiusFrom) * t;
            var now = from[j] + (to[j] - from[j]) * t;
            // Still well inside one of the struts it ends on: nothing to do.
            if (now >= was || aside <= ReachShare * now) return null;
            if (aside - now > bestGap) continue;
            bestGap = aside - now;
            // Along its own axis to where it comes nearest to the other's; else straight to the other's axis.
            var u = (at - far).Unit();
            var w = far - other.From;
            double b = u.Dot(d), dw = d.Dot(w), uw = u.Dot(w);
            var den = l2 - b * b;
            var onward = den > 1e-9 * l2 ? (b * dw - l2 * uw) / den : at.DistanceTo(far);
            var p = far + u * onward;
            var tp = Math.Clamp((p - other.From).Dot(d) / l2, 0, 1);
            var radius = from[j] + (to[j] - from[j]) * tp;
            var length = at.DistanceTo(far);
            target = onward >= length && onward <= length + 3 * was && p.DistanceTo(other.From + d * tp) <= ReachShare * radius
                ? p : other.From + d * t;
        }
        return target;
    }

    private static double BallScale(StrutGraph graph, StrutShell shell, double[] from, double[] to)
    {
        if (shell.JointOf.Count == 0) return 1;
        var centre = Middle(shell.Shape);
        // The largest radius that still meets in the joint, against the largest before.
        double was = 0, now = 0;
        foreach (var i in shell.JointOf)
        {
            var s = graph.Segments[i];
            var d = s.To - s.From;
            var t = d.LengthSquared > 0 ? Math.Clamp((centre - s.From).Dot(d) / d.LengthSquared, 0, 1) : 0;
            was = Math.Max(was, s.RadiusFrom + (s.RadiusTo - s.RadiusFrom) * t);
            now = Math.Max(now, from[i] + (to[i] - from[i]) * t);
        }
        return was > 0 ? now / was : 1;
    }

    private static Vec3 Middle(Mesh mesh)
    {
        var sum = Vec3.Zero;
        for (var v = 0; v < mesh.VertexCount; v++) sum += mesh.Vertex(v);
        return sum / Math.Max(1, mesh.VertexCount);
    }

    private static Mesh ScaledAbout(Mesh mesh, Vec3 centre, double k, Lattice lattice)
    {
        var xyz = new int[3 * mesh.VertexCount];
        for (var v = 0; v < mesh.VertexCount; v++) Put(xyz, v, centre + (mesh.Vertex(v) - centre) * k, lattice);
        return new Mesh(lattice, xyz, mesh.CornersArray);
    }

    private static void Put(int[] xyz, int v, Vec3 p, Lattice lattice)
    {
        xyz[3 * v] = lattice.Round(p.X);
        xyz[3 * v + 1] = lattice.Round(p.Y);
        xyz[3 * v + 2] = lattice.Round(p.Z);
    }

    /// <summary>No triangle lost its area or turned over, and the volume is positive.</summary>
    private static bool Sound(Mesh before, Mesh after, out string why)
    {
        for (var t = 0; t < after.TriangleCount; t++)
        {
            var was = before.AreaVector(t);
            var now = after.AreaVector(t);
            if (was.LengthSquared > 0 && now.Dot(was) <= 0)
            {
                why = $"a triangle at {after.Triangle(t).A} mm would {(now.LengthSquared > 0 ? "turn over" : "lose its area")}";
                return false;
            }
        }
        if (!(after.SignedVolumeMm3() > 0))
        {
            why = "it would have no volume";
            return false;
        }
        why = "";
        return true;
    }
}
