using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>
/// Finds prisms and frusta over regular polygons by their sides: three neighbouring planes give axis, radius and taper, and all
/// other sides must agree with them, in angle, in distance and in width.
/// </summary>
internal sealed class PrismFinder
{
    private const int MostSides = 48;
    private const int MostNeighbours = 20;
    private const double LeastSideMm2 = 5e-4;

    /// <summary>A three-sided frustum tapers less than this (sine of the sides' lean); the corner of a box has 0.58.</summary>
    private const double MostLeanOfThree = 0.3;

    /// <summary>Triangles of a side that are enough for a fit.</summary>
    private const int MostOfSide = 12;

    /// <summary>Angles between neighbouring sides differ by no more than this where coordinates were rounded.</summary>
    private const double RoughTurn = 0.4;

    /// <summary>Share of the sides that must be visible.</summary>
    private const double LeastCoverage = 0.7;

    private readonly Mesh _mesh;
    private readonly FlatRegions _flat;
    private readonly double _widest;
    private readonly double _step;
    private readonly Dictionary<int, (int[] Chain, DrawnPrism? Fit)> _rough = [];
    private readonly List<(int Other, double Length)>[] _neighbours;

    private PrismFinder(Mesh mesh, int[] twin, FlatRegions flat, double widest, double step)
    {
        _mesh = mesh;
        _flat = flat;
        _widest = widest;
        _step = step;
        _neighbours = Neighbours(twin);
    }

    /// <param name="mesh">The surface.</param>
    /// <param name="twin">Its half-edge pairs.</param>
    /// <param name="flat">Its flat regions.</param>
    /// <param name="widest">Greatest inscribed radius looked for, mm.</param>
    /// <param name="step">Step to which coordinates were rounded, mm; 0 for none.</param>
    /// <param name="shellOf">Shell of a triangle: a prism is one shell's.</param>
    /// <param name="ct">Cancels.</param>
    public static List<DrawnPrism> Find(Mesh mesh, int[] twin, FlatRegions flat, double widest, double step, Func<int, int> shellOf, CancellationToken ct)
    {
        var finder = new PrismFinder(mesh, twin, flat, widest, step);
        var taken = new bool[flat.Regions.Count];
        var order = Enumerable.Range(0, flat.Regions.Count).Where(r => flat.Regions[r].Area >= LeastSideMm2).OrderByDescending(r => flat.Regions[r].Area).ThenBy(r => r).ToArray();
        var found = new List<DrawnPrism>();
        // Many sides prove more than few: the corner of any box could be the end of a three-sided frustum.
        foreach (var (least, most) in new[] { (5, MostSides), (4, 4), (3, 3) })
            foreach (var r in order)
            {
                if (taken[r]) continue;
                ct.ThrowIfCancellationRequested();
                if (finder.From(r, taken, least, most) is { } prism) found.Add(prism);
            }
        return Merged(found, shellOf);
    }

    private DrawnPrism? From(int p, bool[] taken, int least, int most)
    {
        var list = _neighbours[p];
        var count = Math.Min(list.Count, MostNeighbours);
        if (count < 2) return null;
        var regions = _flat.Regions;
        DrawnPrism? best = null;
        List<int>? bestSides = null;
        for (var i = 0; i < count; i++)
        {
            var q = list[i].Other;
            if (taken[q]) continue;
            var cosine = regions[p].Normal.Dot(regions[q].Normal);
            if (cosine is > 0.999 or < -0.55) continue;
            for (var k = i + 1; k < count; k++)
            {
                var r = list[k].Other;
                if (taken[r] || Math.Abs(regions[p].Normal.Dot(regions[r].Normal) - cosine) > 0.01 + 0.05 * (1 - cosine)) continue;
                if (Fit(p, q, r) is not { } prism || prism.Sides < least || prism.Sides > most) continue;
                var sides = Sides(prism, p, q, r, taken);
                if (sides is null || best is not null && prism.SeenMm2 <= best.SeenMm2) continue;
                best = prism;
                bestSides = sides;
            }
        }
        if (best is null) return null;
        foreach (var s in bestSides!)
        {
            taken[s] = true;
            best.Seeds.AddRange(regions[s].Triangles);
        }
        return best;
    }

