namespace Stiltwright.Geometry.Fields;

/// <summary>
/// Decides at sample points whether a triangle may stand for a part of a level surface. With samples so dense that each part of the
/// triangle between them fits a ball of radius r, values of at least wall level + r^2 / (2 wall) at the samples keep the wall
/// everywhere on the triangle (the same lemma that proves the level surface itself).
/// </summary>
/// <param name="field">The field.</param>
/// <param name="least">Least value of a sample.</param>
/// <param name="most">Largest value of a sample.</param>
/// <param name="partBall">Radius of the ball that the part of a triangle between neighbouring samples must fit, mm.</param>
internal sealed class LevelJudge(BrickField field, double least, double most, double partBall)
{
    internal double Least => least;
    internal double Most => most;

    /// <summary>Whether a triangle with a unit normal and a longest side (squared, mm2) stays between the values and faces where the field falls.</summary>
    internal bool Holds(Vec3 p, Vec3 q, Vec3 r, Vec3 normal, double longest2)
    {
        // The middle first: it fails most often.
        if (!Fits((p + q + r) / 3, normal)) return false;
        // Every triangle fits a ball of its longest side / sqrt 3 (Jung 1901).
        var parts = Math.Max(1, (int)Math.Ceiling(Math.Sqrt(longest2 / 3) / partBall));
        if (parts == 1) return true;
        Vec3 u = (q - p) / parts, v = (r - p) / parts;
        for (var i = 0; i <= parts; i++)
            for (var j = 0; i + j <= parts; j++)
            {
                if (i == 0 && j == 0 || i == parts || j == parts) continue;
                if (!Fits(p + u * i + v * j, normal)) return false;
            }
        return true;
    }

    private bool Fits(Vec3 x, Vec3 normal)
    {
        var f = field.Sample(x, out var slope);
        return f >= least && f <= most && normal.Dot(slope) < -0.15;
    }

    /// <summary>Walks along the slope to where the field has a value, and rounds to the lattice; false where it does not get there.</summary>
    internal bool OnLevel(Vec3 from, double target, out Vec3 p)
    {
        p = from;
        for (var step = 0; step < 4; step++)
        {
            var f = field.Sample(p, out var slope) - target;
            if (Math.Abs(f) < 2e-4)
            {
                var lattice = field.Grid.Lattice;
                p = new Vec3(lattice.ToMm(lattice.Round(p.X)), lattice.ToMm(lattice.Round(p.Y)), lattice.ToMm(lattice.Round(p.Z)));
                return true;
            }
            var s2 = slope.LengthSquared;
            if (s2 < 0.1) return false;
            p -= slope * (f / s2);
            if ((p - from).LengthSquared > 4 * field.Grid.Cell * field.Grid.Cell) return false;
        }
        return false;
    }
}
