using Stiltwright.Geometry;
using Stiltwright.Geometry.Booleans;
using Stiltwright.Geometry.Cutting;
using Stiltwright.Geometry.Files;
using Stiltwright.Geometry.Layers;

namespace Stiltwright.Benchmarks.Peers;

/// <summary>Reading, shells, drilling, cutting, layers and the union's volume.</summary>
internal static class KernelRows
{
    public static IEnumerable<PeerRow> All()
    {
        foreach (var f in (string[])["fig300k", "fig1m", "fig4m"])
        {
            yield return new("T1 read + weld", f, new Peer("C++ floor, two threads", "build/floor", "weld2", $"inputs/{f}.stl"), 1.0, i => Read(i.PathOf(f + ".stl")));
            yield return new("T1 read + weld", f, new Peer("meshoptimizer", "build/mopt", "weld", $"inputs/{f}.stl"), 1.0, i => Read(i.PathOf(f + ".stl")));
        }
        yield return new("T2 shells", "presup", new Peer("C++ floor, union-find", "build/floor", "shells", "inputs/presup.stl"), 1.0, Shells);
        yield return new("T2 shells", "presup", new Peer("CGAL", "build/cgal_mesh", "shells", "inputs/presup.stl"), 1.0, Shells);
        yield return new("T2 shells, edges paired, volumes", "presup", new Peer("CGAL + halfedges (read too)", "build/cgal_mesh", "halfedge", "inputs/presup.stl"), 1.0, PairedShells);
        yield return new("T4 four holes", "hollow", new Peer("CGAL", "build/cgal_bool", "drill", "inputs/hollow.stl"), 0.1, Drill);
        yield return new("T4 four holes", "hollow", new Peer("Manifold WASM", "node", "src/wasm.mjs", "drill", "inputs/hollow.stl", "inputs/drills.stl"), 0.1, Drill);
        yield return new("T5 plane cut, caps", "hollow", new Peer("VTK", "build/vtk", "cut", "inputs/hollow.stl", "1"), 0.8, Cut);
        yield return new("T6 all layers", "fig300mm", new Peer("C++ floor, spans", "build/floor", "layers", "inputs/fig300mm.stl", "0.05", "0.05", "spans"), 1.0, Scan);
        yield return new("T6 all layers, bodies and voids too", "fig300mm", new Peer("C++ floor, spans", "build/floor", "layers", "inputs/fig300mm.stl", "0.05", "0.05", "spans"), 1.0, Layers);
        foreach (var (f, volume) in ((string, double)[])[("boxes", 1720), ("presup", 97726.277)])
        {
            yield return new("T7 union volume", f, new Peer("C++ floor, layers 0.05", "build/floor", "layers", $"inputs/{f}.stl", "0.05", "0.05", "spans"), 1.0, i => Union(i, f, volume));
            yield return new("T7 union volume", f, new Peer("CGAL", "build/cgal_bool", "union", $"inputs/{f}.stl"), 0.1, i => Union(i, f, volume));
            yield return new("T7 union as a closed mesh", f, new Peer("CGAL", "build/cgal_bool", "union", $"inputs/{f}.stl"), 1.0, i => UnionAsMesh(i, f, volume));
        }
    }

    private static OwnTask UnionAsMesh(PeerInputs inputs, string name, double volume)
    {
        var mesh = inputs.Mesh(name);
        Mesh? union = null;
        return new(() => union = MeshBoolean.Resolved(mesh), () => [new("volume", union!.SignedVolumeMm3(), 0.02, volume), Open("open edges", union), new("triangles", union.TriangleCount)]);
    }

    private static OwnTask Read(string path)
    {
        MeshFile? file = null;
        return new(() => file = MeshReader.Read(path, ReadLimits.Default), () => [new("tris", file!.TriangleCount), new("verts", file.Points.Length / 3)]);
    }

    private static OwnTask Shells(PeerInputs inputs)
    {
        var mesh = inputs.Mesh("presup");
        ConnectedPieces? pieces = null;
        return new(() => pieces = ConnectedPieces.Of(mesh), () => [new("shells", pieces!.Count, Published: 782), new("largest", pieces.Triangles.Max(), Published: 991_072)]);
    }

