using System.Diagnostics;
using System.Globalization;
using Stiltwright.Geometry;
using Stiltwright.Geometry.Fields;
using Stiltwright.Geometry.Files;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Benchmarks;

/// <summary>
/// Cavities at the program's own settings (wall 2 mm, cell chosen by itself): how thick the wall is at least and how much deeper than
/// asked the surface lies, at points a tenth of a millimetre apart all over it. Bodies with sharp edges in several turns, round ones,
/// and the files named, scaled to one size.
/// </summary>
internal static class CavityTable
{
    private const double Wall = 2, Spacing = 0.1;

    public static int Print(string[] files, double sizeMm)
    {
        Console.WriteLine("| body | triangles | cavity triangles | cell mm | CPU s | wall least | deeper: mean | p99 | most | area over 0.2, share | crossings | volume mm3 |");
        Console.WriteLine("|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|");
        var faults = 0;
        var lattice = Lattice.For(200);
        foreach (var (name, mesh) in Bodies(lattice)) faults += Row(name, mesh);
        foreach (var file in files)
        {
            var read = MeshReader.Read(file, ReadLimits.Default);
            var b = read.Bounds;
            var scale = sizeMm / Math.Max(b.Size.X, Math.Max(b.Size.Y, b.Size.Z));
            var whole = read.ToMesh(new Affine(scale, 0, 0, 0, scale, 0, 0, 0, scale, (b.Min + b.Max) * (-0.5 * scale)), lattice);
            var safe = Repair.Safe(whole);
            var settled = Orientation.Settle(safe.Mesh, safe.Shells);
            faults += Row(Path.GetFileNameWithoutExtension(file), settled.Mesh.Part(settled.Shells.Shells.Where(s => s.Closed).SelectMany(s => s.Triangles).ToArray()));
        }
        return faults == 0 ? 0 : 1;
    }

    private static IEnumerable<(string, Mesh)> Bodies(Lattice lattice)
    {
        var cube = Primitives.Box(lattice, new(-15, -15, -15), new(15, 15, 15));
        yield return ("cube", cube);
        yield return ("cube turned 1", cube.Placed(Affine.Turn(new Vec3(1, 2, 3).Unit(), 0.7), lattice));
        yield return ("cube turned 2", cube.Placed(Affine.Turn(new Vec3(-2, 1, 0.3).Unit(), 1.9), lattice));
        yield return ("tetrahedron", Tetrahedron(lattice, 25));
        yield return ("tetrahedron turned", Tetrahedron(lattice, 25).Placed(Affine.Turn(new Vec3(1, -1, 2).Unit(), 0.9), lattice));
        yield return ("sphere", Primitives.Sphere(lattice, Vec3.Zero, 20, 48));
        yield return ("torus", Primitives.Torus(lattice, Vec3.Zero, new(0, 0, 1), 30, 8, 160, 80));
    }

    private static Mesh Tetrahedron(Lattice lattice, double r)
    {
        int Round(double v) => lattice.Round(v * r / Math.Sqrt(3));
        return new Mesh(lattice, [Round(1), Round(1), Round(1), Round(-1), Round(-1), Round(1), Round(-1), Round(1), Round(-1), Round(1), Round(-1), Round(-1)],
            [0, 2, 1, 0, 1, 3, 0, 3, 2, 1, 2, 3]);
    }

    private static int Row(string name, Mesh mesh)
    {
        if (mesh.SignedVolumeMm3() < 0) mesh = mesh.Turned();
        var before = Process.GetCurrentProcess().TotalProcessorTime;
        var result = CavityBuilder.Build(mesh, new CavityRequest { WallMm = Wall, LeastVolumeMm3 = 150 });
        var cpu = (Process.GetCurrentProcess().TotalProcessorTime - before).TotalSeconds;
        if (result.Parts.Count == 0)
        {
            Console.WriteLine($"| {name} | {mesh.TriangleCount} | {result.Refusal ?? "solid"} |");
            return 0;
        }
        var tree = TriangleTree.Build(mesh);
        var crossings = 0;
        var closed = true;
        double least = double.PositiveInfinity, most = 0, sum = 0, total = 0, over = 0;
        var all = new List<(double Deeper, double Area)>();
        foreach (var part in result.Parts)
        {
            var m = part.Surface;
            crossings += SelfCrossings.Find(m).Count;
            closed &= Closedness.IsClosed(m);
            var points = new List<Vec3>();
            var areas = new List<double>();
            for (var t = 0; t < m.TriangleCount; t++)
            {
                var (a, b, c) = m.Triangle(t);
                var n = Math.Max(1, (int)Math.Ceiling(Math.Max((b - a).Length, Math.Max((c - b).Length, (a - c).Length)) / Spacing));
                var share = m.AreaVector(t).Length / ((n + 1) * (n + 2) / 2);
                for (var i = 0; i <= n; i++)
                    for (var j = 0; i + j <= n; j++)
                    {
                        points.Add(a + (b - a) * ((double)i / n) + (c - a) * ((double)j / n));
                        areas.Add(share);
                    }
            }
            var near = tree.Closest(points.ToArray());
            for (var i = 0; i < near.Length; i++)
            {
                var deeper = near[i].Distance - Wall;
                least = Math.Min(least, near[i].Distance);
                most = Math.Max(most, deeper);
                sum += deeper * areas[i];
                total += areas[i];
                if (deeper > 0.2) over += areas[i];
                all.Add((deeper, areas[i]));
            }
        }
        all.Sort();
        double below = 0, p99 = most;
        foreach (var (deeper, area) in all)
        {
            below += area;
            if (below < 0.99 * total) continue;
            p99 = deeper;
            break;
        }
        Console.WriteLine(string.Create(CultureInfo.InvariantCulture,
            $"| {name} | {mesh.TriangleCount} | {result.Parts.Sum(p => p.Surface.TriangleCount)} | {result.CellMm:0.000} | {cpu:0.00} | {least:0.0000} | {sum / total:0.000} | {p99:0.000} | {most:0.000} | {over / total:0.000 %} | {crossings}{(closed ? "" : ", OPEN")} | {result.Parts.Sum(p => p.VolumeMm3):0.0} |"));
        return crossings == 0 && closed && least >= Wall - 0.001 ? 0 : 1;
    }
}
