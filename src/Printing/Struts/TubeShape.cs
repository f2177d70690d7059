using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>A straight piece of a tube: axis and corner radii at both ends, mm.</summary>
internal readonly record struct TubePiece(Vec3 A, Vec3 B, double RadiusA, double RadiusB, SectionPolygon Section)
{
    public double Length => A.DistanceTo(B);

    public double RadiusAt(double t) => RadiusA + (RadiusB - RadiusA) * Math.Clamp(t, 0, 1);

    public TubePiece Reversed() => new(B, A, RadiusB, RadiusA, Section);
}

/// <summary>A shell that is a tube of rings around an axis of one or several straight pieces.</summary>
/// <param name="Pieces">The pieces in order along the axis.</param>
/// <param name="Residual">Largest relative departure of a ring's corners from its radius: 0 for a drawn prism.</param>
/// <param name="Drawn">True if the mesh itself is a stack of rings (as generators write it), false if it was fitted.</param>
internal sealed record TubeShape(IReadOnlyList<TubePiece> Pieces, double Residual, bool Drawn)
{
    public Vec3 EndA => Pieces[0].A;

    public Vec3 EndB => Pieces[^1].B;

    public double RadiusA => Pieces[0].RadiusA;

    public double RadiusB => Pieces[^1].RadiusB;

    public double Length => Pieces.Sum(p => p.Length);

    public double LargestRadius => Pieces.Max(p => Math.Max(p.RadiusA, p.RadiusB));

    public TubeShape Reversed() => this with { Pieces = [.. Pieces.Reverse().Select(p => p.Reversed())] };

    /// <summary>Nearest point of the axis: distance, piece, parameter within it, radius there.</summary>
    public (double Distance, int Piece, double T, double Radius) Nearest(Vec3 p)
    {
        (double Distance, int Piece, double T, double Radius) best = (double.MaxValue, 0, 0, 0);
        for (var i = 0; i < Pieces.Count; i++)
        {
            var g = Pieces[i];
            var d = g.B - g.A;
            var l2 = d.LengthSquared;
            var t = l2 > 0 ? Math.Clamp((p - g.A).Dot(d) / l2, 0, 1) : 0;
            var distance = p.DistanceTo(g.A + d * t);
            if (distance - g.RadiusAt(t) < best.Distance - best.Radius) best = (distance, i, t, g.RadiusAt(t));
        }
        return best;
    }

    /// <summary>
    /// The piece in which (or at whose surface) a point lies, with a slack sideways and beyond its ends that goes with the
    /// thinner of the two; null if it lies outside all.
    /// </summary>
    public (int Piece, double T, double Radius)? Holds(Vec3 p, double radius, double touch)
    {
        (int Piece, double T, double Radius)? best = null;
        var bestShare = double.MaxValue;
        for (var i = 0; i < Pieces.Count; i++)
        {
            var g = Pieces[i];
            var d = g.B - g.A;
            var l = d.Length;
            if (!(l > 0)) continue;
            var s = (p - g.A).Dot(d) / l;
            var r = g.RadiusAt(s / l);
            var slack = 0.3 * Math.Min(radius, Math.Max(g.RadiusA, g.RadiusB)) + touch;
            var beyond = Math.Max(0, Math.Max(-s, s - l));
            var aside = p.DistanceTo(g.A + d * (s / l));
            if (beyond > slack || aside > 1.05 * r + slack) continue;
            var share = beyond + Math.Max(0, aside - r) + 1e-3 * aside;
            if (share >= bestShare) continue;
            bestShare = share;
            best = (i, Math.Clamp(s / l, 0, 1), r);
        }
        return best;
    }

    /// <summary>The outer box of all rings.</summary>
    public Box3 Box()
    {
        var box = Box3.Empty;
        foreach (var g in Pieces)
        {
            var a = new Vec3(g.RadiusA, g.RadiusA, g.RadiusA);
            var b = new Vec3(g.RadiusB, g.RadiusB, g.RadiusB);
            box = box.With(g.A - a).With(g.A + a).With(g.B - b).With(g.B + b);
        }
        return box;
    }
}

/// <summary>A shell whose corners lie on a sphere.</summary>
internal sealed record BallShape(Vec3 Centre, double Radius, double Residual);