    private DrawnPrism? Fit(int p, int q, int r)
    {
        FlatRegion a = _flat.Regions[p], b = _flat.Regions[q], c = _flat.Regions[r];
        var across = (b.Normal - a.Normal).Cross(c.Normal - a.Normal);
        if (across.Length < 1e-3) return null;
        var axis = across.Unit();
        if (axis.Z < -1e-9 || Math.Abs(axis.Z) <= 1e-9 && (axis.X < -1e-9 || Math.Abs(axis.X) <= 1e-9 && axis.Y < 0)) axis = -axis;
        var sine = axis.Dot(a.Normal);
        if (Math.Abs(sine) > 0.93) return null;
        var cosine = Math.Sqrt(1 - sine * sine);
        Vec3 ea = (a.Normal - axis * sine) / cosine, eb = (b.Normal - axis * sine) / cosine, ec = (c.Normal - axis * sine) / cosine;
        var angle = Math.Acos(Math.Clamp(ea.Dot(eb), -1, 1));
        var other = Math.Acos(Math.Clamp(ea.Dot(ec), -1, 1));
        if (_step > 0) return FitRough(p, axis, sine, angle, other, Math.Acos(Math.Clamp(eb.Dot(ec), -1, 1)));
        var sides = (int)Math.Round(2 * Math.PI / angle);
        if (sides is < 3 or > MostSides) return null;
        var step = 2 * Math.PI / sides;
        if (Math.Abs(angle - step) > 0.04 * step || Math.Abs(other - step) > 0.04 * step) return null;
        if (sides > 3 && eb.Dot(ec) > Math.Cos(1.8 * step)) return null; // the same side twice
        // The axis: e.x + inscribed = offset / cosine for each plane, with places counted from the region's middle.
        var (m0, _, _) = _mesh.Triangle(a.Triangles[0]);
        double da = (a.Offset - a.Normal.Dot(m0)) / cosine, db = (b.Offset - b.Normal.Dot(m0)) / cosine, dc = (c.Offset - c.Normal.Dot(m0)) / cosine;
        // Two differences give the point in the plane of u, v.
        var u = ea;
        var v = axis.Cross(u);
        double ux = (eb - ea).Dot(u), uy = (eb - ea).Dot(v), vx = (ec - ea).Dot(u), vy = (ec - ea).Dot(v);
        var det = ux * vy - uy * vx;
        if (Math.Abs(det) < 1e-9) return null;
        double e = db - da, f = dc - da;
        double x = (e * vy - uy * f) / det, y = (ux * f - vx * e) / det;
        var inscribed = da - x;
        if (sides == 3 && Math.Abs(sine) > MostLeanOfThree) return null;
        if (!(inscribed > 0.01) || inscribed > _widest) return null;
        return new DrawnPrism(m0 + u * x + v * y, axis, ea, sides, inscribed, -sine / cosine);
    }

