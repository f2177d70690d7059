using System.Globalization;
using System.Text.Json;
using Stiltwright.Geometry;
using Stiltwright.Geometry.Files;
using Stiltwright.Printing.Struts;
using Stiltwright.Printing.Struts.Fused;

namespace Stiltwright.Benchmarks;

/// <summary>
/// Recognition against the truth beside each source (<c>NAME.truth.json</c>, written by whatever put the struts on): segments
/// found with their role, axes and radii off, triangles of the figure taken for struts.
/// </summary>
internal static class RolesTable
{
    /// <summary>An axis counts as found where the recognised one passes its middle within this share of the radius, and runs within this angle.</summary>
    private const double AxisShare = 0.5, AxisDegrees = 10;

    /// <summary>Pieces shorter than this share of their radius are steps in a tube, not segments.</summary>
    private const double LeastLengthShare = 0.5;

    private sealed record TruthPart(string Role, Vec3 A, Vec3 B, double RadiusA, double RadiusB);

    public static int Print(string folder, string[] options)
    {
        var only = Array.IndexOf(options, "--only") is >= 0 and var i && i + 1 < options.Length ? options[i + 1] : "";
        Console.WriteLine("| file | fused | triangles | segments of the truth | found with role | foot | pillar | brace | tip | found that are none | median axis off, mm | median radius off | p95 radius off | figure's triangles taken for struts (farthest from a contact, mm) | struts' triangles left in the figure | s |");
        Console.WriteLine("|---|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|");
        foreach (var truth in Directory.EnumerateFiles(folder, "*.truth.json").Where(f => f.Contains(only, StringComparison.OrdinalIgnoreCase)).Order(StringComparer.Ordinal))
            Row(truth, truth.Replace(".truth.json", ".stl", StringComparison.Ordinal));
        return 0;
    }

    private static void Row(string truthFile, string meshFile)
    {
        using var json = JsonDocument.Parse(File.ReadAllBytes(truthFile));
        var root = json.RootElement;
        var shellRoles = root.GetProperty("shells").EnumerateArray().Select(s => s.GetProperty("role").GetString()!).ToList();
        var parts = root.GetProperty("shells").EnumerateArray().Where(s => !s.GetProperty("kind").GetString()!.Contains("ball", StringComparison.Ordinal)).SelectMany(s => s.GetProperty("parts").EnumerateArray())
            .Select(p => new TruthPart(p.GetProperty("role").GetString()!, Point(p.GetProperty("a")), Point(p.GetProperty("b")), p.GetProperty("radiusA").GetDouble(), p.GetProperty("radiusB").GetDouble()))
            .Where(p => p.Role is "foot" or "pillar" or "brace" or "tip" && p.A.DistanceTo(p.B) > LeastLengthShare * Math.Max(p.RadiusA, p.RadiusB)).ToList();
        var contacts = root.GetProperty("struts").EnumerateArray().Where(s => s.TryGetProperty("contact", out _)).Select(s => (At: Point(s.GetProperty("contact")), Radius: s.TryGetProperty("contactRadius", out var r) ? r.GetDouble() : 0)).ToList();

        var file = MeshReader.Read(meshFile, ReadLimits.Default);
        var reach = Math.Max(Largest(file.Bounds.Min), Largest(file.Bounds.Max));
        var raw = file.ToMesh(Affine.Identity, Lattice.For(reach + 1));
        var safe = Repair.Safe(raw);
        var settled = Orientation.Settle(safe.Mesh, safe.Shells);
        var clock = System.Diagnostics.Stopwatch.StartNew();
        var found = Recognition.Recognise(settled.Mesh, settled.Shells, new RecognitionSettings(), default);
        int[] shellOf = settled.Shells.OfTriangle;
        var note = "";
        if (found.MaybeMerged.Count > 0)
        {
            var apart = FusedSeparation.Try(settled.Mesh, settled.Shells, found, new RecognitionSettings(), default);
            note = apart.Source is null ? "not separated: " + apart.Why : "yes";
            if (apart.Source is { } s) (found, shellOf) = (s.Recognised, s.OfTriangle);
        }
        var seconds = clock.Elapsed.TotalSeconds;

        // What is a figure's triangle by the truth: by its shell's corner, or for fused files by its place in the file.
        var ofFigure = OfFigure(root, shellRoles, raw, settled.Mesh, settled.Shells);
        int taken = 0, left = 0;
        double far = 0;
        for (var t = 0; t < settled.Mesh.TriangleCount; t++)
        {
            if (shellOf[t] < 0) continue;
            var role = found.RoleOfShell[shellOf[t]];
            var strut = role is Role.Foot or Role.Pillar or Role.Brace or Role.Tip;
            if (ofFigure[t] && (strut || role == Role.Raft))
            {
                var (a, b, c) = settled.Mesh.Triangle(t);
                var away = contacts.Count == 0 ? 0 : contacts.Min(k => Math.Min(a.DistanceTo(k.At), Math.Min(b.DistanceTo(k.At), c.DistanceTo(k.At))) - 2 * k.Radius);
                taken++;
                far = Math.Max(far, away);
            }
            else if (!ofFigure[t] && role == Role.Figure) left++;
        }

        var segments = found.Graph.Segments;
        var matched = new bool[segments.Count];
        var axis = new List<double>();
        var radius = new List<double>();
        var of = new Dictionary<string, (int Found, int All)>();
        foreach (var p in parts)
        {
            var middle = (p.A + p.B) * 0.5;
            var way = (p.B - p.A).Unit();
            double r = (p.RadiusA + p.RadiusB) / 2, best = double.PositiveInfinity, off = 0;
            var which = -1;
            foreach (var s in segments)
            {
                if (!s.Role.ToString().Equals(p.Role, StringComparison.OrdinalIgnoreCase)) continue;
                var along = (s.To - s.From).Unit();
                if (Math.Abs(along.Dot(way)) < Math.Cos(AxisDegrees * Math.PI / 180)) continue;
                var share = (middle - s.From).Dot(along) / Math.Max(1e-9, s.Length);
                if (share < -0.1 || share > 1.1) continue;
                var away = middle.DistanceTo(s.From + along * (share * s.Length));
                if (away > AxisShare * r || away >= best) continue;
                (best, which, off) = (away, s.Id, Math.Abs((s.RadiusFrom + (s.RadiusTo - s.RadiusFrom) * share) / r - 1));
            }
            var (hit, all) = of.GetValueOrDefault(p.Role);
            of[p.Role] = (hit + (which >= 0 ? 1 : 0), all + 1);
            if (which < 0) continue;
            matched[which] = true;
            axis.Add(best);
            radius.Add(off);
        }
        var hits = of.Values.Sum(v => v.Found);
        string Role1(string role) => of.TryGetValue(role, out var v) ? Percent((double)v.Found / v.All) : "";
        Console.WriteLine(string.Create(CultureInfo.InvariantCulture,
            $"| {Path.GetFileName(meshFile)} | {note} | {settled.Mesh.TriangleCount} | {parts.Count} | {Percent((double)hits / parts.Count)} | {Role1("foot")} | {Role1("pillar")} | {Role1("brace")} | {Role1("tip")} | {matched.Count(m => !m)} | {At(axis, 0.5):0.000} | {Percent(At(radius, 0.5))} | {Percent(At(radius, 0.95))} | {taken} ({far:0.00}) | {left} | {seconds:0.00} |"));
    }

