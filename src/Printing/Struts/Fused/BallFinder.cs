using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>Finds balls at the ends of prisms (at joints and contacts): their centre lies on the prism's axis.</summary>
internal static class BallFinder
{
    /// <summary>Corners that must lie on the sphere.</summary>
    private const int LeastCorners = 8;

    /// <summary>Any two rings about one axis, as those of a foot, lie on a sphere; it takes a third to make a ball.</summary>
    private const int LeastLevels = 3;

    /// <summary>Cosine between a facet and the sphere under its middle: the rings of a shaft lie on some large sphere, too, but its sides do not.</summary>
    private const double LeastOutwards = 0.75;

    /// <summary>Corners looked at around one end.</summary>
    private const int MostCorners = 240;

    /// <param name="mesh">The surface.</param>
    /// <param name="twin">Its half-edge pairs.</param>
    /// <param name="body">Body of each triangle so far, or -1.</param>
    /// <param name="prisms">The prisms, numbered as in <paramref name="body"/>.</param>
    /// <param name="step">Step to which coordinates were rounded, mm.</param>
    public static List<DrawnBall> Find(Mesh mesh, int[] twin, int[] body, IReadOnlyList<DrawnShaft> prisms, double step)
    {
        // Free triangles along the borders of each prism.
        var starts = new List<int>[prisms.Count];
        for (var i = 0; i < starts.Length; i++) starts[i] = [];
        for (var h = 0; h < twin.Length; h++)
            if (twin[h] >= 0 && body[h / 3] >= 0 && body[twin[h] / 3] < 0) starts[body[h / 3]].Add(twin[h] / 3);
        var balls = new List<DrawnBall>();
        for (var i = 0; i < prisms.Count; i++)
            for (var end = 0; end < 2; end++)
                if (At(mesh, twin, body, prisms[i], end, starts[i], step) is { } ball && !balls.Exists(b => b.Centre.DistanceTo(ball.Centre) < 0.2 * b.Size && Math.Abs(b.Size - ball.Size) < 0.1 * b.Size))
                    balls.Add(ball);
        return balls;
    }

    private static DrawnBall? At(Mesh mesh, int[] twin, int[] body, DrawnShaft prism, int end, List<int> starts, double step)
    {
        var s = end == 0 ? prism.Low : prism.High;
        var radius = prism.CornerRadius(s);
        var middle = prism.At(s);
        var reach = 5 * Math.Max(radius, 0.3 * prism.Size);
        var seen = new HashSet<int>();
        var queue = new List<int>();
        foreach (var t in starts)
            if (Near(t) && seen.Add(t)) queue.Add(t);
        var corners = new HashSet<int>();
        for (var i = 0; i < queue.Count && corners.Count < MostCorners; i++)
        {
            for (var k = 0; k < 3; k++) corners.Add(mesh.Corners[3 * queue[i] + k]);
            for (var k = 0; k < 3; k++)
            {
                var g = twin[3 * queue[i] + k];
                if (g >= 0 && body[g / 3] < 0 && Near(g / 3) && seen.Add(g / 3)) queue.Add(g / 3);
            }
        }
        if (corners.Count < LeastCorners) return null;
        var points = corners.Order().Select(mesh.Vertex).ToArray();
        var along = Array.ConvertAll(points, prism.Along);
        var square = new double[points.Length]; // squared distance from the axis plus squared place
        for (var i = 0; i < points.Length; i++) square[i] = (points[i] - prism.At(along[i])).LengthSquared + along[i] * along[i];
        var stride = Math.Max(1, points.Length / 60);
        var best = 0;
        double bestPlace = 0, bestRadius = 0;
        for (var i = 0; i < points.Length; i += stride)
            for (var k = i + stride; k < points.Length; k += stride)
            {
                var d = along[i] - along[k];
                if (Math.Abs(d) < 0.1 * radius) continue;
                var place = (square[i] - square[k]) / (2 * d);
                var r2 = square[i] - 2 * place * along[i] + place * place;
                if (!(r2 > 0)) continue;
                var r = Math.Sqrt(r2);
                if (r < 0.8 * radius || r > 4 * radius || Math.Abs(place - s) > 2 * r) continue;
                var count = 0;
                for (var j = 0; j < points.Length; j++)
                    if (OnSphere(j, place, r)) count++;
                if (count <= best) continue;
                best = count;
                bestPlace = place;
                bestRadius = r;
            }
        if (best < LeastCorners || Levels() < LeastLevels) return null;
        var ball = new DrawnBall(prism.At(bestPlace), bestRadius) { OnMm = prism.OnMm };
        foreach (var t in queue)
            if (Within(t)) ball.Seeds.Add(t);
        return ball.Seeds.Count >= LeastCorners - 1 && Round(ball) ? ball : null;

        // Places along the axis at which corners lie on the sphere.
        int Levels()
        {
            var on = new List<double>();
            for (var j = 0; j < points.Length; j++)
                if (OnSphere(j, bestPlace, bestRadius)) on.Add(along[j]);
            on.Sort();
            var levels = 1;
            for (var j = 1; j < on.Count; j++)
                if (on[j] - on[j - 1] > 0.01 * bestRadius) levels++;
            return levels;
        }

        bool OnSphere(int j, double place, double r) =>
            Math.Abs(Math.Sqrt(Math.Max(0, square[j] - 2 * place * along[j] + place * place)) - r) < 0.003 * r + 2e-4 + step;

        bool Near(int t)
        {
            var (a, b, c) = mesh.Triangle(t);
            return a.DistanceTo(middle) < reach && b.DistanceTo(middle) < reach && c.DistanceTo(middle) < reach;
        }

        bool Within(int t)
        {
            var (a, b, c) = mesh.Triangle(t);
            return ball.Holds(a) && ball.Holds(b) && ball.Holds(c);
        }

        // Its facets look outwards, and they are not all in one plane or ring.
        bool Round(DrawnBall b)
        {
            double outwards = 0, total = 0;
            foreach (var t in b.Seeds)
            {
                var (p, q, r) = mesh.Triangle(t);
                var v = mesh.AreaVector(t);
                var u = ((p + q + r) / 3 - b.Centre).Unit();
                total += v.Length;
                if (v.Dot(u) > LeastOutwards * v.Length) outwards += v.Length;
            }
            return outwards > 0.9 * total;
        }
    }
}
