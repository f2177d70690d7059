using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>Turns a row of rings into a tube of few straight pieces.</summary>
internal static class RingChain
{
    /// <summary>A gap shorter than this share of the ring's radius is a step (a shoulder), not a piece.</summary>
    private const double StepShare = 0.12;

    /// <summary>Rings that depart more than this from round or regular are no rings.</summary>
    private const double MostDeparture = 0.25;

    /// <summary>
    /// Builds the tube. <paramref name="bend"/> is the share of the radius by which ring centres may leave a straight
    /// piece, <paramref name="taper"/> the share by which radii may leave a linear profile. Null if the rings are none.
    /// </summary>
    public static TubeShape? Build(List<Ring> rings, double bend, double taper, bool drawn)
    {
        if (rings.Count < 2) return null;
        RoundEnds(rings);
        rings.Reverse();
        RoundEnds(rings);
        rings.Reverse();
        if (rings.Count < 2) return null;

        var n = rings.Count;
        var rough = new double[n];
        for (var i = 0; i < n; i++) rough[i] = MeanRadius(rings[i]);
        if (rough.Max() <= 0) return null;

        // Direction of every gap: between centres; over steps the neighbours' direction.
        var direction = new Vec3[n - 1];
        var step = new bool[n - 1];
        for (var i = 0; i + 1 < n; i++)
        {
            var d = rings[i + 1].Centre - rings[i].Centre;
            step[i] = d.Length < StepShare * Math.Max(rough[i], rough[i + 1]) && n > 2;
            direction[i] = d.Unit();
        }
        if (Array.TrueForAll(step, s => s)) Array.Clear(step);

        var pieces = new List<TubePiece>();
        double worst = 0, worstShare = 0, length = 0;
        for (var i = 0; i + 1 < n;)
        {
            if (step[i])
            {
                i++;
                continue;
            }
            var j = i + 1;
            while (j + 1 < n && !step[j] && Fits(i, j + 1)) j++;
            var axis = (rings[j].Centre - rings[i].Centre).Unit();
            var (ra, da) = rings[i].Around(axis);
            var (rb, db) = rings[j].Around(axis);
            var (widest, section) = WidestSection(i, j, axis);
            if (widest <= 0) return null;
            var l = rings[i].Centre.DistanceTo(rings[j].Centre);
            length += l;
            var departure = Math.Max(da, db);
            for (var k = i + 1; k < j; k++) departure = Math.Max(departure, rings[k].Around(axis).Departure);
            worstShare += departure * l;
            worst = Math.Max(worst, departure);
            pieces.Add(new TubePiece(rings[i].Centre, rings[j].Centre, ra, rb, section));
            i = j;
        }
        if (pieces.Count == 0 || worstShare / length > MostDeparture) return null;

        // Close the axis over steps: the wider side keeps its own end, the narrower one starts at the step.
        for (var k = 0; k + 1 < pieces.Count; k++)
        {
            if (pieces[k].B == pieces[k + 1].A) continue;
            if (pieces[k].RadiusB >= pieces[k + 1].RadiusA) pieces[k] = pieces[k] with { B = pieces[k + 1].A };
            else pieces[k + 1] = pieces[k + 1] with { A = pieces[k].B };
        }
        return new TubeShape(pieces, worstShare / length, drawn);

        bool Fits(int from, int to)
        {
            var a = rings[from].Centre;
            var d = rings[to].Centre - a;
            var l = d.Length;
            if (!(l > 0)) return false;
            var axis = d / l;
            double r0 = rings[from].Around(axis).Radius, r1 = rings[to].Around(axis).Radius;
            var size = Math.Max(r0, r1);
            for (var k = from + 1; k < to; k++)
            {
                var v = rings[k].Centre - a;
                var s = v.Dot(axis) / l;
                if (s <= 0 || s >= 1 || v.Cross(axis).Length > bend * size) return false;
                var r = rings[k].Around(axis).Radius;
                if (Math.Abs(r - (r0 + (r1 - r0) * s)) > taper * size) return false;
            }
            return true;
        }

        (double, SectionPolygon) WidestSection(int from, int to, Vec3 axis)
        {
            var k = rough[from] >= rough[to] ? from : to;
            return (rings[k].Around(axis).Radius, SectionPolygon.Of(rings[k].Corners, rings[k].Centre, axis));
        }
    }

    private static double MeanRadius(Ring ring)
    {
        double sum = 0;
        foreach (var c in ring.Corners) sum += c.DistanceTo(ring.Centre) / ring.Corners.Length;
        return sum;
    }

    /// <summary>
    /// A ball or half ball that ends the tube (last rings on a sphere) is folded into the piece before it: the tube then
    /// ends at the ball's centre with the radius of the neck, which is what carries load.
    /// </summary>
    private static void RoundEnds(List<Ring> rings)
    {
        const double OnSphere = 0.06;
        var n = rings.Count;
        if (n < 5) return;
        var last = rings[n - 1];
        double most = 0, run = 0;
        var widest = n - 1;
        for (var i = n - 1; i >= 0; i--)
        {
            if (i < n - 1) run += rings[i].Centre.DistanceTo(rings[i + 1].Centre);
            var r = MeanRadius(rings[i]);
            if (r > most * 1.001)
            {
                most = r;
                widest = i;
            }
            if (run > 1.5 * most + 1e-9) break;
        }
        if (widest >= n - 2 || !(most > 0) || MeanRadius(last) > 0.75 * most) return;
        var centre = rings[widest].Centre;
        for (var i = widest + 1; i < n; i++)
            if (Math.Abs(Sphere(i) / most - 1) > OnSphere) return;
        var first = widest;
        while (first > 0 && Math.Abs(Sphere(first - 1) / most - 1) <= OnSphere) first--;
        if (first == 0) return; // the whole shell is a ball
        var neck = first < widest ? rings[first] : rings[widest];
        // Half balls keep their outermost point as the end; full balls end at their centre.
        var end = first < widest ? centre : last.Centre;
        var moved = new Vec3[neck.Corners.Length];
        for (var i = 0; i < moved.Length; i++) moved[i] = neck.Corners[i] + (end - neck.Centre);
        rings.RemoveRange(first + 1, n - first - 1);
        rings.Add(new Ring(end, moved));

        double Sphere(int i)
        {
            var r = MeanRadius(rings[i]);
            var d = rings[i].Centre.DistanceTo(centre);
            return Math.Sqrt(r * r + d * d);
        }
    }
}