    private static bool[] OfFigure(JsonElement root, List<string> shellRoles, Mesh raw, Mesh mesh, ShellSet shells)
    {
        var result = new bool[mesh.TriangleCount];
        static bool Figure(string role) => role is "figure" or "cavity";
        if (root.TryGetProperty("shellOfTriangle", out var coded))
        {
            var figures = new HashSet<(Vec3, Vec3, Vec3)>();
            var t = 0;
            foreach (var word in coded.GetString()!.Split(' '))
            {
                var x = word.IndexOf('x', StringComparison.Ordinal);
                var shell = int.Parse(x < 0 ? word : word[..x], CultureInfo.InvariantCulture);
                for (var n = x < 0 ? 1 : int.Parse(word[(x + 1)..], CultureInfo.InvariantCulture); n > 0; n--, t++)
                    if (Figure(shellRoles[shell])) figures.Add(Key(raw.Triangle(t)));
            }
            for (var k = 0; k < result.Length; k++) result[k] = figures.Contains(Key(mesh.Triangle(k)));
            return result;
        }
        var corner = root.GetProperty("shells").EnumerateArray().Select((s, n) => (At: Point(s.GetProperty("vertex")), Role: shellRoles[n])).ToList();
        foreach (var shell in shells.Shells)
        {
            var corners = shell.Triangles.SelectMany(k => { var (a, b, c) = mesh.Triangle(k); return new[] { a, b, c }; }).ToHashSet();
            var near = corner.Where(c => shell.Bounds.Grown(1e-3).With(c.At).Equals(shell.Bounds.Grown(1e-3)) && corners.Any(p => p.DistanceTo(c.At) < 2e-4)).ToList();
            if (near.Any(c => Figure(c.Role))) foreach (var k in shell.Triangles) result[k] = true;
        }
        return result;
    }

    private static (Vec3, Vec3, Vec3) Key((Vec3 A, Vec3 B, Vec3 C) t)
    {
        // Turned so that the least corner comes first: cleaning may turn a triangle's order.
        var (a, b, c) = t;
        if (Less(b, a) && Less(b, c)) return (b, c, a);
        return Less(c, a) && Less(c, b) ? (c, a, b) : (a, b, c);
        static bool Less(Vec3 p, Vec3 q) => p.X != q.X ? p.X < q.X : p.Y != q.Y ? p.Y < q.Y : p.Z < q.Z;
    }

    private static Vec3 Point(JsonElement e) => new(e[0].GetDouble(), e[1].GetDouble(), e[2].GetDouble());

    private static double Largest(Vec3 p) => Math.Max(Math.Abs(p.X), Math.Max(Math.Abs(p.Y), Math.Abs(p.Z)));

    private static double At(List<double> values, double share)
    {
        if (values.Count == 0) return double.NaN;
        values.Sort();
        return values[(int)(share * (values.Count - 1))];
    }

    private static string Percent(double share) => share.ToString("0.0 %", CultureInfo.InvariantCulture);
}
