using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>One small shell taken out of a mesh for measuring: its own vertices (mm), triangles, edges and flat patches.</summary>
internal sealed class LocalShell
{
    /// <summary>Corner cosine within which two facets count as one flat patch (1 degree).</summary>
    private const double FlatCosine = 0.99985;

    private int[]? _neighbours;

    public LocalShell(Vec3[] points, int[] corners)
    {
        Points = points;
        Corners = corners;
        var n = corners.Length / 3;
        Normals = new Vec3[n];
        Areas = new double[n];
        Vec3 weighted = Vec3.Zero;
        for (var t = 0; t < n; t++)
        {
            Vec3 a = points[corners[3 * t]], b = points[corners[3 * t + 1]], c = points[corners[3 * t + 2]];
            var cross = (b - a).Cross(c - a);
            Areas[t] = cross.Length / 2;
            Normals[t] = cross.Unit();
            Area += Areas[t];
            weighted += (a + b + c) * (Areas[t] / 3);
        }
        Centre = Area > 0 ? weighted / Area : points[0];
    }

    public Vec3[] Points { get; }

    public int[] Corners { get; }

    public Vec3[] Normals { get; }

    public double[] Areas { get; }

    public double Area { get; }

    /// <summary>Centroid of the surface.</summary>
    public Vec3 Centre { get; }

    public int TriangleCount => Corners.Length / 3;

    /// <summary>Triangle across edge k (corner k to k + 1) of triangle t at [3t + k]; -1 where there is none.</summary>
    public int[] Neighbours => _neighbours ??= PairEdges();

    private int[] PairEdges()
    {
        var result = new int[Corners.Length];
        Array.Fill(result, -1);
        var open = new Dictionary<long, int>(Corners.Length);
        for (var t = 0; t < TriangleCount; t++)
            for (var k = 0; k < 3; k++)
            {
                int a = Corners[3 * t + k], b = Corners[3 * t + (k + 1) % 3];
                if (open.Remove((long)b * Points.Length + a, out var other))
                {
                    result[3 * t + k] = other / 3;
                    result[other] = t;
                }
                else
                {
                    open[(long)a * Points.Length + b] = 3 * t + k;
                }
            }
        return result;
    }

    /// <summary>Flat patches with one simple border, each as its border loop and the vertices inside it.</summary>
    public List<FlatPatch> FlatPatches()
    {
        var patchOf = new int[TriangleCount];
        Array.Fill(patchOf, -1);
        var result = new List<FlatPatch>();
        var stack = new Stack<int>();
        var members = new List<int>();
        var next = new Dictionary<int, int>();
        for (var seed = 0; seed < TriangleCount; seed++)
        {
            if (patchOf[seed] >= 0) continue;
            var id = seed;
            var normal = Normals[seed];
            members.Clear();
            stack.Push(seed);
            patchOf[seed] = id;
            while (stack.Count > 0)
            {
                var t = stack.Pop();
                members.Add(t);
                for (var k = 0; k < 3; k++)
                {
                    var o = Neighbours[3 * t + k];
                    if (o >= 0 && patchOf[o] < 0 && Normals[o].Dot(normal) > FlatCosine)
                    {
                        patchOf[o] = id;
                        stack.Push(o);
                    }
                }
            }
            next.Clear();
            var simple = true;
            double area = 0;
            foreach (var t in members)
            {
                area += Areas[t];
                for (var k = 0; k < 3 && simple; k++)
                {
                    var o = Neighbours[3 * t + k];
                    if (o >= 0 && patchOf[o] == id) continue;
                    simple = next.TryAdd(Corners[3 * t + k], Corners[3 * t + (k + 1) % 3]);
                }
            }
            if (!simple || next.Count < 3) continue;
            var loop = new int[next.Count];
            var at = next.Keys.First();
            var closed = true;
            for (var i = 0; i < loop.Length && closed; i++)
            {
                loop[i] = at;
                closed = next.TryGetValue(at, out at);
            }
            if (!closed || at != loop[0] || loop.Distinct().Count() != loop.Length) continue;
            var inside = new HashSet<int>();
            foreach (var t in members)
                for (var k = 0; k < 3; k++) inside.Add(Corners[3 * t + k]);
            inside.ExceptWith(loop);
            result.Add(new FlatPatch(loop, [.. inside], normal, area));
        }
        return result;
    }

    /// <summary>Neighbouring vertices of every vertex as start offsets and a flat list.</summary>
    public (int[] Start, int[] List) VertexLinks()
    {
        var start = new int[Points.Length + 1];
        for (var i = 0; i < Corners.Length; i++) start[Corners[i] + 1] += 2;
        for (var v = 0; v < Points.Length; v++) start[v + 1] += start[v];
        var list = new int[start[^1]];
        var fill = (int[])start.Clone();
        for (var t = 0; t < TriangleCount; t++)
            for (var k = 0; k < 3; k++)
            {
                var v = Corners[3 * t + k];
                list[fill[v]++] = Corners[3 * t + (k + 1) % 3];
                list[fill[v]++] = Corners[3 * t + (k + 2) % 3];
            }
        return (start, list);
    }

    /// <summary>Takes single shells out of one mesh; reuses its vertex map so that many small shells cost little.</summary>
    public sealed class Cutter(Mesh mesh)
    {
        private readonly int[] _map = new int[mesh.VertexCount];

        public LocalShell Take(int[] triangles)
        {
            var corners = new int[3 * triangles.Length];
            var points = new List<Vec3>();
            var used = new List<int>();
            var source = mesh.CornersArray;
            for (var i = 0; i < triangles.Length; i++)
                for (var k = 0; k < 3; k++)
                {
                    var v = source[3 * triangles[i] + k];
                    if (_map[v] == 0)
                    {
                        used.Add(v);
                        points.Add(mesh.Vertex(v));
                        _map[v] = used.Count;
                    }
                    corners[3 * i + k] = _map[v] - 1;
                }
            foreach (var v in used) _map[v] = 0;
            return new LocalShell([.. points], corners);
        }

        /// <summary>The same as a mesh on the lattice of the source, corner order kept.</summary>
        public Mesh TakeMesh(int[] triangles)
        {
            var corners = new int[3 * triangles.Length];
            var used = new List<int>();
            var source = mesh.CornersArray;
            for (var i = 0; i < corners.Length; i++)
            {
                var v = source[3 * triangles[i / 3] + i % 3];
                if (_map[v] == 0)
                {
                    used.Add(v);
                    _map[v] = used.Count;
                }
                corners[i] = _map[v] - 1;
            }
            var xyz = new int[3 * used.Count];
            for (var i = 0; i < used.Count; i++)
            {
                mesh.Xyz.Slice(3 * used[i], 3).CopyTo(xyz.AsSpan(3 * i));
                _map[used[i]] = 0;
            }
            return new Mesh(mesh.Lattice, xyz, corners);
        }
    }
}

/// <summary>A flat patch of a shell.</summary>
/// <param name="Loop">Its border, counter-clockwise seen from outside.</param>
/// <param name="Inside">Vertices inside the border.</param>
/// <param name="Normal">Outward normal.</param>
/// <param name="Area">Its area, mm2.</param>
internal sealed record FlatPatch(int[] Loop, int[] Inside, Vec3 Normal, double Area);
