using System.Diagnostics;
using System.Globalization;
using Stiltwright.Geometry;
using Stiltwright.Geometry.Booleans;
using Stiltwright.Geometry.Cutting;
using Stiltwright.Geometry.Fields;
using Stiltwright.Geometry.Files;
using Stiltwright.Geometry.Layers;
using Stiltwright.Geometry.Simplifying;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Benchmarks;

/// <summary>
/// Every mesh below a folder through every operation of the kernel, scaled to 60 mm: closed? crossings? how far off the volume is.
/// Volumes are compared with figures found another way: the signed volume as a sum over triangles (of the file, by
/// <c>facts.tsv</c> where the folder has one), cuts with the whole, layers with the signed volume of the resolved surface.
/// </summary>
internal static class KernelTable
{
    private const double SizeMm = 60;
    private static readonly string[] Endings = [".stl", ".obj", ".ply", ".3mf"];

    public static int Print(string folder, string[] options)
    {
        var only = Array.IndexOf(options, "--only") is >= 0 and var i && i + 1 < options.Length ? options[i + 1] : "";
        var facts = Facts(Path.Combine(folder, "facts.tsv"));
        var files = Directory.EnumerateFiles(folder, "*", SearchOption.AllDirectories)
            .Where(f => Endings.Contains(Path.GetExtension(f).ToLowerInvariant()) && f.Contains(only, StringComparison.OrdinalIgnoreCase)).Order(StringComparer.Ordinal).ToList();
        Console.WriteLine("| file | triangles | closed shells of all | volume off the file's figure | cut: closed, volumes off | drill: closed, volume | hollow: closed, crossings, least wall | resolved: closed, crossings | simplified: triangles, closed, crossings made, deviation | layers off resolved | inside off direct sum | s |");
        Console.WriteLine("|---|--:|--:|--:|---|---|---|---|---|--:|--:|--:|");
        var faults = 0;
        foreach (var file in files) faults += Row(file, Path.GetRelativePath(folder, file), facts);
        Console.WriteLine();
        Console.WriteLine($"{files.Count} files, {faults} faults");
        return faults == 0 ? 0 : 1;
    }