    private static OwnTask PairedShells(PeerInputs inputs)
    {
        var mesh = inputs.Mesh("presup");
        ShellSet? set = null;
        return new(() => set = ShellFinder.Find(mesh), () => [new("shells", set!.Shells.Count, Published: 782), new("largest", set.Shells.Max(s => s.Triangles.Length), Published: 991_072)]);
    }

    private static OwnTask Drill(PeerInputs inputs)
    {
        var mesh = inputs.Mesh("hollow");
        var tools = inputs.Drills(mesh.Lattice);
        SubtractResult? cut = null;
        return new(() => cut = SolidTool.Subtract(mesh, tools, 1), () =>
        [
            new("volume", cut!.Result.SignedVolumeMm3(), 0.005, 49_825.173), Open("open edges", cut.Result), new("tris", cut.Result.TriangleCount, 3000), new("touched", cut.TrianglesTouched),
        ]);
    }

    private static OwnTask Cut(PeerInputs inputs)
    {
        var mesh = inputs.Mesh("hollow");
        var (normal, offset) = PeerInputs.CutPlane();
        PlaneCutResult? cut = null;
        return new(() => cut = PlaneCut.Cut(mesh, normal, offset), () =>
        [
            new("below", cut!.Below.SignedVolumeMm3(), 0.005, 31_178.376), new("above", cut.Above.SignedVolumeMm3(), 0.005, 18_740.194),
            new("caps", cut.CapAreaMm2, 0.001, 434.5498), Open("open edges", cut.Below), Open("open edges above", cut.Above),
        ]);
    }

    private static OwnTask Scan(PeerInputs inputs)
    {
        var mesh = inputs.Mesh("fig300mm");
        LayerScan? scan = null;
        return new(() => scan = LayerScan.Of(mesh, 0.05, 0.05), () =>
        [
            new("layers", scan!.Count), new("volume", scan.VolumeMm3, 0.5), new("1/4", scan.AreaMm2(6007 / 4), 0.02),
            new("1/2", scan.AreaMm2(6007 / 2), 0.02), new("3/4", scan.AreaMm2(6007 * 3 / 4), 0.02), new("islands", scan.Islands.Count), new("regions", scan.Regions.Sum()),
        ]);
    }

    private static OwnTask Layers(PeerInputs inputs)
    {
        var (mesh, grid) = Grounded(inputs.Mesh("fig300mm"), 0.05);
        LayerStack? stack = null;
        return new(() => stack = LayerStack.Build(Columns.Build([new ColumnPart(mesh, 0)], grid, CancellationToken.None), 0.05, CancellationToken.None), () =>
        [
            new("layers", stack!.Count, 1), new("volume", stack.AreaMm2.Sum() * 0.05, 0.5), new("1/4", stack.AreaMm2[6007 / 4], 0.02),
            new("1/2", stack.AreaMm2[6007 / 2], 0.02), new("3/4", stack.AreaMm2[6007 * 3 / 4], 0.02), new("islands", stack.Islands.Count),
        ]);
    }

    private static OwnTask Union(PeerInputs inputs, string name, double volume)
    {
        var (mesh, grid) = Grounded(inputs.Mesh(name), 0.1);
        var found = 0.0;
        return new(() => found = Columns.Build([new ColumnPart(mesh, 0)], grid, CancellationToken.None).VolumeMm3(), () => [new("volume", found, 2e-5 * volume, volume)]);
    }

    /// <summary>The mesh moved up to begin at z = 0, and pixels whose first begins at the least corner of its box.</summary>
    private static (Mesh, ColumnGrid) Grounded(Mesh mesh, double pitchMm)
    {
        var b = mesh.Bounds;
        mesh = mesh.Placed(Affine.Translation(new Vec3(0, 0, -b.Min.Z)), PeerInputs.LatticeOf(b.With(new Vec3(0, 0, b.Size.Z))));
        return (mesh, new ColumnGrid(b.Min.X, b.Min.Y, pitchMm, (int)Math.Ceiling(b.Size.X / pitchMm), (int)Math.Ceiling(b.Size.Y / pitchMm)));
    }

    private static Fact Open(string name, Mesh mesh) => new(name, PeerInputs.OpenEdges(mesh), Published: 0);
}
