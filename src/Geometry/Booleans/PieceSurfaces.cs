using Stiltwright.Geometry.Cutting;
using Stiltwright.Geometry.Exact;

namespace Stiltwright.Geometry.Booleans;

/// <summary>A piece of a facet that nothing crosses, unique in its place: corners counter-clockwise seen from its front.</summary>
internal struct Piece
{
    /// <summary>Vertices.</summary>
    public int A, B, C;

    /// <summary>A facet in the same plane, whose normal points to the piece's front.</summary>
    public int Facet;

    /// <summary>How much higher each operand winds behind the piece than before it.</summary>
    public int StepA, StepB;

    /// <summary>Winding of each operand before the piece; set by <see cref="PieceWindings"/>.</summary>
    public int FrontA, FrontB;
}

/// <summary>The pieces into which all facets fall. Facets that overlap in a plane are divided by one arrangement, so each place has one piece.</summary>
internal sealed class PieceSurfaces
{
    // Counts of the second operand are carried in the upper part of one number.
    private const int StepOfB = 1 << 15;

    private Piece[] _pieces = new Piece[1024];

    public int Count { get; private set; }

    public ref Piece this[int i] => ref _pieces[i];

    public static PieceSurfaces Divide(BooleanFacets facets, CancellationToken cancel)
    {
        var pieces = new PieceSurfaces();
        var members = new Dictionary<int, List<int>>();
        for (var f = 0; f < facets.Count; f++)
        {
            var g = facets.GroupOf(f);
            if (g == f) continue;
            if (!members.TryGetValue(g, out var list)) members[g] = list = [g];
            list.Add(f);
        }
        var plane = new Arrangement(facets.Points);
        for (var f = 0; f < facets.Count; f++)
        {
            if (facets.GroupOf(f) != f) continue;
            if (members.TryGetValue(f, out var list)) pieces.DivideTogether(facets, plane, list);
            else if (facets.IsMet(f)) pieces.DivideTogether(facets, plane, [f]);
            else
                pieces.Add(new Piece
                {
                    A = facets.Corners[3 * f],
                    B = facets.Corners[3 * f + 1],
                    C = facets.Corners[3 * f + 2],
                    Facet = f,
                    StepA = f < facets.FirstOfB ? 1 : 0,
                    StepB = f < facets.FirstOfB ? 0 : 1,
                });
            if ((f & 1023) == 0) cancel.ThrowIfCancellationRequested();
        }
        return pieces;
    }

    private void Add(in Piece piece)
    {
        if (Count == _pieces.Length) Array.Resize(ref _pieces, 2 * Count);
        _pieces[Count++] = piece;
    }

    private void DivideTogether(BooleanFacets facets, Arrangement plane, List<int> members)
    {
        var first = members[0];
        var n = facets.Normal(first);
        var v = 3 * facets.Corners[3 * first];
        PlaneTriangle.Start(plane, n, (Int128)n.X * facets.Xyz[v] + (Int128)n.Y * facets.Xyz[v + 1] + (Int128)n.Z * facets.Xyz[v + 2]);
        foreach (var f in members)
        {
            for (var k = 0; k < 3; k++) plane.Add(facets.PointOf(facets.Corners[3 * f + k]), 0);
            foreach (var p in facets.PointsOn(f)) plane.Add(p, 0);
        }
        foreach (var f in members)
        {
            for (var k = 0; k < 3; k++)
                plane.AddSegment(plane.Add(facets.PointOf(facets.Corners[3 * f + k]), 0), plane.Add(facets.PointOf(facets.Corners[3 * f + (k + 1) % 3]), 0), f < facets.FirstOfB ? 1 : StepOfB);
            foreach (var (from, to) in facets.SegmentsOn(f)) plane.AddSegment(plane.Add(from, 0), plane.Add(to, 0), 0);
        }
        if (!plane.Settle()) throw new InvalidOperationException("The triangles in one plane do not balance.");
        var outside = plane.Relative(plane.TriangleAtCorner(0));
        for (var t = 0; t < plane.TriangleCount; t++)
        {
            var steps = plane.Relative(t) - outside;
            if (steps == 0) continue;
            var ofB = (steps + StepOfB / 2) >> 15;
            Add(new Piece
            {
                A = facets.VertexOf(plane.Corner(t, 0)),
                B = facets.VertexOf(plane.Corner(t, 1)),
                C = facets.VertexOf(plane.Corner(t, 2)),
                Facet = first,
                StepA = steps - ofB * StepOfB,
                StepB = ofB,
            });
        }
    }
}