    /// <summary>
    /// The same for rounded coordinates. Long sides still tell the axis, but narrow ones not the angle between them nor the radius: these
    /// come from all sides that hang together with one and lean alike.
    /// </summary>
    private DrawnPrism? FitRough(int p, Vec3 axis, double sine, double angle, double other, double between)
    {
        if (Math.Abs(angle - other) > RoughTurn * Math.Max(angle, other) || between < 1.5 * Math.Min(angle, 2 * Math.PI / 3.1)) return null;
        var regions = _flat.Regions;
        var u = (regions[p].Normal - axis * sine).Unit();
        var v = axis.Cross(u);
        var turn = (angle + other) / 2;
        var chain = new List<(int Region, double Angle)> { (p, 0) };
        var seen = new HashSet<int> { p };
        for (var i = 0; i < chain.Count && chain.Count < 4 * MostSides; i++)
            foreach (var (next, _) in _neighbours[chain[i].Region])
            {
                var n = regions[next].Normal;
                if (seen.Contains(next) || Math.Abs(n.Dot(axis) - sine) > 0.015 + 0.05 * Math.Abs(sine)) continue;
                var at = Math.Atan2(n.Dot(v), n.Dot(u));
                var step = Math.Abs(Math.IEEERemainder(at - chain[i].Angle, 2 * Math.PI));
                if (step > (1 + RoughTurn) * turn || step < (1 - RoughTurn) * turn && step > RoughTurn * turn) continue;
                seen.Add(next);
                chain.Add((next, at));
            }
        if (chain.Count < 3) return null;
        // The same sides are met from many pairs of neighbours.
        int[] key = [.. chain.Select(c => c.Region).Order()];
        if (_rough.TryGetValue(p, out var last) && last.Chain.AsSpan().SequenceEqual(key)) return last.Fit?.Anew();
        var about = 2 * Math.PI / turn;
        double bestOff = double.MaxValue, phase = 0;
        var sides = 0;
        for (var n = Math.Max(3, (int)(about * 0.8)); n <= Math.Min(MostSides, about * 1.2 + 1); n++)
        {
            // Phase and departure of the sides' angles for so many sides (the mean of angles on a circle).
            double sx = 0, sy = 0, weight = 0;
            foreach (var (r, at) in chain)
            {
                sx += regions[r].Area * Math.Cos(n * at);
                sy += regions[r].Area * Math.Sin(n * at);
                weight += regions[r].Area;
            }
            var off = (1 - Math.Sqrt(sx * sx + sy * sy) / weight) / (n * n);
            if (off >= bestOff) continue;
            (bestOff, phase, sides) = (off, Math.Atan2(sy, sx) / n, n);
        }
        var points = new List<(Vec3, int)>();
        foreach (var (r, at) in chain)
        {
            var side = (int)Math.Round((at - phase) * sides / (2 * Math.PI));
            var triangles = regions[r].Triangles;
            var stride = Math.Max(1, triangles.Length / MostOfSide);
            for (var i = 0; i < triangles.Length; i += stride)
            {
                var (a, b, c) = _mesh.Triangle(triangles[i]);
                points.Add((a, side));
                points.Add((b, side));
                points.Add((c, side));
            }
        }
        var fit = sides < 3 ? null : PrismFit.Fit(points, points[0].Item1, axis, u * Math.Cos(phase) + v * Math.Sin(phase), sides);
        if (fit is not null && (!(fit.Inscribed > 0.01) || fit.Inscribed > _widest || sides == 3 && Math.Abs(sine) > MostLeanOfThree)) fit = null;
        // Ends and sides are set on each copy by whoever asked.
        _rough[p] = (key, fit);
        return fit?.Anew();
    }

    /// <summary>All sides that agree with a fit, and its ends; null where it is none after all.</summary>
    private List<int>? Sides(DrawnPrism prism, int p, int q, int r, bool[] taken)
    {
        if (!Agrees(prism, p) || !Agrees(prism, q) || !Agrees(prism, r)) return null;
        var sides = new List<int> { p, q, r };
        for (var i = 0; i < sides.Count; i++)
            foreach (var (other, _) in _neighbours[sides[i]])
                if (!taken[other] && !sides.Contains(other) && Agrees(prism, other)) sides.Add(other);
        var seen = new bool[prism.Sides];
        double low = double.MaxValue, high = double.MinValue, area = 0;
        foreach (var s in sides)
        {
            var region = _flat.Regions[s];
            area += region.Area;
            seen[prism.Across(prism.Origin + region.Normal).Side] = true;
            foreach (var t in region.Triangles)
            {
                var (a, b, c) = _mesh.Triangle(t);
                double sa = prism.Along(a), sb = prism.Along(b), sc = prism.Along(c);
                low = Math.Min(low, Math.Min(sa, Math.Min(sb, sc)));
                high = Math.Max(high, Math.Max(sa, Math.Max(sb, sc)));
            }
        }
        var covered = seen.Count(x => x);
        if (covered < 3 || covered < LeastCoverage * prism.Sides) return null;
        prism.Low = low;
        prism.High = high;
        prism.SeenMm2 = area;
        if (prism.Size > 2 * _widest) return null;
        return sides;
    }