    private static int Row(string file, string shown, Dictionary<string, double> facts)
    {
        var clock = Stopwatch.StartNew();
        Mesh mesh;
        int shells, closed;
        string volume;
        var faults = 0;
        try
        {
            var read = MeshReader.Read(file, ReadLimits.Default);
            var b = read.Bounds;
            var scale = SizeMm / Math.Max(b.Size.X, Math.Max(b.Size.Y, b.Size.Z));
            var whole = read.ToMesh(new Affine(scale, 0, 0, 0, scale, 0, 0, 0, scale, (b.Min + b.Max) * (-0.5 * scale)), Lattice.For(SizeMm));
            volume = facts.TryGetValue(shown.Replace('\\', '/'), out var fact) && fact != 0 ? Percent(whole.SignedVolumeMm3() / (scale * scale * scale) / fact - 1) : "";
            var safe = Repair.Safe(whole);
            var settled = Orientation.Settle(safe.Mesh, safe.Shells);
            var good = settled.Shells.Shells.Where(s => s.Closed).ToList();
            (shells, closed) = (settled.Shells.Shells.Count, good.Count);
            mesh = settled.Mesh.Part(good.SelectMany(s => s.Triangles).ToArray());
        }
        catch (MeshReadException e)
        {
            Console.WriteLine($"| {shown} | | | refused: {e.Message} |");
            return 0;
        }
        if (mesh.TriangleCount == 0)
        {
            Console.WriteLine($"| {shown} | 0 | 0 of {shells} | {volume} | no closed shell: nothing to do |");
            return 0;
        }
        var before = mesh.SignedVolumeMm3();
        Mesh? resolved = null;
        var cells = new List<string>
        {
            Cell(() =>
            {
                var cut = PlaneCut.Cut(mesh, new Vec3(0.2, 0.1, 1).Unit(), 0.37);
                return (Closed(cut.Below, cut.Above), Percent((cut.Below.SignedVolumeMm3() + cut.Above.SignedVolumeMm3()) / before - 1));
            }),
            Cell(() =>
            {
                var tool = Primitives.Cylinder(mesh.Lattice, new Vec3(0.3, 0.2, -50), new Vec3(0.5, 0.1, 50), 1.5);
                var cut = SolidTool.Subtract(mesh, tool, 1);
                double away = before - cut.Result.SignedVolumeMm3(), common = SolidTool.Common(mesh, tool, 1).Result.SignedVolumeMm3();
                return (Closed(cut.Result), string.Create(CultureInfo.InvariantCulture, $"{away - common:0.0000} mm3 unlike what is common"));
            }),
            Cell(() =>
            {
                var r = CavityBuilder.Build(mesh, new CavityRequest { WallMm = 1.5 });
                if (r.Refusal is not null) return (true, r.Refusal);
                if (r.Parts.Count == 0) return (true, "too thin");
                var all = r.Parts.Select(p => p.Surface).ToArray();
                var crossings = all.Sum(m => SelfCrossings.Find(m).Count);
                var least = r.Parts.Min(p => p.WallMinMm);
                return (Closed(all) && crossings == 0 && least >= 1.499, string.Create(CultureInfo.InvariantCulture, $"{crossings} crossings, wall {least:0.000}"));
            }),
            Cell(() =>
            {
                resolved = MeshBoolean.Resolved(mesh);
                // By place: surfaces that only touch have vertices of their own there.
                var crossings = SelfCrossings.Find(resolved.Welded()).Count;
                return (Closed(resolved) && crossings == 0, $"{crossings} crossings");
            }),
            Cell(() =>
            {
                int had = SelfCrossings.Find(mesh).Count;
                var r = SurfaceSimplifier.Simplify(mesh, new SimplifyRequest { DeviationMm = 0.05 });
                if (r.Refusal is not null) return (true, r.Refusal);
                var has = SelfCrossings.Find(r.Surface).Count;
                return (Closed(r.Surface) && (had > 0 || has == 0), string.Create(CultureInfo.InvariantCulture,
                    $"{r.Surface.TriangleCount}, crossings {had} -> {has}, {r.DeviationMm:0.000} mm, volume {Percent(r.Surface.SignedVolumeMm3() / before - 1)}"));
            }),
            Cell(() =>
            {
                // Flat parts need thin layers: what is measured is the kernel, not how coarse the layers are.
                var united = (resolved ?? mesh).SignedVolumeMm3();
                var layer = Math.Min(0.05, Math.Max(0.001, mesh.Bounds.Size.Z / 100));
                if (united == 0) return (true, "no volume");
                var off = LayerScan.Of(mesh, layer, 0.05).VolumeMm3 / united - 1;
                return (Math.Abs(off) < 0.01, Percent(off));
            }),
            Cell(() =>
            {
                var tree = TriangleTree.Build(mesh);
                var random = new Random(7);
                var points = new Vec3[2000];
                for (var k = 0; k < points.Length; k++) points[k] = mesh.Bounds.Min + new Vec3(random.NextDouble() * mesh.Bounds.Size.X, random.NextDouble() * mesh.Bounds.Size.Y, random.NextDouble() * mesh.Bounds.Size.Z);
                int[] windings = tree.Windings(points);
                var sums = SoupWinding.Build(tree).At(points);
                var off = Enumerable.Range(0, points.Length).Count(k => Math.Abs(windings[k] - sums[k]) > 0.5);
                return (off == 0, $"{off} of 2000");
            }),
        };
        Console.WriteLine($"| {shown} | {mesh.TriangleCount} | {closed} of {shells} | {volume} | {string.Join(" | ", cells)} | {clock.Elapsed.TotalSeconds:0.0} |");
        return faults;

        string Cell(Func<(bool Right, string Text)> run)
        {
            try
            {
                var (right, text) = run();
                if (!right) faults++;
                return right ? text : "FAULT " + text;
            }
            catch (Exception e) when (e is CuttingException or ArgumentException or InvalidOperationException)
            {
                // A refusal names the place; anything else is a fault of the kernel.
                if (e is not CuttingException) faults++;
                return (e is CuttingException ? "refused: " : "FAULT ") + e.Message;
            }
        }
    }

    private static bool Closed(params Mesh[] meshes) => meshes.All(Closedness.IsClosed);

    private static string Percent(double share) => share.ToString("+0.0000 %;-0.0000 %;0 %", CultureInfo.InvariantCulture);

    private static Dictionary<string, double> Facts(string file)
    {
        var facts = new Dictionary<string, double>();
        if (!File.Exists(file)) return facts;
        var lines = File.ReadAllLines(file);
        var column = Array.IndexOf(lines[0].Split('\t'), "volume");
        foreach (var line in lines.Skip(1))
        {
            var words = line.Split('\t');
            if (column >= 0 && words.Length > column && double.TryParse(words[column], CultureInfo.InvariantCulture, out var v)) facts[words[0]] = v;
        }
        return facts;
    }
}
