using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>
/// Which merged shells are struts and raft and nothing else. One that only may be merged is taken apart where it proves to be that;
/// and what is left of such a shell is no figure: it stays a part of its own, enlarged only.
/// </summary>
internal sealed class StrutsOnly
{
    /// <summary>Share of a shell's surface (its raft apart) that drawn struts must explain at first, and once some were given back.</summary>
    private const double LeastExplained = 0.95, LeastExplainedLater = 0.5;

    /// <summary>Rounding of a sum of areas, as a share of it.</summary>
    private const double NothingShare = 1e-9;

    private readonly Mesh _mesh;
    private readonly MergedSurfaces _source;
    private readonly HashSet<int> _sure;
    private readonly Dictionary<int, double> _area = [];
    private readonly HashSet<int> _impure = [];
    private readonly HashSet<int> _pure = [];

    public StrutsOnly(Mesh mesh, MergedSurfaces source, IEnumerable<int> sure)
    {
        (_mesh, _source) = (mesh, source);
        _sure = [.. sure];
        for (var t = 0; t < mesh.TriangleCount; t++) Add(_area, source.ShellOf(t), mesh.AreaVector(t).Length);
    }

    /// <summary>The test for triangles of shells that are to be given back whole.</summary>
    /// <param name="kept">What the last cut left of figure and raft.</param>
    /// <param name="first">True before any body was given back for another reason.</param>
    public Func<int, bool> Refused(IReadOnlyList<(int[] Triangles, bool Raft, List<CutLoop> Loops)> kept, bool first)
    {
        var left = new Dictionary<int, double>();
        var raft = new Dictionary<int, double>();
        foreach (var part in kept)
        {
            // Low alone is no sign: a coin or a shield may lie as low as a raft, on struts of its own.
            var sum = part.Triangles.Sum(t => _mesh.AreaVector(t).Length);
            Add(part.Raft ? raft : left, _source.ShellOf(part.Triangles[0]), sum);
        }
        foreach (var (shell, area) in _area)
        {
            var share = 1 - left.GetValueOrDefault(shell) / Math.Max(area - raft.GetValueOrDefault(shell), 1e-9);
            // Where no strut was found, nothing shows that there is no figure.
            var explained = area - left.GetValueOrDefault(shell) - raft.GetValueOrDefault(shell);
            if (first && share >= LeastExplained && explained > NothingShare * area) _pure.Add(shell);
            if (!_sure.Contains(shell) && (!_pure.Contains(shell) || share < LeastExplainedLater)) _impure.Add(shell);
            if (share < LeastExplainedLater) _pure.Remove(shell);
        }
        return t => _impure.Contains(_source.ShellOf(t));
    }

    /// <summary>The shell of a triangle has figure in it.</summary>
    public bool HasFigure(int triangle) => !_pure.Contains(_source.ShellOf(triangle));

    /// <summary>Parts left over of shells that are struts only become unsure.</summary>
    public Recognised LeftoversUnsure(Recognised recognised, ShellSet found, List<Mesh> parts, List<int> body, IReadOnlyList<(int[] Triangles, bool Raft, List<CutLoop> Loops)> kept)
    {
        var left = new SortedSet<int>();
        var at = 0;
        for (var i = 0; i < parts.Count; i++)
        {
            // The kept parts come first.
            if (i < kept.Count && body[i] == SeparationDraft.FigurePart && !HasFigure(kept[i].Triangles[0]))
                for (var t = at; t < at + parts[i].TriangleCount; t++) left.Add(found.OfTriangle[t]);
            at += parts[i].TriangleCount;
        }
        return recognised.InDoubt(left.Select(s => (s, 0.7, "left over where struts that are one surface were told apart")));
    }

    private static void Add(Dictionary<int, double> sums, int key, double value) => sums[key] = sums.GetValueOrDefault(key) + value;
}
