using System.Numerics;
using System.Runtime.InteropServices;

namespace Stiltwright.Geometry;

/// <summary>
/// An immutable indexed triangle mesh with vertices on a <see cref="Lattice"/>. It promises valid indices and finite
/// coordinates and nothing else: it may be open, crossing or inside out (see <see cref="ShellSet"/> for what is proven).
/// Corners run counter-clockwise seen from outside. Layout: x, y, z of each vertex; three vertex numbers a triangle.
/// </summary>
public sealed class Mesh
{
    private readonly int[] _xyz;
    private readonly int[] _corners;
    private readonly Lazy<Box3> _bounds;

    /// <summary>Takes over two arrays (they must not be changed afterwards): 3V lattice coordinates, 3F vertex numbers.</summary>
    /// <exception cref="ArgumentException">A length is no multiple of three, or an index is out of range.</exception>
    public Mesh(Lattice lattice, int[] xyz, int[] corners)
    {
        ArgumentNullException.ThrowIfNull(lattice);
        if (xyz.Length % 3 != 0) throw new ArgumentException("Coordinates come in threes.", nameof(xyz));
        if (corners.Length % 3 != 0) throw new ArgumentException("Corners come in threes.", nameof(corners));
        var vertices = (uint)(xyz.Length / 3);
        var greatest = Greatest(corners);
        if (corners.Length > 0 && greatest >= vertices)
            foreach (var c in corners)
                if ((uint)c >= vertices) throw new ArgumentException($"Corner {c} is not one of {vertices} vertices.", nameof(corners));
        Lattice = lattice;
        _xyz = xyz;
        _corners = corners;
        _bounds = new Lazy<Box3>(MeasureBounds);
    }

    /// <summary>The grid of the coordinates.</summary>
    public Lattice Lattice { get; }

    /// <summary>x, y, z of each vertex in lattice units.</summary>
    public ReadOnlySpan<int> Xyz => _xyz;

    /// <summary>Three vertex numbers a triangle.</summary>
    public ReadOnlySpan<int> Corners => _corners;

    /// <summary>The coordinate array itself, for passing to parallel loops; never write to it.</summary>
    public int[] XyzArray => _xyz;

    /// <summary>The corner array itself, for passing to parallel loops; never write to it.</summary>
    public int[] CornersArray => _corners;

    /// <summary>Number of vertices.</summary>
    public int VertexCount => _xyz.Length / 3;

    /// <summary>Number of triangles.</summary>
    public int TriangleCount => _corners.Length / 3;

    /// <summary>Smallest box around all vertices that triangles use, mm; empty for no triangles.</summary>
    public Box3 Bounds => _bounds.Value;

    /// <summary>A vertex in mm.</summary>
    public Vec3 Vertex(int v) => new(_xyz[3 * v] * Lattice.UnitMm, _xyz[3 * v + 1] * Lattice.UnitMm, _xyz[3 * v + 2] * Lattice.UnitMm);

    /// <summary>The corners of a triangle in mm.</summary>
    public (Vec3 A, Vec3 B, Vec3 C) Triangle(int t) => (Vertex(_corners[3 * t]), Vertex(_corners[3 * t + 1]), Vertex(_corners[3 * t + 2]));

    /// <summary>Area vector of a triangle, mm2: the outward normal times the area.</summary>
    public Vec3 AreaVector(int t)
    {
        var (a, b, c) = Triangle(t);
        return (b - a).Cross(c - a) * 0.5;
    }

    /// <summary>No triangles at all.</summary>
    public static Mesh Empty(Lattice lattice) => new(lattice, [], []);

    /// <summary>The meshes one after the other, vertices not shared between them. All must have the same lattice.</summary>
    public static Mesh Concat(Lattice lattice, IEnumerable<Mesh> meshes)
    {
        var list = meshes.Where(m => m.TriangleCount > 0).ToList();
        var xyz = new int[list.Sum(m => m._xyz.Length)];
        var corners = new int[list.Sum(m => m._corners.Length)];
        int vAt = 0, cAt = 0;
        foreach (var m in list)
        {
            if (m.Lattice != lattice) throw new ArgumentException("Meshes on different lattices cannot be joined; place them on one first.", nameof(meshes));
            m._xyz.CopyTo(xyz, vAt);
            for (var i = 0; i < m._corners.Length; i++) corners[cAt + i] = m._corners[i] + vAt / 3;
            vAt += m._xyz.Length;
            cAt += m._corners.Length;
        }
        return new Mesh(lattice, xyz, corners);
    }

    /// <summary>The named triangles as a mesh of their own, in the order given, with only the vertices they use.</summary>
    public Mesh Part(ReadOnlySpan<int> triangles)
    {
        // A table of all vertices is fast for much of a mesh, but costs too much for one of a thousand small shells.
        var numbers = 3L * triangles.Length < VertexCount / 8 ? new Dictionary<int, int>(3 * triangles.Length) : null;
        var map = numbers is null ? new int[VertexCount] : [];
        var corners = new int[3 * triangles.Length];
        var used = new List<int>(Math.Min(VertexCount, 3 * triangles.Length));
        for (var i = 0; i < triangles.Length; i++)
            for (var k = 0; k < 3; k++)
            {
                var v = _corners[3 * triangles[i] + k];
                ref var number = ref numbers is null ? ref map[v] : ref CollectionsMarshal.GetValueRefOrAddDefault(numbers, v, out _);
                if (number == 0) { used.Add(v); number = used.Count; }
                corners[3 * i + k] = number - 1;
            }
        var xyz = new int[3 * used.Count];
        for (var i = 0; i < used.Count; i++)
            _xyz.AsSpan(3 * used[i], 3).CopyTo(xyz.AsSpan(3 * i, 3));
        return new Mesh(Lattice, xyz, corners);
    }

