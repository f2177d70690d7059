namespace Stiltwright.Geometry.Refining;

/// <summary>
/// Triangles being cut, round by round. Every round marks edges, cuts each at its middle on the curved patch, and the triangles into
/// two, three or four by how many of their edges were marked, so that no vertex ever lies in the middle of an edge.
/// </summary>
internal sealed class Subdivision
{
    /// <summary>Weights of corners are whole numbers of this; so middles stay exact.</summary>
    private const int One = 1 << 24;
    private const int MostRounds = 20;

    private readonly Mesh _mesh;
    private readonly bool[] _straight;
    private readonly CurvedPatches _patches;
    private readonly List<int> _xyz;
    private int[] _corners, _twin, _source, _u, _v;
    private double _largestMove2;

    /// <param name="mesh">The flat triangles.</param>
    /// <param name="twin">Half-edge on the other side, -1 for none.</param>
    /// <param name="straight">Half-edges of the flat triangles that are never cut.</param>
    /// <param name="patches">The curved ones.</param>
    internal Subdivision(Mesh mesh, int[] twin, bool[] straight, CurvedPatches patches)
    {
        (_mesh, _straight, _patches) = (mesh, straight, patches);
        _xyz = [.. mesh.XyzArray];
        _corners = mesh.CornersArray;
        _twin = twin;
        var n = mesh.TriangleCount;
        _source = new int[n];
        _u = new int[3 * n];
        _v = new int[3 * n];
        for (var t = 0; t < n; t++) (_source[t], _u[3 * t], _v[3 * t + 1]) = (t, One, One);
    }

    /// <summary>Triangle of the input of each triangle.</summary>
    internal int[] Source => _source;

    /// <summary>Largest distance of a new vertex from its flat place, mm.</summary>
    internal double LargestMoveMm => Math.Sqrt(_largestMove2);

    /// <summary>True if the most triangles kept edges from being cut.</summary>
    internal bool StoppedByCount { get; private set; }

    /// <summary>True if anything was cut.</summary>
    internal bool Cut => _xyz.Count > _mesh.XyzArray.Length;

    /// <summary>Cuts until every edge is within the tolerance or no more triangles are allowed.</summary>
    internal void Run(double tolerance, int mostTriangles, CancellationToken cancel)
    {
        for (var round = 0; round < MostRounds; round++)
        {
            cancel.ThrowIfCancellationRequested();
            var deviation = Deviations();
            if (Marks(deviation, tolerance, mostTriangles) is not { } marks) return;
            Split(marks);
        }
    }

    /// <summary>The surface as it is now.</summary>
    internal Mesh Surface() => new(_mesh.Lattice, [.. _xyz], _corners);

    private Vec3 Point(int v) => new Vec3(_xyz[3 * v], _xyz[3 * v + 1], _xyz[3 * v + 2]) * _mesh.Lattice.UnitMm;

    // Largest distance of the curve over each edge from its chord, at three places; for the half-edge with the lower number.
    private float[] Deviations()
    {
        var deviation = new float[_corners.Length];
        Ranges.For(_corners.Length, (_, from, to) =>
        {
            for (var h = from; h < to; h++)
            {
                if (_twin[h] < h || IsStraight(h)) continue;
                var n = EdgePairing.Next(h);
                Vec3 a = Point(_corners[h]), b = Point(_corners[n]);
                double most2 = 0;
                for (var k = 1; k < 4; k++)
                {
                    var s = k / 4.0;
                    most2 = Math.Max(most2, (OnPatch(h, n, s) - a - (b - a) * s).LengthSquared);
                }
                deviation[h] = (float)Math.Sqrt(most2);
            }
        });
        return deviation;
    }

    // The place on the patch between two corners of one triangle.
    private Vec3 OnPatch(int h, int n, double s)
    {
        double u = (_u[h] + (_u[n] - _u[h]) * s) / One, v = (_v[h] + (_v[n] - _v[h]) * s) / One, w = 1 - u - v;
        return Flat(_source[h / 3], u, v, w) + _patches.Lift(_source[h / 3], u, v, w);
    }

    private Vec3 Flat(int triangle, double u, double v, double w)
    {
        var (a, b, c) = _mesh.Triangle(triangle);
        return a * u + b * v + c * w;
    }

    // Whether a half-edge lies on an edge of the input that stays straight.
    private bool IsStraight(int h)
    {
        if (_twin[h] < 0) return true;
        var n = EdgePairing.Next(h);
        var first = 3 * _source[h / 3];
        if (_u[h] + _v[h] == One && _u[n] + _v[n] == One) return _straight[first];
        if (_u[h] == 0 && _u[n] == 0) return _straight[first + 1];
        return _v[h] == 0 && _v[n] == 0 && _straight[first + 2];
    }

