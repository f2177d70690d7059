using Stiltwright.Geometry;
using Stiltwright.Geometry.Files;
using Stiltwright.Geometry.Simplifying;

namespace Stiltwright.Benchmarks.Peers;

/// <summary>Simplifying a cavity to a quarter of its triangles.</summary>
internal static class SimplifyRows
{
    private const string Cavity = "out/cavity-0.25.stl";

    public static IEnumerable<PeerRow> All()
    {
        // The best closed peer was built elsewhere and took 0.378 of the time of this one in the published run: half of that is the aim.
        yield return new("T8 simplify to a quarter", "cavity0.25", new Peer("CGAL, quadrics", "build/cgal_mesh", "simplify", Cavity, "0.25", "out/simple-peer.stl"), 0.19, i => Simplify(i, 0.25, 0.06))
        {
            After = i => $"ours: {Measured(i, "out/simple-ours.stl")}; peer: {Measured(i, "out/simple-peer.stl")}",
        };
        yield return new("T8 simplify within 0.02 mm", "cavity0.25", new Peer("CGAL, quadrics to a quarter", "build/cgal_mesh", "simplify", Cavity, "0.25", "out/simple-peer.stl"), 0.19, i => Simplify(i, 0, 0.02))
        {
            After = i => $"ours: {Measured(i, "out/simple-ours.stl")}",
        };
    }

    private static OwnTask Simplify(PeerInputs inputs, double share, double deviationMm)
    {
        var path = Path.Combine(inputs.Folder, Cavity);
        if (!File.Exists(path)) PeerRun.Of(inputs.Folder, new Peer("OpenVDB", "build/vdb", "hollow", "inputs/fig1m.stl", "0.25", "2", Cavity), TimeSpan.FromMinutes(2));
        var file = MeshReader.Read(path, ReadLimits.Default);
        var mesh = file.ToMesh(Affine.Identity, PeerInputs.LatticeOf(file.Bounds));
        SimplifyResult? result = null;
        return new(() => result = SurfaceSimplifier.Simplify(mesh, new SimplifyRequest { DeviationMm = deviationMm, LeastTriangles = (int)(share * mesh.TriangleCount) }), () =>
        {
            using (var stream = File.Create(Path.Combine(inputs.Folder, "out/simple-ours.stl"))) StlWriter.Write(stream, result!.Surface, "simplified");
            return
            [
                new("deviation bound", result.DeviationMm), new("volume", result.Surface.SignedVolumeMm3(), 20), new("triangles", result.Surface.TriangleCount),
                new("open edges", PeerInputs.OpenEdges(result.Surface), Published: 0), new("crossings", SelfCrossings.Find(result.Surface).Count, Published: 0),
            ];
        });
    }

    /// <summary>Distances to the cavity as it was, by the peers' own program.</summary>
    private static string Measured(PeerInputs inputs, string file)
    {
        var run = PeerRun.Of(inputs.Folder, new Peer("CGAL", "build/cgal_query", "distance", file, Cavity), TimeSpan.FromMinutes(2), timed: false);
        return run.Failure ?? run.Facts;
    }
}
