using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Simplifying;

/// <summary>
/// The triangles around an edge before and after it is drawn together to a point. Both surfaces have the same border loop. Seen
/// along its area vector both must cover the plane once; then neither folds, and each point of one has one partner on the other
/// straight above or below it (successive mappings: Cohen, Manocha, Olano 1997).
/// </summary>
internal sealed class Star
{
    /// <summary>Most triangles around one vertex; vertices with more stay.</summary>
    internal const int Most = 24;

    // A triangle whose normal turns further than this (its cosine) from the direction of sight is not covered safely.
    private const double LeastCosine = 0.15;

    internal readonly int[] RingA = new int[Most], RingB = new int[Most];
    internal int CountA, CountB;

    private readonly int[] _loop = new int[2 * Most];
    private readonly double[] _x = new double[2 * Most + 2], _y = new double[2 * Most + 2], _z = new double[2 * Most + 2];
    private int _loopCount, _loopA;
    private Vec3 _normal, _p, _u, _v;

    /// <summary>Vertices of the border loop.</summary>
    internal ReadOnlySpan<int> Loop => _loop.AsSpan(0, _loopCount);

    /// <summary>
    /// Gathers the triangles around the edge across from a corner. False where the edge must stay: too many triangles, or drawing it
    /// together would make edges with more than two triangles (link condition, Dey et al. 1999: the loop meets no vertex twice).
    /// </summary>
    internal bool Gather(CornerTable table, int corner)
    {
        CountA = table.RingFrom(CornerTable.Next(corner), RingA);
        CountB = table.RingFrom(CornerTable.Next(table.Opposite[corner]), RingB);
        if (CountA < 3 || CountB < 3 || CountA + CountB < 7) return false;
        // Ring A begins with the edge's other end, B too: then come the third corners, with which the loop begins and parts.
        var n = 0;
        for (var i = 1; i < CountA; i++) _loop[n++] = table.Vertex[CornerTable.Next(RingA[i])];
        _loopA = n;
        for (var i = 2; i < CountB - 1; i++) _loop[n++] = table.Vertex[CornerTable.Next(RingB[i])];
        _loopCount = n;
        for (var i = 1; i < n; i++)
            for (var j = 0; j < i; j++)
                if (_loop[i] == _loop[j]) return false;
        return true;
    }

    /// <summary>Number of the triangle that the loop's edge from vertex i belongs to, before and after.</summary>
    internal int TriangleOf(int i) => (i < _loopA - 1 ? RingA[i + 1] : RingB[i - _loopA + 2]) / 3;

    /// <summary>Direction in which the star is seen; false if it has none.</summary>
    internal bool Face(Vec3[] points)
    {
        Vec3 origin = points[_loop[0]], sum = Vec3.Zero, from = points[_loop[1]] - origin;
        for (var i = 2; i < _loopCount; i++)
        {
            var to = points[_loop[i]] - origin;
            sum += from.Cross(to);
            from = to;
        }
        var length = sum.Length;
        _normal = length > 0 ? sum / length : Vec3.Zero;
        return length > 0;
    }

    /// <summary>
    /// Whether the star as it is (edge from a to b) and with p in the place of both cover the same part of the plane once, no triangle
    /// that stays turns far, and no new one is a needle.
    /// </summary>
    internal bool Covers(Vec3[] points, Vec3 a, Vec3 b, Vec3 p)
    {
        int n = _loopCount, ia = n, ib = n + 1;
        (_p, _u) = (p, _normal.AnyPerpendicular());
        _v = _normal.Cross(_u);
        for (var i = 0; i < n + 2; i++)
        {
            var d = (i < n ? points[_loop[i]] : i == ia ? a : b) - p;
            _x[i] = d.Dot(_u);
            _y[i] = d.Dot(_v);
            _z[i] = d.Dot(_normal);
        }
        // The new fan: every triangle seen from its front, once around.
        var turns = 0;
        for (int i = n - 1, j = 0; j < n; i = j++)
        {
            // The loop passes from the neighbours of a to those of b at the third corners.
            if (!Front(i, j, -1) || !TurnsLittle(i, j, i < _loopA - 1 ? ia : ib)) return false;
            if (_y[i] <= 0 && _y[j] > 0) turns++;
        }
        if (turns != 1) return false;
        for (var i = 0; i < _loopA - 1; i++)
            if (!Front(i, i + 1, ia)) return false;
        for (var i = _loopA - 1; i < n; i++)
            if (!Front(i, i + 1 == n ? 0 : i + 1, ib)) return false;
        return Front(ib, 0, ia) && Front(ia, _loopA - 1, ib);
    }

    /// <summary>
    /// The new triangle (p, vertex i of the loop, the next one) above or below a point, or nearest beside it as seen, and the squared
    /// distance of the point from it.
    /// </summary>
    internal int Under(Vec3[] points, Vec3 point, out double distance2)
    {
        var d = point - _p;
        double x = d.Dot(_u), y = d.Dot(_v);
        var n = _loopCount;
        for (int i = n - 1, j = 0; j < n; i = j++)
        {
            double s = _x[i] * y - _y[i] * x, t = x * _y[j] - y * _x[j];
            if (s < 0 || t < 0) continue;
            var on = TriangleDistance.ClosestPoint(point, _p, points[_loop[i]], points[_loop[j]]);
            distance2 = (on - point).LengthSquared;
            return i;
        }
        distance2 = d.LengthSquared;
        return 0;
    }

    // Whether triangle (apex, i, j) is seen well from its front; apex -1 is p. New triangles must not be needles either.
    private bool Front(int i, int j, int apex)
    {
        double ox = 0, oy = 0, oz = 0;
        if (apex >= 0) (ox, oy, oz) = (_x[apex], _y[apex], _z[apex]);
        double ax = _x[i] - ox, ay = _y[i] - oy, az = _z[i] - oz, bx = _x[j] - ox, by = _y[j] - oy, bz = _z[j] - oz;
        double nx = ay * bz - az * by, ny = az * bx - ax * bz, nz = ax * by - ay * bx;
        var area2 = nx * nx + ny * ny + nz * nz;
        if (!(nz > 0) || nz * nz < LeastCosine * LeastCosine * area2) return false;
        if (apex >= 0) return true;
        double cx = bx - ax, cy = by - ay, cz = bz - az;
        var sides = ax * ax + ay * ay + az * az + bx * bx + by * by + bz * bz + cx * cx + cy * cy + cz * cz;
        // Shape is 1 for equal sides: 2 sqrt 3 times twice the area through the squared sides.
        return area2 * 12 > LeastShape * LeastShape * sides * sides;
    }

    private const double LeastShape = 0.02;
    private const double LeastTurnCosine = 0.3;

    // A triangle that stays keeps its normal within limits when its corner moves from an old apex to p, so that no small folds arise.
    private bool TurnsLittle(int i, int j, int apex)
    {
        double ax = _x[i], ay = _y[i], az = _z[i], bx = _x[j], by = _y[j], bz = _z[j];
        double nx = ay * bz - az * by, ny = az * bx - ax * bz, nz = ax * by - ay * bx;
        ax -= _x[apex]; ay -= _y[apex]; az -= _z[apex]; bx -= _x[apex]; by -= _y[apex]; bz -= _z[apex];
        double ox = ay * bz - az * by, oy = az * bx - ax * bz, oz = ax * by - ay * bx;
        var dot = nx * ox + ny * oy + nz * oz;
        return dot > 0 && dot * dot > LeastTurnCosine * LeastTurnCosine * (nx * nx + ny * ny + nz * nz) * (ox * ox + oy * oy + oz * oz);
    }
}
