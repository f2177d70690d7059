using System.Buffers.Binary;
using System.Runtime.InteropServices;
using Stiltwright.Geometry;
using Stiltwright.Geometry.Files;

namespace Stiltwright.Benchmarks.Peers;

/// <summary>The input files of the tasks, as the peers' folder holds them, and the tools that its README defines.</summary>
internal sealed class PeerInputs(string folder)
{
    private readonly Dictionary<string, Mesh> _meshes = [];

    public string Folder => folder;

    public string PathOf(string name) => Path.Combine(folder, "inputs", name);

    /// <summary>A mesh on the finest lattice that holds it, read once.</summary>
    public Mesh Mesh(string name)
    {
        if (_meshes.TryGetValue(name, out var mesh)) return mesh;
        _meshes.Clear(); // one at a time: the tasks come in the order of their inputs
        var file = MeshReader.Read(PathOf(name + ".stl"), ReadLimits.Default);
        return _meshes[name] = file.ToMesh(Affine.Identity, LatticeOf(file.Bounds));
    }

    /// <summary>The points of a file of little-endian float triples.</summary>
    public Vec3[] Points(string name)
    {
        var bytes = File.ReadAllBytes(PathOf(name + ".bin"));
        var points = new Vec3[bytes.Length / 12];
        for (var i = 0; i < points.Length; i++)
            points[i] = new Vec3(Single(bytes, 12 * i), Single(bytes, 12 * i + 4), Single(bytes, 12 * i + 8));
        return points;
    }

    /// <summary>Winding numbers of the first points, summed directly over all triangles.</summary>
    public float[] Truth(string name) => MemoryMarshal.Cast<byte, float>(File.ReadAllBytes(PathOf(name + ".bin"))).ToArray();

    /// <summary>Direction and offset (mm) of the cut plane for a figure of 150 mm.</summary>
    public static (Vec3 Normal, double OffsetMm) CutPlane()
    {
        var n = new Vec3(0.11, 0.07, 1.0);
        return (n.Unit(), 80 / n.Length);
    }

    /// <summary>The four closed cylinders, one mesh each, from the file that the generator wrote.</summary>
    public IReadOnlyList<Mesh> Drills(Lattice lattice)
    {
        var file = MeshReader.Read(PathOf("drills.stl"), ReadLimits.Default);
        var all = file.ToMesh(Affine.Identity, lattice);
        return [.. ShellFinder.Find(all).Shells.Select(s => all.Part(s.Triangles))];
    }

    /// <summary>The finest lattice that holds a box (mm).</summary>
    public static Lattice LatticeOf(Box3 b) =>
        Lattice.For(new[] { b.Min.X, b.Min.Y, b.Min.Z, b.Max.X, b.Max.Y, b.Max.Z }.Max(Math.Abs));

    /// <summary>Edges with one triangle only, or with two that run the same way.</summary>
    public static int OpenEdges(Mesh mesh)
    {
        var edges = EdgePairing.Build(mesh);
        var open = 0;
        for (var h = 0; h < edges.Twin.Length; h++)
            if (edges.Twin[h] < 0 || edges.Clashes(h)) open++;
        return open;
    }

    private static float Single(byte[] bytes, int at) => BinaryPrimitives.ReadSingleLittleEndian(bytes.AsSpan(at));
}
