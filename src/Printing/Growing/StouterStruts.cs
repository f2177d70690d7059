using Stiltwright.Geometry;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Growing;

/// <summary>What making struts thicker did.</summary>
/// <param name="Graph">The struts; the given ones where nothing was won.</param>
/// <param name="Thicker">Segments that are thicker now.</param>
/// <param name="Most">The most times as thick as before that one is; 1 where none is.</param>
/// <param name="OverBefore">Segments over a rule of safety before.</param>
/// <param name="OverAfter">Segments over one now.</param>
public sealed record StouterResult(StrutGraph Graph, IReadOnlyList<int> Thicker, double Most, int OverBefore, int OverAfter);

/// <summary>
/// Makes struts that are used too hard even at the size of plain enlarging a little thicker than that, in rounds: a thicker
/// strut draws more load, so each round is solved anew, and only what brings the sum of overloads down and the hardest no
/// higher is kept. The contact end of a tip grows where its own pull asks for it; else the whole strut, so that its joints
/// keep their proportions.
/// </summary>
public static class StouterStruts
{
    private const int MostRounds = 4;
    private const double Worth = 0.9; // of the sum of overloads that may be left
    private const double Spare = 1.01; // a little more than the load of the last round asks
    private const double NearMm = 0.1; // a thicker strut keeps this far from the figure, unless it was nearer before
    private const double NearContact = 0.4; // upper share of a tip that is near the figure by its purpose

    /// <summary>Thickens.</summary>
    /// <param name="scene">What to keep clear of.</param>
    /// <param name="request">The rules, and the piece with its struts as plain enlarging makes them.</param>
    /// <param name="most">Most times as thick as plain enlarging.</param>
    /// <param name="lattice">Lattice of the set.</param>
    /// <param name="cancel">Stops the work.</param>
    public static StouterResult Thicken(GrowthScene scene, SizingRequest request, double most, Lattice lattice, CancellationToken cancel)
    {
        ArgumentNullException.ThrowIfNull(scene);
        ArgumentNullException.ThrowIfNull(request);
        var struts = request.Enlarged.Struts;
        var source = request.Source is null || request.Rule == SizingRule.Absolute ? null : LoadSolver.Solve(request.Source, cancel);
        IReadOnlyList<OverloadedStrut> Over(StrutGraph graph)
        {
            var now = request with { Enlarged = request.Enlarged with { Struts = graph } };
            return StrutSizing.Overloaded(now, LoadSolver.Solve(now.Enlarged, cancel), source);
        }
        var before = Over(struts);
        var best = (Graph: struts, Over: before);
        var sizes = new Sizes(request, most);
        for (var (round, over) = (0, before); round < MostRounds && over.Count > 0; round++)
        {
            cancel.ThrowIfCancellationRequested();
            if (!sizes.Raise(over)) break;
            var graph = StrutShapes.Resize(struts, sizes.Thicker(), lattice).Graph;
            // Rings that pieces share take the larger size, so what stands in the way is asked of the struts as they came out.
            while (sizes.Forbid(Hindered(scene, struts, graph))) graph = StrutShapes.Resize(struts, sizes.Thicker(), lattice).Graph;
            over = Over(graph);
            if (Sum(over) < Sum(best.Over) && Hardest(over) <= Hardest(before)) best = (graph, over);
        }
        if (ReferenceEquals(best.Graph, struts) || Sum(best.Over) > Worth * Sum(before)) return new StouterResult(struts, [], 1, before.Count, before.Count);
        double By(int i) => Math.Max(Ratio(best.Graph.Segments[i].RadiusFrom, struts.Segments[i].RadiusFrom), Ratio(best.Graph.Segments[i].RadiusTo, struts.Segments[i].RadiusTo));
        var thicker = Enumerable.Range(0, struts.Segments.Count).Where(i => By(i) > 1 + 1e-6).ToList();
        return new StouterResult(best.Graph, thicker, thicker.Select(By).DefaultIfEmpty(1).Max(), before.Count, best.Over.Count);
    }

    private static bool AtContact(StrutSegment g) => g.Role == Role.Tip && (g.ToHeldBy == EndHeldBy.Figure || g.FromHeldBy == EndHeldBy.Figure);

