using Stiltwright.Printing.Strength;

namespace Stiltwright.Printing.Loads;

/// <summary>
/// How stiffly nodes of a frame are held sideways, N/mm: by braces, and where a strut forks by its other branches that end at
/// the figure. Each is a bar along itself; what counts is its level part, E A cos^2/L.
/// </summary>
internal sealed class SideStiffness
{
    private readonly double[] _at;
    private readonly List<Lean>[] _leans;

    private SideStiffness(double[] at, List<Lean>[] leans) => (_at, _leans) = (at, leans);

    /// <summary>By the braces alone.</summary>
    public static SideStiffness OfBraces(StrutFrame frame, double modulus)
    {
        var at = new double[frame.Places.Count];
        var leans = new List<Lean>[at.Length];
        for (var b = 0; b < frame.Bars.Count; b++)
        {
            var bar = frame.Bars[b];
            var g = frame.Graph.Segments[bar.Segment];
            var d = bar.B - bar.A;
            var k = Beams.AxialStiffness(g.AreaShare * Math.PI * g.RadiusFrom * g.RadiusTo, d.Length, modulus) * (d.X * d.X + d.Y * d.Y) / d.LengthSquared;
            foreach (var node in (ReadOnlySpan<int>)[bar.NodeA, bar.NodeB])
            {
                if (node < 0) continue;
                at[node] += k;
                (leans[node] ??= []).Add(new Lean(frame.Elements.Count + b, 0.5, k)); // made a share of the node's stiffness when asked
            }
        }
        return new SideStiffness(at, leans);
    }

    /// <summary>The same, with what other branches give at the forks of one strut.</summary>
    /// <param name="frame">The frame.</param>
    /// <param name="path">Elements of the strut from its root to one end.</param>
    /// <param name="branches">Elements above each node.</param>
    /// <param name="touches">Nodes at the figure.</param>
    /// <param name="modulus">Modulus, MPa.</param>
    public SideStiffness WithBranches(StrutFrame frame, List<int> path, ILookup<int, int> branches, HashSet<int> touches, double modulus)
    {
        var at = (double[])_at.Clone();
        var leans = (List<Lean>[])_leans.Clone();
        for (var i = 0; i + 1 < path.Count; i++)
        {
            var node = frame.Elements[path[i]].Upper;
            foreach (var other in branches[node])
            {
                if (other == path[i + 1]) continue;
                var (k, parts) = Branch(frame, node, other, branches, touches, modulus);
                if (!(k > 0)) continue;
                at[node] += k;
                leans[node] = [.. leans[node] ?? [], .. parts];
            }
        }
        return new SideStiffness(at, leans);
    }

    // The stiffest way from a fork by one of its branches to the figure.
    private static (double Stiffness, List<Lean> Parts) Branch(StrutFrame frame, int fork, int first, ILookup<int, int> branches, HashSet<int> touches, double modulus)
    {
        double best = 0;
        List<Lean> parts = [];
        var way = new List<int>();
        void Follow(int element, double flexibility)
        {
            var el = frame.Elements[element];
            var g = frame.Graph.Segments[el.Segment];
            flexibility += 1 / Beams.AxialStiffness(g.AreaShare * Math.PI * el.RadiusLower * el.RadiusUpper, frame.Places[el.Lower].DistanceTo(frame.Places[el.Upper]), modulus);
            way.Add(element);
            if (touches.Contains(el.Upper))
            {
                var d = frame.Places[el.Upper] - frame.Places[fork];
                var k = (d.X * d.X + d.Y * d.Y) / d.LengthSquared / flexibility;
                if (k > best)
                {
                    best = k;
                    parts = [.. way.Select(e => new Lean(e, 0.5, k * Share(e, flexibility)))];
                }
            }
            foreach (var next in branches[el.Upper]) Follow(next, flexibility);
            way.RemoveAt(way.Count - 1);
        }
        double Share(int element, double flexibility)
        {
            var el = frame.Elements[element];
            var g = frame.Graph.Segments[el.Segment];
            return 1 / Beams.AxialStiffness(g.AreaShare * Math.PI * el.RadiusLower * el.RadiusUpper, frame.Places[el.Lower].DistanceTo(frame.Places[el.Upper]), modulus) / flexibility;
        }
        Follow(first, 0);
        return (best, parts);
    }

    /// <summary>Stiffness at a node, 0 where nothing holds it.</summary>
    public double At(int node) => _at[node];

    /// <summary>What the stiffness at a node leans on; it goes with the square of a radius.</summary>
    public IEnumerable<Lean> Leans(int node) => (_leans[node] ?? []).Select(l => l with { Share = 2 * l.Share / _at[node] });
}
