using System.Globalization;
using Stiltwright.Geometry;
using Stiltwright.Geometry.Fields;
using Stiltwright.Geometry.Files;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Benchmarks.Peers;

/// <summary>Hollowing, closest points, inside or outside.</summary>
internal static class FieldRows
{
    public static IEnumerable<PeerRow> All()
    {
        foreach (var (f, cell) in ((string, double)[])[("sphere20fine", 0.5), ("sphere20fine", 0.25), ("fig1m", 0.5), ("fig1m", 0.25)])
        {
            var c = cell.ToString(CultureInfo.InvariantCulture);
            var shown = $"{f}@{c}";
            var peer = new Peer("OpenVDB, wide band", "build/vdb", "hollow", $"inputs/{f}.stl", c, "2", $"out/vdb-{f}-{c}.stl");
            Mesh? cavity = null;
            yield return new("T3 hollow", shown, peer, 0.5, i => Hollow(i.Mesh(f), cell, m => cavity = m))
            {
                After = i => $"ours: {Distances(i, cavity!, $"out/ours-{f}-{c}.stl", f)}; peer: {Distances(i, null, $"out/vdb-{f}-{c}.stl", f)}",
            };
        }
        foreach (var points in (string[])["near", "points"])
            yield return new("T9 closest point", $"fig1m, {points}", new Peer("Embree", "build/embree", "closest", "inputs/fig1m.stl", $"inputs/{points}.bin"), points == "near" ? 0.7 : 1.0, i => Closest(i, points));
        yield return new("T10 inside?", "fig1m", new Peer("Embree, 1 ray", "build/embree", "inside", "inputs/fig1m.stl", "inputs/points.bin", "inputs/truth-closed.bin", "1"), 1.0, i => Inside(i, "fig1m", "truth-closed"));
        yield return new("T10 inside?", "soup", new Peer("Embree, 7 rays", "build/embree", "inside", "inputs/soup.stl", "inputs/points.bin", "inputs/truth.bin", "7"), 1.0, InsideSoup);
    }

    private static OwnTask Hollow(Mesh mesh, double cell, Action<Mesh> keep)
    {
        CavityResult? result = null;
        var request = new CavityRequest { WallMm = 2, CellMm = cell, LeastVolumeMm3 = 0.001, LeastRadiusMm = 0.001, SimplifyMm = 0 };
        return new(() => result = CavityBuilder.Build(mesh, request), () =>
        {
            var cavity = Mesh.Concat(mesh.Lattice, result!.Parts.Select(p => p.Surface));
            keep(cavity);
            return [new("cavity volume", result.Parts.Sum(p => p.VolumeMm3), double.PositiveInfinity), new("tris", cavity.TriangleCount, double.PositiveInfinity), new("open edges", PeerInputs.OpenEdges(cavity), Published: 0)];
        });
    }

    /// <summary>Distances of a cavity's corners and triangle centres to the outside, measured by the peers' own program.</summary>
    private static string Distances(PeerInputs inputs, Mesh? cavity, string file, string outside)
    {
        var path = Path.Combine(inputs.Folder, file);
        Directory.CreateDirectory(Path.GetDirectoryName(path)!);
        if (cavity is not null)
        {
            using var stream = File.Create(path);
            StlWriter.Write(stream, cavity, "cavity");
        }
        var run = PeerRun.Of(inputs.Folder, new Peer("CGAL", "build/cgal_query", "distance", file, $"inputs/{outside}.stl"), TimeSpan.FromMinutes(2), timed: false);
        return run.Failure ?? run.Facts;
    }

    private static OwnTask Closest(PeerInputs inputs, string name)
    {
        var mesh = inputs.Mesh("fig1m");
        var points = inputs.Points(name);
        Nearest[] found = [];
        return new(() => found = TriangleTree.Build(mesh).Closest(points), () => [new("mean distance", found.Average(n => n.Distance), 2e-6, name == "near" ? 0.898823 : 9.524761)]);
    }

    private static OwnTask Inside(PeerInputs inputs, string mesh, string truth)
    {
        var m = inputs.Mesh(mesh);
        var points = inputs.Points("points");
        var direct = inputs.Truth(truth);
        int[] windings = [];
        return new(() => windings = TriangleTree.Build(m).Windings(points), () =>
            [new("wrong of 2000", Enumerable.Range(0, direct.Length).Count(i => direct[i] > 0.5f != windings[i] >= 1), Published: 0), new("inside", windings.Count(w => w >= 1), 200)]);
    }

    /// <summary>Triangles missing, doubled and turned: inside is where solid angles add up to half a turn or more.</summary>
    private static OwnTask InsideSoup(PeerInputs inputs)
    {
        var m = inputs.Mesh("soup");
        var points = inputs.Points("points");
        var direct = inputs.Truth("truth");
        double[] windings = [];
        return new(() => windings = SoupWinding.Build(TriangleTree.Build(m)).At(points), () =>
            [new("wrong of 2000", Enumerable.Range(0, direct.Length).Count(i => direct[i] > 0.5f != windings[i] > 0.5), Published: 0), new("inside", windings.Count(w => w > 0.5), 200)]);
    }
}
