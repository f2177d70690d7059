using Stiltwright.Geometry.Exact;

namespace Stiltwright.Geometry.Cutting;

/// <summary>
/// A piece of the curve in which a triangle of the soup and a triangle of the tool cross. Seen in the soup's triangle the tool's inside
/// lies left of it. Each end lies on an edge: 0..2 of the soup's triangle, 3..5 of the tool's.
/// </summary>
internal readonly record struct CutSegment(int Soup, int Tool, int Start, int End, byte StartEdge, byte EndEdge)
{
    public byte StartOnSoup => (byte)(StartEdge < 3 ? 1 << StartEdge : 0);
    public byte EndOnSoup => (byte)(EndEdge < 3 ? 1 << EndEdge : 0);
    public byte StartOnTool => (byte)(StartEdge >= 3 ? 1 << (StartEdge - 3) : 0);
    public byte EndOnTool => (byte)(EndEdge >= 3 ? 1 << (EndEdge - 3) : 0);
}

/// <summary>Finds where two triangle meshes cross, exactly. Refuses any pair that is not in general position.</summary>
internal sealed class Crossings(int[] soupXyz, int[] soup, int[] toolXyz, int[] tool)
{
    private readonly Dictionary<(int, int, int), int> _known = [];

    public CutPoints Points { get; } = new();

    public List<CutSegment> Segments { get; } = [];

    /// <summary>Tool triangles of pairs that are not in general position.</summary>
    public HashSet<int> Offending { get; } = [];

    /// <summary>A soup triangle of such a pair.</summary>
    public int OffendedSoup { get; private set; } = -1;

    public void Find(List<(int Soup, int Tool)> pairs)
    {
        foreach (var (f, t) in pairs)
            if (!Cross(f, t))
            {
                Offending.Add(t);
                OffendedSoup = f;
            }
    }

    // False where a corner or an edge of one lies exactly on the other (or might: planes and lines count without their ends).
    private bool Cross(int f, int t)
    {
        int f0 = 3 * soup[3 * f], f1 = 3 * soup[3 * f + 1], f2 = 3 * soup[3 * f + 2];
        int t0 = 3 * tool[3 * t], t1 = 3 * tool[3 * t + 1], t2 = 3 * tool[3 * t + 2];
        int s0 = Predicates.Orient3D(soupXyz, f0, toolXyz, t0, t1, t2), s1 = Predicates.Orient3D(soupXyz, f1, toolXyz, t0, t1, t2), s2 = Predicates.Orient3D(soupXyz, f2, toolXyz, t0, t1, t2);
        if (s0 != 0 && s0 == s1 && s1 == s2) return true;
        int r0 = Predicates.Orient3D(toolXyz, t0, soupXyz, f0, f1, f2), r1 = Predicates.Orient3D(toolXyz, t1, soupXyz, f0, f1, f2), r2 = Predicates.Orient3D(toolXyz, t2, soupXyz, f0, f1, f2);
        if (r0 != 0 && r0 == r1 && r1 == r2) return true;
        if (s0 == 0 || s1 == 0 || s2 == 0 || r0 == 0 || r1 == 0 || r2 == 0) return false;

        int start = -1, end = -1;
        byte startEdge = 0, endEdge = 0;
        Span<int> fc = [f0, f1, f2], tc = [t0, t1, t2], s = [s0, s1, s2], r = [r0, r1, r2];
        for (var e = 0; e < 3; e++)
        {
            int n = (e + 1) % 3;
            if (s[e] != s[n])
            {
                var pierces = Pierces(soupXyz, fc[e], fc[n], toolXyz, t0, t1, t2);
                if (pierces == 0) return false;
                if (pierces > 0)
                {
                    var p = Point(false, fc[e], fc[n], t);
                    // From above the tool's triangle to below it: the inside is ahead, so it lies right of what starts here.
                    if (s[e] > 0) { if (end >= 0) return false; (end, endEdge) = (p, (byte)e); }
                    else { if (start >= 0) return false; (start, startEdge) = (p, (byte)e); }
                }
            }
            if (r[e] != r[n])
            {
                var pierces = Pierces(toolXyz, tc[e], tc[n], soupXyz, f0, f1, f2);
                if (pierces == 0) return false;
                if (pierces > 0)
                {
                    var p = Point(true, tc[e], tc[n], f);
                    if (r[e] > 0) { if (start >= 0) return false; (start, startEdge) = (p, (byte)(3 + e)); }
                    else { if (end >= 0) return false; (end, endEdge) = (p, (byte)(3 + e)); }
                }
            }
        }
        if (start < 0 != end < 0) return false;
        if (start >= 0) Segments.Add(new CutSegment(f, t, start, end, startEdge, endEdge));
        return true;
    }

    // 1: the line through p and q passes through the open triangle; -1: it misses the closed one; 0: through an edge or a corner.
    private static int Pierces(int[] first, int p, int q, int[] second, int a, int b, int c)
    {
        int x = Predicates.OrientLines(first, p, q, second, a, b), y = Predicates.OrientLines(first, p, q, second, b, c);
        if (x * y < 0) return -1;
        var z = Predicates.OrientLines(first, p, q, second, c, a);
        if (x * z < 0 || y * z < 0) return -1;
        return x == 0 || y == 0 || z == 0 ? 0 : 1;
    }

    private int Point(bool toolEdge, int p, int q, int facet)
    {
        if (p > q) (p, q) = (q, p);
        // Vertices are told apart by their place in the array; edges of the tool get negative numbers.
        var key = toolEdge ? (~p, ~q, facet) : (p, q, facet);
        if (_known.TryGetValue(key, out var known)) return known;
        var (edgeXyz, facetXyz, c) = toolEdge ? (toolXyz, soupXyz, soup) : (soupXyz, toolXyz, tool);
        int a = 3 * c[3 * facet], b = 3 * c[3 * facet + 1], d = 3 * c[3 * facet + 2];
        Int128 hp = Predicates.Height(edgeXyz, p, facetXyz, a, b, d), hq = Predicates.Height(edgeXyz, q, facetXyz, a, b, d);
        return _known[key] = Points.AddOnEdge(edgeXyz[p], edgeXyz[p + 1], edgeXyz[p + 2], edgeXyz[q], edgeXyz[q + 1], edgeXyz[q + 2], hp, hp - hq);
    }
}