    // The half-edges to be cut, both of a pair; null for none.
    private bool[]? Marks(float[] deviation, double tolerance, int mostTriangles)
    {
        var wanted = new List<int>();
        for (var h = 0; h < deviation.Length; h++)
            if (deviation[h] > tolerance) wanted.Add(h);
        if (wanted.Count == 0) return null;
        // Every cut edge makes two triangles.
        var room = Math.Max(0, (mostTriangles - (long)_source.Length) / 2);
        var marks = new bool[_corners.Length];
        var cut = Mark(wanted, marks);
        if (cut <= room) return marks;
        StoppedByCount = true;
        wanted.Sort((a, b) => deviation[a] != deviation[b] ? deviation[b].CompareTo(deviation[a]) : a.CompareTo(b));
        for (var count = (int)Math.Min(wanted.Count, room); count > 0; count = (int)(count * 0.7))
        {
            marks.AsSpan().Clear();
            if (Mark(wanted.GetRange(0, count), marks) <= room) return marks;
        }
        return null;
    }

    // Marks edges, and with an edge of a triangle its longest one, so that triangles do not become ever thinner (Rivara 1984).
    private long Mark(List<int> wanted, bool[] marks)
    {
        var todo = new Stack<int>();
        long count = 0;
        foreach (var h in wanted) Add(h);
        while (todo.TryPop(out var t))
        {
            var longest = Longest(t);
            if (!marks[longest] && !IsStraight(longest)) Add(longest);
        }
        return count;

        void Add(int h)
        {
            if (marks[h]) return;
            marks[h] = marks[_twin[h]] = true;
            count++;
            todo.Push(h / 3);
            todo.Push(_twin[h] / 3);
        }
    }

    private int Longest(int t)
    {
        var best = 3 * t;
        var length = LengthSquared(best);
        for (var h = 3 * t + 1; h < 3 * t + 3; h++)
        {
            var other = LengthSquared(h);
            // Of equal ones the same for both of its triangles.
            if (other < length || (other == length && Owner(h) > Owner(best))) continue;
            (best, length) = (h, other);
        }
        return best;

        int Owner(int h) => _twin[h] < 0 ? h : Math.Min(h, _twin[h]);
    }

    private long LengthSquared(int h)
    {
        int a = 3 * _corners[h], b = 3 * _corners[EdgePairing.Next(h)];
        long x = _xyz[a] - _xyz[b], y = _xyz[a + 1] - _xyz[b + 1], z = _xyz[a + 2] - _xyz[b + 2];
        return x * x + y * y + z * z;
    }

    private void Split(bool[] marks)
    {
        var n = _source.Length;
        var middle = new int[marks.Length];
        middle.AsSpan().Fill(-1);
        for (var h = 0; h < marks.Length; h++)
            if (marks[h] && _twin[h] > h) middle[h] = middle[_twin[h]] = NewVertex(h);
        var cut = new CutTriangles(n, marks, _twin);
        for (var t = 0; t < n; t++)
        {
            cut.Begin(_source[t]);
            int h0 = 3 * t, h1 = h0 + 1, h2 = h0 + 2;
            switch ((marks[h0] ? 1 : 0) + (marks[h1] ? 1 : 0) + (marks[h2] ? 1 : 0))
            {
                case 0:
                    cut.Whole(At(h0), At(h1), At(h2), h0, h1, h2);
                    break;
                case 1:
                    if (marks[h1]) (h0, h1, h2) = (h1, h2, h0);
                    else if (marks[h2]) (h0, h1, h2) = (h2, h0, h1);
                    cut.InTwo(At(h0), At(h1), At(h2), Middle(h0), h0, h1, h2);
                    break;
                case 2:
                    if (!marks[h0]) (h0, h1, h2) = (h1, h2, h0);
                    else if (!marks[h1]) (h0, h1, h2) = (h2, h0, h1);
                    Node m = Middle(h0), k = Middle(h1);
                    cut.InThree(At(h0), At(h1), At(h2), m, k, h0, h1, h2, Square(m.Vertex, _corners[h2]) < Square(_corners[h0], k.Vertex));
                    break;
                default:
                    cut.InFour(At(h0), At(h1), At(h2), Middle(h0), Middle(h1), Middle(h2), h0, h1, h2);
                    break;
            }
        }
        (_corners, _twin, _source, _u, _v) = cut.Done();

        Node At(int h) => new(_corners[h], _u[h], _v[h]);
        Node Middle(int h)
        {
            var next = EdgePairing.Next(h);
            return new(middle[h], (_u[h] + _u[next]) / 2, (_v[h] + _v[next]) / 2);
        }

        long Square(int a, int b)
        {
            long x = _xyz[3 * a] - _xyz[3 * b], y = _xyz[3 * a + 1] - _xyz[3 * b + 1], z = _xyz[3 * a + 2] - _xyz[3 * b + 2];
            return x * x + y * y + z * z;
        }
    }

    private int NewVertex(int h)
    {
        var n = EdgePairing.Next(h);
        double u = (_u[h] + _u[n]) / 2 / (double)One, v = (_v[h] + _v[n]) / 2 / (double)One, w = 1 - u - v;
        var lift = _patches.Lift(_source[h / 3], u, v, w);
        _largestMove2 = Math.Max(_largestMove2, lift.LengthSquared);
        var p = Flat(_source[h / 3], u, v, w) + lift;
        _xyz.Add(_mesh.Lattice.Round(p.X));
        _xyz.Add(_mesh.Lattice.Round(p.Y));
        _xyz.Add(_mesh.Lattice.Round(p.Z));
        return _xyz.Count / 3 - 1;
    }
}
