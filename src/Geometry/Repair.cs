namespace Stiltwright.Geometry;

/// <summary>
/// The safe part of repair: what can be done without guessing what the author meant. Each step says what it did, how often
/// and where; everything else is left and reported. Doing it twice changes nothing more.
/// </summary>
public static class Repair
{
    /// <summary>Largest gap that is stitched, mm.</summary>
    public const double StitchMm = 0.001;

    /// <summary>Most edges of a hole that is filled.</summary>
    public const int LargestHoleEdges = 8;

    /// <summary>How far the corners of a hole may lie from a plane, as a share of the hole's length.</summary>
    public const double HoleFlatness = 0.02;

    /// <summary>
    /// Drops null triangles and exact duplicates, stitches gaps up to <see cref="StitchMm"/>, fills small flat holes, and
    /// doubles vertices at which sheets only touch. Surfaces keep their place to within <see cref="StitchMm"/>.
    /// </summary>
    public static OrientedMesh Safe(Mesh mesh)
    {
        ArgumentNullException.ThrowIfNull(mesh);
        var notes = new List<RepairNote>();
        EdgePairing edges;
        // A stitch may lay a triangle on another or bring two borders together: again, until nothing more happens.
        for (var round = 0; ; round++)
        {
            var before = mesh;
            mesh = DropNull(mesh, notes);
            mesh = Duplicates.Drop(mesh, notes);
            edges = EdgePairing.Build(mesh);
            if (edges.Twin.Contains(-1)) mesh = Holes.Fill(Seams.Stitch(mesh, notes), notes);
            if (ReferenceEquals(mesh, before) || round == MostRounds) break;
        }
        if (!ReferenceEquals(edges.Mesh, mesh)) edges = EdgePairing.Build(mesh);
        notes = Summed(notes);
        var apart = edges.WithSheetsApart(out var doubled);
        if (doubled.Count > 0)
        {
            notes.Add(new RepairNote("sheets-parted", doubled.Count, mesh.Vertex(doubled[0]),
                $"{doubled.Count} points at which surfaces only touch each other were doubled, so that each surface has its own; nothing moved."));
            mesh = apart;
            edges = EdgePairing.Build(mesh);
        }
        var shells = ShellFinder.Find(edges);
        ReportOpen(mesh, edges, shells, notes);
        return new OrientedMesh(mesh, shells, notes);
    }

    private const int MostRounds = 8;

    /// <summary>One note a kind: those of later rounds are added to the first, which keeps its place.</summary>
    private static List<RepairNote> Summed(List<RepairNote> notes)
    {
        var sums = new List<RepairNote>();
        foreach (var n in notes)
        {
            var at = sums.FindIndex(s => s.Kind == n.Kind);
            // What was left is left again in each round; only the last word on it counts.
            if (at < 0) sums.Add(n);
            else if (!n.Changed) sums[at] = n;
            else sums[at] = sums[at] with { Count = sums[at].Count + n.Count, Text = $"{sums[at].Text.TrimEnd()} Then {n.Count} more after that." };
        }
        return sums;
    }

    private static Mesh DropNull(Mesh mesh, List<RepairNote> notes)
    {
        var c = mesh.CornersArray;
        var keep = new List<int>(mesh.TriangleCount);
        var first = -1;
        for (var t = 0; t < mesh.TriangleCount; t++)
            if (c[3 * t] != c[3 * t + 1] && c[3 * t + 1] != c[3 * t + 2] && c[3 * t + 2] != c[3 * t]) keep.Add(t);
            else if (first < 0) first = t;
        if (first < 0) return mesh;
        notes.Add(new RepairNote("null-triangles", mesh.TriangleCount - keep.Count, mesh.Vertex(c[3 * first]),
            $"{mesh.TriangleCount - keep.Count} triangles with two corners in one point were dropped."));
        return Without(mesh, keep);
    }

    /// <summary>The kept triangles, in order, on the same vertices.</summary>
    internal static Mesh Without(Mesh mesh, List<int> keep)
    {
        var corners = new int[3 * keep.Count];
        for (var i = 0; i < keep.Count; i++) mesh.Corners.Slice(3 * keep[i], 3).CopyTo(corners.AsSpan(3 * i));
        return new Mesh(mesh.Lattice, mesh.XyzArray, corners);
    }

    private static void ReportOpen(Mesh mesh, EdgePairing edges, ShellSet shells, List<RepairNote> notes)
    {
        var open = shells.Shells.Sum(s => s.OpenEdges);
        if (open == 0) return;
        var first = edges.Twin.IndexOf(-1);
        var count = shells.Shells.Count(s => s.OpenEdges > 0);
        notes.Add(new RepairNote("surface-open", open, mesh.Vertex(mesh.Corners[first]),
            $"{open} edges of {count} {(count == 1 ? "surface" : "surfaces")} have no neighbour: the surface is open there. It was left as it is.", false));
    }
}
