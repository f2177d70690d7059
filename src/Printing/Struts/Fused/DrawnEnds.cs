using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>
/// How far each prism reaches: what is visible of it, and a little more where its end is buried in what it joins, so that the
/// parts overlap as if they had been drawn apart.
/// </summary>
internal sealed class DrawnEnds
{
    /// <summary>Least and greatest depth by which an end is sunk into figure or raft, mm.</summary>
    public const double LeastDepthMm = 0.05, MostDepthMm = 0.15;

    /// <summary>Steps in which a drawn end is shortened until it stays above the platform, mm.</summary>
    private const double ClipMm = 0.02;

    /// <summary>An end wider than what it joins by more than this stands out of it.</summary>
    private const double WiderShare = 1.1;

    private readonly IReadOnlyList<DrawnBody> _bodies;
    private readonly Dictionary<int, HashSet<int>> _meets = [];

    public DrawnEnds(int[] twin, int[] labels, IReadOnlyList<DrawnBody> bodies)
    {
        _bodies = bodies;
        for (var h = 0; h < twin.Length; h++)
        {
            if (twin[h] < 0) continue;
            int a = labels[h / 3], b = labels[twin[h] / 3];
            if (a < 0 || b < 0 || a == b) continue;
            if (!_meets.TryGetValue(a, out var set)) _meets[a] = set = [];
            set.Add(b);
        }
    }

    /// <summary>Bodies whose visible surface borders on that of one.</summary>
    public IEnumerable<int> Meets(int body) => _meets.TryGetValue(body, out var set) ? set.Order() : [];

    /// <summary>The ends of a prism along its axis.</summary>
    /// <param name="mesh">The source.</param>
    /// <param name="body">The prism's number.</param>
    /// <param name="contacts">Loops along which it (or a ball on it) leaves the figure.</param>
    /// <param name="stands">Loops along which it leaves the raft.</param>
    /// <param name="floor">The platform: nothing is drawn on below it.</param>
    public (double Low, double High) Of(Mesh mesh, int body, IReadOnlyList<CutLoop> contacts, IReadOnlyList<CutLoop> stands, double floor)
    {
        var p = (DrawnShaft)_bodies[body];
        double low = p.Low, high = p.High;
        foreach (var loop in contacts) Reach(loop, Math.Clamp(0.4 * Math.Min(p.CornerRadius(p.Low), p.CornerRadius(p.High)), LeastDepthMm, MostDepthMm));
        foreach (var loop in stands) Reach(loop, MostDepthMm);
        foreach (var other in Meets(body))
        {
            if (_bodies[other] is DrawnBall ball)
            {
                Extend(p.Along(ball.Centre), ball.Size);
                continue;
            }
            var q = (DrawnShaft)_bodies[other];
            if (Math.Abs(q.Axis.Dot(p.Axis)) > 0.995)
            {
                // In line: overlap by the thinner one's radius.
                double a = p.Along(q.At(q.Low)), b = p.Along(q.At(q.High));
                if (a > b) (a, b) = (b, a);
                var overlap = Math.Min(0.3, Math.Min(p.Size, q.Size));
                if (a >= p.High - 0.5 * p.Size && a > (p.Low + p.High) / 2 && Buried(p, p.High, q)) Extend(Math.Min(b, Math.Max(p.High, a + overlap)), p.Size);
                if (b <= p.Low + 0.5 * p.Size && b < (p.Low + p.High) / 2 && Buried(p, p.Low, q)) Extend(Math.Max(a, Math.Min(p.Low, b - overlap)), p.Size);
                continue;
            }
            var (s, t, distance) = Closest(p, q);
            if (distance > 0.6 * Math.Max(p.Size, q.Size)) continue;
            if (t < q.Low - q.Size || t > q.High + q.Size) continue;
            Extend(s, 3 * Math.Max(p.Size, q.Size));
        }
        while (low < p.Low && p.LowestAt(low) < floor) low = Math.Min(low + ClipMm, p.Low);
        while (high > p.High && p.LowestAt(high) < floor) high = Math.Max(high - ClipMm, p.High);
        return (low, high);

        // A place beyond an end, not too far, becomes the end.
        void Extend(double place, double most)
        {
            if (place > high && place - p.High <= most) high = place;
            if (place < low && p.Low - place <= most) low = place;
        }

        void Reach(CutLoop loop, double depth)
        {
            double mean = 0, least = double.MaxValue, greatest = double.MinValue;
            foreach (var v in loop.Vertices)
            {
                var s = p.Along(mesh.Vertex(v));
                mean += s / loop.Vertices.Length;
                least = Math.Min(least, s);
                greatest = Math.Max(greatest, s);
            }
            if (mean > (p.Low + p.High) / 2) high = Math.Max(high, Math.Max(greatest + 0.02, mean + depth));
            else low = Math.Min(low, Math.Min(least - 0.02, mean - depth));
        }
    }

    // A disc is not drawn on into the thinner shaft that stands on it: the shaft reaches into the disc.
    private static bool Buried(DrawnShaft p, double end, DrawnShaft q) => p.CornerRadius(end) <= WiderShare * q.CornerRadius(q.Along(p.At(end)));

    private static (double S, double T, double Distance) Closest(DrawnShaft p, DrawnShaft q)
    {
        var w = p.Origin - q.Origin;
        double b = p.Axis.Dot(q.Axis), d = p.Axis.Dot(w), e = q.Axis.Dot(w);
        var det = 1 - b * b;
        double s = (b * e - d) / det, t = (e - b * d) / det;
        return (s, t, p.At(s).DistanceTo(q.At(t)));
    }
}
