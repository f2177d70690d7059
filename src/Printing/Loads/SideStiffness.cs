using Stiltwright.Geometry;
using Stiltwright.Printing.Strength;

namespace Stiltwright.Printing.Loads;

/// <summary>
/// How stiffly nodes of a frame are held sideways, N/mm. Braces count with the level part of what they are along themselves,
/// E A cos^2/L, and are taken to hold to all sides, as neighbours brace to different sides (common practice); their other ends
/// as firm. Where a strut forks, its other branches that end at the figure count by the side to which they hold least: two
/// branches in one plane with the third missing hold nothing across it. A branch with a bend holds nothing.
/// </summary>
internal sealed class SideStiffness
{
    private const double Straight = 0.02; // most that a branch's joints may lie off its straight line, as a share of its length

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
    /// <param name="holds">True for a node at the figure that holds it by then.</param>
    /// <param name="modulus">Modulus, MPa.</param>
    public SideStiffness WithBranches(StrutFrame frame, List<int> path, ILookup<int, int> branches, Func<int, bool> holds, double modulus)
    {
        var at = (double[])_at.Clone();
        var leans = (List<Lean>[])_leans.Clone();
        for (var i = 0; i + 1 < path.Count; i++)
        {
            var node = frame.Elements[path[i]].Upper;
            double xx = 0, xy = 0, yy = 0;
            var parts = new List<Lean>();
            foreach (var other in branches[node])
            {
                if (other == path[i + 1]) continue;
                var (k, d, of) = Branch(frame, node, other, branches, holds, modulus);
                (xx, xy, yy) = (xx + k * d.X * d.X, xy + k * d.X * d.Y, yy + k * d.Y * d.Y);
                parts.AddRange(of);
            }
            // Smaller eigenvalue of the level stiffness.
            var least = (xx + yy) / 2 - Math.Sqrt((xx - yy) * (xx - yy) / 4 + xy * xy);
            if (!(least > 1e-9 * (xx + yy))) continue;
            at[node] += least;
            var sum = parts.Sum(p => p.Share);
            leans[node] = [.. leans[node] ?? [], .. parts.Select(p => p with { Share = p.Share / sum * least })];
        }
        return new SideStiffness(at, leans);
    }

    // The stiffest straight way from a fork by one of its branches to the figure: stiffness along it, its direction, what it leans on.
    private static (double Stiffness, Vec3 Along, List<Lean> Parts) Branch(StrutFrame frame, int fork, int first, ILookup<int, int> branches, Func<int, bool> holds, double modulus)
    {
        (double Stiffness, Vec3 Along, List<Lean> Parts) best = (0, Vec3.Zero, []);
        var way = new List<int>();
        void Follow(int element, double flexibility)
        {
            flexibility += 1 / Axial(element);
            way.Add(element);
            var upper = frame.Elements[element].Upper;
            var d = frame.Places[upper] - frame.Places[fork];
            if (holds(upper) && 1 / flexibility > best.Stiffness && way.All(e => Off(frame.Places[frame.Elements[e].Upper], d) <= Straight * d.Length))
                best = (1 / flexibility, d.Unit(), [.. way.Select(e => new Lean(e, 0.5, 1 / Axial(e) / flexibility / flexibility))]);
            foreach (var next in branches[upper]) Follow(next, flexibility);
            way.RemoveAt(way.Count - 1);
        }
        double Axial(int element)
        {
            var el = frame.Elements[element];
            var area = frame.Graph.Segments[el.Segment].AreaShare * Math.PI * el.RadiusLower * el.RadiusUpper;
            return Beams.AxialStiffness(area, frame.Places[el.Lower].DistanceTo(frame.Places[el.Upper]), modulus);
        }
        double Off(Vec3 p, Vec3 d) => (p - frame.Places[fork]).Cross(d).Length / d.Length;
        Follow(first, 0);
        return best;
    }

    /// <summary>Stiffness at a node, 0 where nothing holds it.</summary>
    public double At(int node) => _at[node];

    /// <summary>What the stiffness at a node leans on; it goes with the square of a radius.</summary>
    public IEnumerable<Lean> Leans(int node) => (_leans[node] ?? []).Select(l => l with { Share = 2 * l.Share / _at[node] });
}
