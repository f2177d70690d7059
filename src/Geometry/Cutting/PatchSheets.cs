namespace Stiltwright.Geometry.Cutting;

/// <summary>
/// The part of a cutting surface (tool or plane) that closes what was cut open of one group of shells. Where the group winds w times
/// around a small triangle of that surface, w copies are laid, one a level: level k covers where w &gt;= k (below zero: where w &lt;= k, turned
/// over). A level shares its vertices with the cut shell along the curves that bound that level and has its own elsewhere, so
/// every edge keeps two triangles even where the group overlaps itself.
/// Codes: a cut point's number, or ~v for vertex v of the cutting surface.
/// </summary>
internal sealed class PatchSheets
{
    private readonly List<(int A, int B, int C, int Winding)> _triangles = [];
    private readonly HashSet<(int Code, int Level)> _shared = [];
    private readonly Dictionary<(int Code, int Level), int> _own = [];

    public bool IsEmpty => _triangles.Count == 0;

    public void AddTriangle(int a, int b, int c, int winding)
    {
        if (winding != 0) _triangles.Add((a, b, c, winding));
    }

    /// <summary>Says that the group's cut edge runs along a-b, with these windings on its two sides.</summary>
    public void AddCurve(int a, int b, int winding, int beside)
    {
        for (var k = Math.Min(winding, beside) + 1; k <= Math.Max(winding, beside); k++)
        {
            var level = k >= 1 ? k : k - 1;
            _shared.Add((a, level));
            _shared.Add((b, level));
        }
    }

    /// <summary>
    /// Writes the copies as triangles, turned over where asked. <paramref name="sharedVertex"/> gives the output vertex of a cut
    /// point, <paramref name="newVertex"/> makes one at a code's place.
    /// </summary>
    public void Emit(bool turned, Func<int, int> sharedVertex, Func<int, int> newVertex, List<int> corners)
    {
        foreach (var (a, b, c, w) in _triangles)
            for (var k = 1; k <= Math.Abs(w); k++)
            {
                var level = w > 0 ? k : -k;
                int x = Vertex(a, level), y = Vertex(b, level), z = Vertex(c, level);
                corners.Add(x);
                if (turned == w > 0) (y, z) = (z, y);
                corners.Add(y);
                corners.Add(z);
            }

        int Vertex(int code, int level)
        {
            if (code >= 0 && _shared.Contains((code, level))) return sharedVertex(code);
            if (_own.TryGetValue((code, level), out var own)) return own;
            return _own[(code, level)] = newVertex(code);
        }
    }
}
