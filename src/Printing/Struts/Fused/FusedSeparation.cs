using System.Globalization;
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

    /// <summary>Separates every shell that may be merged with struts, or says why not. The mesh is not changed.</summary>
    public static Separation Try(Mesh mesh, ShellSet shells, RecognitionSettings settings, CancellationToken ct)
    {
        ArgumentNullException.ThrowIfNull(shells);
        var found = Recognition.Recognise(mesh, shells, settings, ct);
        var all = shells.Shells.Where(s => s.Closed && s.SignedVolumeMm3 > 0).Select(s => s.Index).ToList();
        return Try(mesh, shells, found.MaybeMerged.Count > 0 ? found : found with { MaybeMerged = all, Merged = all }, settings, ct);
    }

    /// <summary>Separates the shells that a first look took for merged with struts, or says why not. The mesh is not changed.</summary>
    public static Separation Try(Mesh mesh, ShellSet shells, Recognised first, RecognitionSettings settings, CancellationToken ct)
    {
        ArgumentNullException.ThrowIfNull(mesh);
        ArgumentNullException.ThrowIfNull(shells);
        ArgumentNullException.ThrowIfNull(first);
        ArgumentNullException.ThrowIfNull(settings);
        var source = new MergedSurfaces(mesh, shells, first.MaybeMerged);
        var merged = source.Mesh;
        var rounded = RoundedCoordinates.StepMm(merged);
        var step = Math.Min(rounded, RoundedCoordinates.CoarsestMm);
        var twin = EdgePairing.Build(merged).TwinArray;
        var flat = FlatRegions.Find(merged, twin, step, ct);
        var size = mesh.Bounds.Size.Length;
        var prisms = PrismFinder.Find(merged, twin, flat, settings.WidestStrutShare * size, step, source.ShellOf, ct);
        var floor = mesh.Bounds.Min.Z;
        prisms.RemoveAll(p => IsPad(p, floor, settings) || Math.Min(p.LowestAt(p.Low), p.LowestAt(p.High)) < floor - BelowMm);
        var rings = RingFinder.Find(merged, settings.WidestStrutShare * size, step, ct);
        var draft = new SeparationDraft(merged, twin, prisms, rings, floor, step, settings);
        if (draft.Bodies.Count < 3) return new Separation(null, "too few sides of drawn struts are left in it to tell struts from figure" + Rounding(rounded));
        var pure = new StrutsOnly(merged, source, first.Merged);
        for (var round = 0; ; round++)
        {
            ct.ThrowIfCancellationRequested();
            do
            {
                if (draft.Cut() is { } why) return new Separation(null, why);
            }
            while (draft.GiveBackWhere(pure.Refused(draft.Kept, round == 0)) > 0);
            var (parts, body) = draft.Parts();
            for (var i = 0; i < source.Rest.Count; i++)
            {
                parts.Add(source.Rest[i]);
                body.Add(SeparationDraft.RestPart);
            }
            var whole = Mesh.Concat(mesh.Lattice, parts);
            var found = ShellFinder.Find(whole);
            var recognised = Recognition.RecogniseShells(whole, found, settings, ct);
            var bodyOfShell = BodyOfShell(parts, body, found);
            var back = draft.GiveBack(b => Accepted(recognised, bodyOfShell, b));
            if (back > 0 && round < MostRounds) continue;
            if (!body.Exists(b => b >= 0) || back > 0 || recognised.Graph.Segments.Count(s => s.Contact is not null) < 3) return new Separation(null, "what looks like struts does not hold together as such" + Rounding(rounded));
            var taken = Mesh.Concat(mesh.Lattice, parts.Where((_, i) => body[i] >= 0));
            var apart = Mesh.Concat(mesh.Lattice, parts.Where((_, i) => body[i] != SeparationDraft.RestPart));
            var grid = ColumnGrid.Covering(new Box3(Vec3.Min(merged.Bounds.Min, apart.Bounds.Min), Vec3.Max(merged.Bounds.Max, apart.Bounds.Max)),
                ColumnGrid.PitchFor(merged.Bounds, Columns));
            double a = Volume(merged, grid, ct), b = Volume(apart, grid, ct), both = Volume(Mesh.Concat(mesh.Lattice, [merged, apart]), grid, ct);
            double struts = Volume(taken, grid, ct), difference = 2 * both - a - b;
            if (difference > MostDifference * struts)
                return new Separation(null, $"the parts would differ from the source by {difference:0.###} mm3, more than {MostDifference:P0} of the {struts:0.#} mm3 of struts");
            var (contacts, skin) = draft.Contacts(pure.HasFigure);
            var roles = pure.LeftoversUnsure(recognised, found, parts, body, draft.Kept);
            var shellOfTriangle = ShellOfTriangle(mesh, source, draft.ShellOfTriangle(body, found, parts), found, parts, body);
            return new Separation(new SeparatedSource(whole, found, StillMerged.Unsure(roles, first, shells, shellOfTriangle, found, draft.Taken(), source), contacts, skin, difference, struts, shellOfTriangle), "");
        }
    }

    private static string Rounding(double stepMm) =>
        stepMm > RoundedCoordinates.CoarsestMm ? string.Create(CultureInfo.InvariantCulture, $" (its coordinates were rounded to {stepMm:0.###} mm; write it with three decimals or more, or in binary)") : "";

    /// <summary>Shell of the separated source for each triangle of the source, -1 inside joints.</summary>
    private static int[] ShellOfTriangle(Mesh mesh, MergedSurfaces source, int[] ofMerged, ShellSet found, List<Mesh> parts, List<int> body)
    {
        var result = new int[mesh.TriangleCount];
        for (var t = 0; t < ofMerged.Length; t++) result[source.SourceTriangle(t)] = ofMerged[t];
        int at = 0, rest = 0;
        for (var i = 0; i < parts.Count; i++)
        {
            if (body[i] == SeparationDraft.RestPart)
            {
                var triangles = source.RestTriangles[rest++];
                for (var k = 0; k < triangles.Length; k++) result[triangles[k]] = found.OfTriangle[at + k];
            }
            at += parts[i].TriangleCount;
        }
        return result;
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