    /// <summary>The same triangles with vertices of equal places made one: what only touches at a vertex then shares it. Vertices no triangle uses any more stay.</summary>
    public Mesh Welded()
    {
        var first = new Dictionary<(int, int, int), int>(VertexCount);
        var map = new int[VertexCount];
        for (var v = 0; v < map.Length; v++)
        {
            var place = (_xyz[3 * v], _xyz[3 * v + 1], _xyz[3 * v + 2]);
            if (!first.TryAdd(place, v)) map[v] = first[place];
            else map[v] = v;
        }
        return new Mesh(Lattice, _xyz, Array.ConvertAll(_corners, c => map[c]));
    }

    /// <summary>The same surface turned inside out.</summary>
    public Mesh Turned()
    {
        var corners = (int[])_corners.Clone();
        for (var t = 0; t < corners.Length; t += 3) (corners[t + 1], corners[t + 2]) = (corners[t + 2], corners[t + 1]);
        return new Mesh(Lattice, _xyz, corners);
    }

    /// <summary>
    /// The mesh mapped and rounded once to a lattice (error at most half a unit an axis). Connectivity stays; a mirroring
    /// map turns the triangles so that outside stays outside.
    /// </summary>
    /// <exception cref="ArgumentException">A coordinate lands beyond the lattice's 2^24 units.</exception>
    public Mesh Placed(Affine map, Lattice lattice)
    {
        var xyz = new int[_xyz.Length];
        for (var v = 0; v < VertexCount; v++)
        {
            var p = map.Apply(Vertex(v));
            if (!(Math.Max(Math.Abs(p.X), Math.Max(Math.Abs(p.Y), Math.Abs(p.Z))) * lattice.UnitsPerMm <= Lattice.MaxUnits))
                throw new ArgumentException($"Vertex {v} lands at {p} mm, beyond the lattice.", nameof(map));
            xyz[3 * v] = lattice.Round(p.X);
            xyz[3 * v + 1] = lattice.Round(p.Y);
            xyz[3 * v + 2] = lattice.Round(p.Z);
        }
        var placed = new Mesh(lattice, xyz, _corners);
        return map.Determinant < 0 ? placed.Turned() : placed;
    }

    /// <summary>
    /// Signed volume in mm3 by the divergence theorem, exact in 128-bit integers before the one division. It is the volume
    /// of the solid only where the mesh is one closed shell that does not cross itself; overlaps count twice.
    /// </summary>
    public double SignedVolumeMm3()
    {
        var sums = new Int128[Ranges.Count(TriangleCount)];
        Ranges.For(TriangleCount, (r, from, to) =>
        {
            Int128 six = 0;
            for (var i = 3 * from; i < 3 * to; i += 3) six += Exact.Predicates.SixVolume(_xyz, 3 * _corners[i], 3 * _corners[i + 1], 3 * _corners[i + 2]);
            sums[r] = six;
        });
        Int128 six = 0;
        foreach (var s in sums) six += s;
        var u = Lattice.UnitMm;
        return (double)six / 6.0 * u * u * u;
    }

    // The greatest corner as an unsigned number, so that one below zero counts as too great.
    private static uint Greatest(int[] corners)
    {
        var span = MemoryMarshal.Cast<int, uint>(corners.AsSpan());
        var wide = Vector<uint>.Zero;
        var i = 0;
        for (; i <= span.Length - Vector<uint>.Count; i += Vector<uint>.Count) wide = Vector.Max(wide, new Vector<uint>(span[i..]));
        uint most = 0;
        for (var k = 0; k < Vector<uint>.Count; k++) most = Math.Max(most, wide[k]);
        for (; i < span.Length; i++) most = Math.Max(most, span[i]);
        return most;
    }

    private Box3 MeasureBounds()
    {
        if (_corners.Length == 0) return Box3.Empty;
        int x0 = int.MaxValue, y0 = int.MaxValue, z0 = int.MaxValue, x1 = int.MinValue, y1 = int.MinValue, z1 = int.MinValue;
        foreach (var c in _corners)
        {
            int x = _xyz[3 * c], y = _xyz[3 * c + 1], z = _xyz[3 * c + 2];
            x0 = Math.Min(x0, x); x1 = Math.Max(x1, x);
            y0 = Math.Min(y0, y); y1 = Math.Max(y1, y);
            z0 = Math.Min(z0, z); z1 = Math.Max(z1, z);
        }
        var u = Lattice.UnitMm;
        return new Box3(new Vec3(x0 * u, y0 * u, z0 * u), new Vec3(x1 * u, y1 * u, z1 * u));
    }
}
