using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>
/// Takes struts and raft off a figure with which they are one surface. Struts are found as the prisms, frusta and balls that
/// their generator drew; the surface is cut along the loops where these leave figure and raft; the holes are closed by flat skins
/// over the loops' own corners, and the struts are drawn anew, whole. What the recognition of separate struts then takes for figure
/// is given back to it; what it is unsure of stays a part of its own, enlarged only. Nothing is separated unless the parts together are the source again.
/// </summary>
public static class FusedSeparation
{
    /// <summary>Greatest difference between the parts together and the source, as a share of the volume of the struts taken off.</summary>
    public const double MostDifference = 0.02;

    /// <summary>Columns of the comparison.</summary>
    private const int Columns = 1_000_000;

    private const int MostRounds = 4;

    /// <summary>A fit that reaches farther below the platform than this is none (a bar of the raft taken for a square one), mm.</summary>
    private const double BelowMm = 0.05;

    /// <summary>A disc under a foot may taper by this, radius over height; a foot's cone tapers more.</summary>
    private const double MostPadTaper = 0.25;

    /// <summary>Separates, or says why not. The mesh is not changed.</summary>
    public static Separation Try(Mesh mesh, ShellSet shells, RecognitionSettings settings, CancellationToken ct)
    {
        ArgumentNullException.ThrowIfNull(mesh);
        ArgumentNullException.ThrowIfNull(shells);
        ArgumentNullException.ThrowIfNull(settings);
        if (shells.Shells.Any(s => !s.Closed)) return new Separation(null, "a surface of the source is open");
        var twin = EdgePairing.Build(mesh).TwinArray;
        var flat = FlatRegions.Find(mesh, twin, ct);
        var size = mesh.Bounds.Size.Length;
        var prisms = PrismFinder.Find(mesh, twin, flat, settings.WidestStrutShare * size, ct);
        var floor = mesh.Bounds.Min.Z;
        prisms.RemoveAll(p => IsPad(p, floor, settings) || Math.Min(p.LowestAt(p.Low), p.LowestAt(p.High)) < floor - BelowMm);
        var rings = RingFinder.Find(mesh, settings.WidestStrutShare * size, ct);
        var draft = new SeparationDraft(mesh, twin, prisms, rings, floor, settings);
        if (draft.Bodies.Count < 3) return new Separation(null, "too few sides of drawn struts are left in it to tell struts from figure");
        for (var round = 0; ; round++)
        {
            ct.ThrowIfCancellationRequested();
            if (draft.Cut() is { } why) return new Separation(null, why);
            var (parts, body) = draft.Parts();
            var whole = Mesh.Concat(mesh.Lattice, parts);
            var found = ShellFinder.Find(whole);
            var recognised = Recognition.RecogniseShells(whole, found, settings, ct);
            var bodyOfShell = BodyOfShell(parts, body, found);
            var back = draft.GiveBack(b => Accepted(recognised, bodyOfShell, b));
            if (back > 0 && round < MostRounds) continue;
            if (back > 0 || recognised.Graph.Segments.Count(s => s.Contact is not null) < 3) return new Separation(null, "what looks like struts does not hold together as such");
            var grid = ColumnGrid.Covering(new Box3(Vec3.Min(mesh.Bounds.Min, whole.Bounds.Min), Vec3.Max(mesh.Bounds.Max, whole.Bounds.Max)),
                ColumnGrid.PitchFor(mesh.Bounds, Columns));
            var taken = Mesh.Concat(mesh.Lattice, parts.Where((_, i) => body[i] >= 0));
            double a = Volume(mesh, grid, ct), b = Volume(whole, grid, ct), both = Volume(Mesh.Concat(mesh.Lattice, [mesh, whole]), grid, ct);
            double struts = Volume(taken, grid, ct), difference = 2 * both - a - b;
            if (difference > MostDifference * struts)
                return new Separation(null, $"the parts would differ from the source by {difference:0.###} mm3, more than {MostDifference:P0} of the {struts:0.#} mm3 of struts");
            return new Separation(new SeparatedSource(whole, found, recognised, draft.Contacts(), draft.SkinMm2(), difference, struts, draft.ShellOfTriangle(body, found, parts)), "");
        }
    }

    private static double Volume(Mesh mesh, ColumnGrid grid, CancellationToken ct) => Geometry.Layers.Columns.Build([new ColumnPart(mesh, 0)], grid, ct).VolumeMm3();

    /// <summary>An upright plate or disc on the platform: part of a raft, and left in one piece with it.</summary>
    internal static bool IsPad(DrawnShaft p, double floor, RecognitionSettings settings)
    {
        var height = p.High - p.Low;
        return Math.Abs(p.Axis.Z) > 0.999 && Math.Abs(p.CornerRadius(p.High) - p.CornerRadius(p.Low)) < MostPadTaper * height
            && Math.Min(p.At(p.Low).Z, p.At(p.High).Z) < floor + 0.05 && height <= Math.Min(settings.MostRaftMm, 2 * p.Size);
    }

    private static Role[] Roles(Recognised r, int[] bodyOfShell, int body) =>
        [.. Enumerable.Range(0, bodyOfShell.Length).Where(s => bodyOfShell[s] == body).Select(s => r.RoleOfShell[s])];

    private static bool Accepted(Recognised r, int[] bodyOfShell, int body) =>
        Roles(r, bodyOfShell, body).All(x => x is Role.Foot or Role.Pillar or Role.Brace or Role.Tip or Role.Raft or Role.Unsure);

    /// <summary>Body of each shell: a number, or one of the draft's marks.</summary>
    private static int[] BodyOfShell(List<Mesh> parts, List<int> body, ShellSet found)
    {
        var result = new int[found.Shells.Count];
        var at = 0;
        for (var i = 0; i < parts.Count; i++)
        {
            for (var t = 0; t < parts[i].TriangleCount; t++) result[found.OfTriangle[at + t]] = body[i];
            at += parts[i].TriangleCount;
        }
        return result;
    }
}
