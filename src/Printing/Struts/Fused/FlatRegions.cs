using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>A connected region of a surface that lies in one plane.</summary>
/// <param name="Normal">Outward unit normal.</param>
/// <param name="Offset">Normal times any point of the plane, mm.</param>
/// <param name="Area">Area, mm2.</param>
/// <param name="Triangles">Its triangles.</param>
internal sealed record FlatRegion(Vec3 Normal, double Offset, double Area, int[] Triangles);

/// <summary>
/// The flat regions of a mesh: the sides of drawn prisms and frusta are planes however a union has cut them into triangles.
/// </summary>
internal sealed class FlatRegions
{
    /// <summary>Corners of a region lie this near to its plane, mm: well above the rounding of files, well below any facet's step.</summary>
    private const double FlatMm = 5e-4;

    /// <summary>A triangle narrower than this gives no plane of its own, mm.</summary>
    private const double LeastHeightMm = 5e-3;

    /// <summary>Where coordinates were rounded: departure of corners, and narrowest triangle, in steps of the rounding.</summary>
    private const double FlatSteps = 2, HeightSteps = 20;

    private const int Stretch = 8192;

    private FlatRegions(int[] ofTriangle, List<FlatRegion> regions)
    {
        OfTriangle = ofTriangle;
        Regions = regions;
    }

    /// <summary>Region of each triangle, or -1.</summary>
    public int[] OfTriangle { get; }

    public IReadOnlyList<FlatRegion> Regions { get; }

    /// <param name="mesh">The surface.</param>
    /// <param name="twin">Its half-edge pairs.</param>
    /// <param name="step">Step to which its coordinates were rounded, mm; 0 for none.</param>
    /// <param name="ct">Cancels.</param>
    public static FlatRegions Find(Mesh mesh, int[] twin, double step, CancellationToken ct)
    {
        double near = Math.Max(FlatMm, FlatSteps * step), least = Math.Max(LeastHeightMm, HeightSteps * step);
        var n = mesh.TriangleCount;
        var normal = new Vec3[n];
        var area = new double[n];
        var wide = new bool[n];
        Parallel.For(0, (n + Stretch - 1) / Stretch, stretch =>
        {
            for (var t = stretch * Stretch; t < Math.Min(n, (stretch + 1) * Stretch); t++)
            {
                var (a, b, c) = mesh.Triangle(t);
                var v = mesh.AreaVector(t);
                area[t] = v.Length;
                normal[t] = v.Unit();
                var longest = Math.Max(a.DistanceTo(b), Math.Max(b.DistanceTo(c), c.DistanceTo(a)));
                wide[t] = longest > 0 && 2 * area[t] / longest >= least;
            }
        });
        var order = new int[n];
        var key = new double[n];
        for (var t = 0; t < n; t++) (order[t], key[t]) = (t, -area[t]);
        Array.Sort(key, order);

        var of = new int[n];
        Array.Fill(of, -1);
        var regions = new List<FlatRegion>();
        var members = new List<int>();
        foreach (var seed in order)
        {
            if (of[seed] >= 0 || !wide[seed]) continue;
            if ((regions.Count & 1023) == 0) ct.ThrowIfCancellationRequested();
            var id = regions.Count;
            var m = normal[seed];
            var d = m.Dot(mesh.Triangle(seed).A);
            members.Clear();
            members.Add(seed);
            of[seed] = id;
            for (var i = 0; i < members.Count; i++)
                for (var k = 0; k < 3; k++)
                {
                    var g = twin[3 * members[i] + k];
                    if (g < 0 || of[g / 3] >= 0) continue;
                    var u = g / 3;
                    if (wide[u] && normal[u].Dot(m) < 0.5) continue;
                    var (a, b, c) = mesh.Triangle(u);
                    if (Math.Abs(m.Dot(a) - d) > near || Math.Abs(m.Dot(b) - d) > near || Math.Abs(m.Dot(c) - d) > near) continue;
                    of[u] = id;
                    members.Add(u);
                }
            var sum = Vec3.Zero;
            var middle = Vec3.Zero;
            double total = 0;
            foreach (var t in members)
            {
                var (a, b, c) = mesh.Triangle(t);
                sum += mesh.AreaVector(t);
                middle += (a + b + c) * (area[t] / 3);
                total += area[t];
            }
            var mean = sum.Unit();
            regions.Add(new FlatRegion(mean, total > 0 ? mean.Dot(middle / total) : d, total, [.. members]));
        }
        return new FlatRegions(of, regions);
    }
}