    // Chains of segments that came nearer to something than they may: the figure, the mouth of a drain hole, the printer's edge, another's tip.
    private static IEnumerable<int> Hindered(GrowthScene scene, StrutGraph before, StrutGraph now)
    {
        for (var i = 0; i < now.Segments.Count; i++)
        {
            StrutSegment was = before.Segments[i], g = now.Segments[i];
            double old = Math.Max(was.RadiusFrom, was.RadiusTo), radius = Math.Max(g.RadiusFrom, g.RadiusTo);
            if (radius <= old * (1 + 1e-6) && g.RadiusFrom <= was.RadiusFrom * (1 + 1e-6) && g.RadiusTo <= was.RadiusTo * (1 + 1e-6)) continue;
            Vec3 a = g.From, b = g.To;
            if (g.ToHeldBy == EndHeldBy.Figure) b += (a - b) * NearContact;
            if (g.FromHeldBy == EndHeldBy.Figure) a += (b - a) * NearContact;
            bool Came(Func<double, bool> meets) => meets(radius) && !meets(old);
            var hindered = Came(r => scene.Figure.AnyWithin(a, b, r)) || Came(r => scene.Figure.AnyWithin(a, b, r + NearMm))
                || scene.KeepOut.Any(k => Came(r => Segments.Distance(a, b, k.At, k.At) < r + k.RadiusMm))
                || Came(r => !scene.InRoom(a, r) || !scene.InRoom(b, r))
                || before.Segments.Any(t => t.Role == Role.Tip && t.Chain != g.Chain && Came(r => Segments.Distance(a, b, t.From, t.To) < r + Math.Max(t.RadiusFrom, t.RadiusTo)));
            if (hindered) yield return g.Chain;
        }
    }

    private static double Ratio(double now, double before) => before > 0 ? now / before : 1;

    private static double Sum(IReadOnlyList<OverloadedStrut> over) => over.Sum(o => o.Over - 1);

    private static double Hardest(IReadOnlyList<OverloadedStrut> over) => over.Count == 0 ? 0 : over.Max(o => o.Over);

    /// <summary>How much thicker each strut and each contact end is to be.</summary>
    private sealed class Sizes(SizingRequest request, double most)
    {
        private readonly IReadOnlyList<StrutSegment> _segments = request.Enlarged.Struts.Segments;
        private readonly Dictionary<int, double> _chain = [];
        private readonly Dictionary<int, double> _contact = []; // by tip
        private readonly HashSet<int> _forbidden = []; // chains in whose way something stands

        /// <summary>Lets chains stay as they are; false where all of them did already.</summary>
        public bool Forbid(IEnumerable<int> chains)
        {
            var any = false;
            foreach (var chain in chains) any |= _forbidden.Add(chain);
            return any;
        }

        private bool Stays(StrutSegment g) => g.Role == Role.Unsure || request.Unsure.Contains(g.Id) || _forbidden.Contains(g.Chain);

        /// <summary>Raises what overloads ask for; false where nothing may grow any more.</summary>
        public bool Raise(IReadOnlyList<OverloadedStrut> over)
        {
            var any = false;
            foreach (var o in over)
            {
                var g = _segments[o.Segment];
                if (Stays(g)) continue;
                // Tearing out of a wall goes with the diameter, pull with the area, bending with its 3/2 power; a column with the
                // area at least.
                var by = Spare * (o.Check == LoadCheck.WallPullOut ? o.Over : Math.Sqrt(o.Over));
                if (AtContact(g) && o.Check is LoadCheck.TipPull or LoadCheck.WallPullOut or LoadCheck.ShaftPush) any |= Grow(_contact, g.Id, by);
                else any |= Grow(_chain, g.Chain, by);
            }
            // A contact is not thicker than the tip below it, unless it was.
            foreach (var (tip, by) in _contact.ToArray())
            {
                var g = _segments[tip];
                var (contact, below) = g.ToHeldBy == EndHeldBy.Figure ? (g.RadiusTo, g.RadiusFrom) : (g.RadiusFrom, g.RadiusTo);
                if (contact <= below && contact * by > below * Chain(g)) _chain[g.Chain] = Math.Min(most, contact * by / below);
            }
            return any;
        }

        /// <summary>New radii of all segments that are to be thicker.</summary>
        public List<SegmentSize> Thicker()
        {
            var list = new List<SegmentSize>();
            foreach (var g in _segments)
            {
                if (Stays(g)) continue;
                double shaft = Chain(g), contact = AtContact(g) ? Math.Max(_contact.GetValueOrDefault(g.Id, 1), 1) : shaft;
                var atFrom = AtContact(g) && g.ToHeldBy != EndHeldBy.Figure;
                var (from, to) = (g.RadiusFrom * (atFrom ? contact : shaft), g.RadiusTo * (atFrom || !AtContact(g) ? shaft : contact));
                if (from > g.RadiusFrom || to > g.RadiusTo) list.Add(new SegmentSize(g.Id, from, to));
            }
            return list;
        }

        private bool Grow(Dictionary<int, double> of, int key, double by)
        {
            var now = of.GetValueOrDefault(key, 1);
            var next = Math.Min(most, now * by);
            of[key] = next;
            return next > now * (1 + 1e-6);
        }

        private double Chain(StrutSegment g) => _chain.GetValueOrDefault(g.Chain, 1);
    }
}