    /// <summary>The region is one of its sides: same lean, same distance, within the side's width.</summary>
    private bool Agrees(DrawnPrism prism, int r)
    {
        var region = _flat.Regions[r];
        var cosine = 1 / Math.Sqrt(1 + prism.Growth * prism.Growth);
        var sine = -prism.Growth * cosine;
        if (Math.Abs(region.Normal.Dot(prism.Axis) - sine) > 0.015) return false;
        var slack = 2e-3 + 0.01 * prism.Inscribed + 2 * _step;
        foreach (var t in region.Triangles)
        {
            var (a, b, c) = _mesh.Triangle(t);
            if (!On(a) || !On(b) || !On(c)) return false;
        }
        return true;

        bool On(Vec3 x)
        {
            var s = prism.Along(x);
            if (prism.Inscribed + prism.Growth * s < -slack) return false;
            var (outside, _) = prism.Across(x);
            if (Math.Abs(outside) > slack) return false;
            // Within the side's width: the corner radius bounds the distance from the axis.
            return (x - prism.At(s)).Length <= prism.CornerRadius(s) + slack && region.Normal.Dot(x - prism.At(s)) > 0;
        }
    }

    /// <summary>Convex neighbours of each region, the longest shared border first.</summary>
    private List<(int Other, double Length)>[] Neighbours(int[] twin)
    {
        var shared = new Dictionary<(int, int), double>();
        var corners = _mesh.CornersArray;
        for (var h = 0; h < twin.Length; h++)
        {
            var g = twin[h];
            if (g < 0) continue;
            int p = _flat.OfTriangle[h / 3], q = _flat.OfTriangle[g / 3];
            if (p < 0 || q < 0 || p == q) continue;
            if (_flat.Regions[p].Area < LeastSideMm2 || _flat.Regions[q].Area < LeastSideMm2) continue;
            var a = _mesh.Vertex(corners[h]);
            var far = _mesh.Vertex(corners[EdgePairing.Next(EdgePairing.Next(g))]);
            if (_flat.Regions[p].Normal.Dot(far - a) > 0) continue; // concave
            shared.TryGetValue((p, q), out var l);
            shared[(p, q)] = l + a.DistanceTo(_mesh.Vertex(corners[EdgePairing.Next(h)]));
        }
        var result = new List<(int, double)>[_flat.Regions.Count];
        for (var i = 0; i < result.Length; i++) result[i] = [];
        foreach (var ((p, q), l) in shared) result[p].Add((q, l));
        foreach (var list in result) list.Sort((x, y) => x.Item2 != y.Item2 ? y.Item2.CompareTo(x.Item2) : x.Item1.CompareTo(y.Item1));
        return result;
    }

    /// <summary>Prisms that are parts of one (another strut runs through it) become one again.</summary>
    private static List<DrawnPrism> Merged(List<DrawnPrism> found, Func<int, int> shellOf)
    {
        var result = new List<DrawnPrism>();
        foreach (var p in found)
        {
            var into = result.Find(o => shellOf(o.Seeds[0]) == shellOf(p.Seeds[0]) && Same(o, p));
            if (into is null)
            {
                result.Add(p);
                continue;
            }
            double a = into.Along(p.At(p.Low)), b = into.Along(p.At(p.High));
            into.Low = Math.Min(into.Low, Math.Min(a, b));
            into.High = Math.Max(into.High, Math.Max(a, b));
            into.SeenMm2 += p.SeenMm2;
            into.Seeds.AddRange(p.Seeds);
        }
        return result;

        static bool Same(DrawnPrism a, DrawnPrism b)
        {
            if (a.Sides != b.Sides || Math.Abs(a.Axis.Dot(b.Axis)) < 0.9995) return false;
            double low = a.Along(b.At(b.Low)), high = a.Along(b.At(b.High));
            if (low > high) (low, high) = (high, low);
            if (low - a.High > 4 * a.Size || a.Low - high > 4 * a.Size) return false;
            foreach (var s in new[] { b.Low, b.High })
            {
                var p = b.At(s);
                var t = a.Along(p);
                if (p.DistanceTo(a.At(t)) > 0.03 * b.InscribedAt(s) + 2e-3) return false;
                if (Math.Abs(a.InscribedAt(t) - b.InscribedAt(s)) > 0.03 * b.InscribedAt(s) + 2e-3) return false;
            }
            return true;
        }
    }
}
