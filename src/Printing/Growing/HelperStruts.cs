using Stiltwright.Geometry;
using Stiltwright.Geometry.Spatial;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Growing;

/// <summary>What helpers did.</summary>
/// <param name="Graph">The struts with the helpers behind them; older numbers stay.</param>
/// <param name="Grown">The helpers.</param>
/// <param name="OverBefore">Segments over a rule of safety without them.</param>
/// <param name="OverAfter">Segments over one with them.</param>
public sealed record HelperResult(StrutGraph Graph, IReadOnlyList<GrownStrut> Grown, int OverBefore, int OverAfter);

/// <summary>
/// Sets struts beside such as are used too hard even at the size of plain enlarging, so that they share the load. In rounds:
/// loads are solved, each overloaded strut gets one helper near the contact through which it is loaded, and a round that
/// does not bring the sum of all overloads down is taken back and tried strut by strut.
/// </summary>
public static class HelperStruts
{
    private const int MostRounds = 4;
    private const int Around = 12; // directions in which a place for a helper is looked for
    private const int MostPlaces = 8; // that are tried for one helper
    private const double LeastRise = 0.35; // of the surface's normal, downwards
    private const double Worth = 0.95; // of the sum of overloads that a round may leave
    private const double LeastShare = 0.6; // of a full-sized shaft or cone
    private const int MostSolves = 24; // of the loads, in all
    private const int MostAlone = 6; // overloaded struts that are helped one by one
    private const int StoutPasses = 3; // in which overloaded helpers are made thicker
    private const double MostStout = 2.5; // times as thick as the figure's own struts
    private static readonly double[] Away = [1.2, 1.8, 2.6, 3.6, 5]; // times the least distance of two struts

    /// <summary>Adds helpers until no strut is over a rule, no place is left or nothing is won.</summary>
    /// <param name="scene">What to keep clear of and stand on.</param>
    /// <param name="surface">The figure's outer surface, without cavities: contacts lie on it.</param>
    /// <param name="request">The rules, and the piece with its struts as plain enlarging makes them.</param>
    /// <param name="sizes">Sizes of a helper.</param>
    /// <param name="most">Most helpers.</param>
    /// <param name="lattice">Lattice of the set.</param>
    /// <param name="cancel">Stops the work.</param>
    public static HelperResult Add(GrowthScene scene, TriangleTree surface, SizingRequest request, GrowthSizes sizes, int most, Lattice lattice, CancellationToken cancel)
    {
        ArgumentNullException.ThrowIfNull(scene);
        ArgumentNullException.ThrowIfNull(surface);
        ArgumentNullException.ThrowIfNull(request);
        ArgumentNullException.ThrowIfNull(sizes);
        if (most <= 0) return new HelperResult(request.Enlarged.Struts, [], 0, 0);
        var graph = request.Enlarged.Struts;
        var source = request.Source is null || request.Rule == SizingRule.Absolute ? null : LoadSolver.Solve(request.Source, cancel);
        var solves = 0;
        (LoadResult Load, IReadOnlyList<OverloadedStrut> Over) Solve(StrutGraph struts)
        {
            solves++;
            var now = request with { Enlarged = request.Enlarged with { Struts = struts } };
            var load = LoadSolver.Solve(now.Enlarged, cancel);
            return (load, StrutSizing.Overloaded(now, load, source));
        }
        // What is over at some layers: no use can be less over all layers than over some.
        IReadOnlyList<OverloadedStrut> Glance(StrutGraph struts, IEnumerable<int> at)
        {
            var now = request with { Enlarged = request.Enlarged with { Struts = struts } };
            var layers = new bool[request.Enlarged.Figure.Count];
            foreach (var layer in at) layers[Math.Clamp(layer, 1, layers.Length) - 1] = true;
            return StrutSizing.Overloaded(now, LoadSolver.Solve(now.Enlarged, layers, null, cancel), source);
        }
        var (load, over) = Solve(graph);
        var before = over.Count;
        var grown = new List<GrownStrut>();
        var hopeless = new HashSet<int>(); // contacts beside which a helper was tried in vain
        for (var round = 0; round < MostRounds && over.Count > 0 && grown.Count < most && solves < MostSolves; round++)
        {
            var contacts = Loaded(graph, load, over).Where(c => !hopeless.Contains(c.Segment)).Take(most - grown.Count).ToList();
            // All at once; where they do more harm than good together (a stiff helper draws load to its neighbours), one by one.
            if (Try(contacts)) continue;
            var any = false;
            foreach (var contact in contacts.Take(contacts.Count > 1 ? MostAlone : 0))
            {
                if (solves >= MostSolves) break;
                if (Try([contact])) any = true;
                else hopeless.Add(contact.Segment);
            }
            if (!any) break;
        }

        // Adds a helper beside each contact that has a place for one; answers whether overloads fell, else all is as before.
        bool Try(List<ContactLoad> contacts)
        {
            var next = graph;
            var helpers = new List<GrownStrut>();
            foreach (var contact in contacts)
            {
                if (Helper(scene, surface, request.Enlarged.Figure, next, contact, sizes, lattice, cancel) is not { } result) continue;
                next = result.Graph;
                helpers.AddRange(result.Grown);
            }
            if (helpers.Count == 0) return false;
            // Most attempts that win nothing are told by the few layers at which struts are overloaded.
            if (Glance(next, over.Select(o => o.AtLayer)) is var glance && Sum(glance) > Worth * Sum(over) && Stouter(helpers, glance, sizes) is null) return false;
            var best = (Graph: next, Helpers: helpers, Solved: Solve(next));
            // Helpers that are overloaded themselves are made as thick as their loads ask, told by the layers at which they and the
            // overloaded ones are loaded hardest; what that ends with is solved at all layers.
            var (stout, ofStout, left) = (best.Graph, best.Helpers, best.Solved.Over);
            var hardest = best.Solved.Over.Select(o => o.AtLayer).Concat(best.Helpers.SelectMany(h => h.Segments).SelectMany(i => best.Solved.Load.Segments[i].LayerOf)).Where(l => l > 0).ToList();
            for (var pass = 0; pass < StoutPasses && Stouter(ofStout, left, sizes) is { } spots; pass++)
            {
                var again = StrutGrowth.Grow(scene, graph, spots, sizes, lattice, cancel, new GrowthResult(stout, ofStout, []));
                if (!again.Grown.All(g => Fit(again.Graph, g, sizes))) break;
                (stout, ofStout, left) = (again.Graph, [.. again.Grown], Glance(again.Graph, hardest));
            }
            if (!ReferenceEquals(stout, best.Graph) && solves < MostSolves && Solve(stout) is var solved && Sum(solved.Over) < Sum(best.Solved.Over)) best = (stout, ofStout, solved);
            // Fewer overloads in all, and the hardest of them no harder: that one breaks first.
            if (Sum(best.Solved.Over) > Worth * Sum(over) || Hardest(best.Solved.Over) > Hardest(over)) return false;
            (graph, load, over) = (best.Graph, best.Solved.Load, best.Solved.Over);
            grown.AddRange(best.Helpers);
            return true;
        }
        return new HelperResult(graph, grown, before, over.Count);
    }

    private static List<GrowthSpot>? Stouter(List<GrownStrut> helpers, IReadOnlyList<OverloadedStrut> over, GrowthSizes sizes)
    {
        var of = over.ToDictionary(o => o.Segment, o => o.Over);
        var thicker = false;
        var spots = new List<GrowthSpot>();
        foreach (var h in helpers)
        {
            var most = h.Segments.Max(i => of.GetValueOrDefault(i, 1));
            thicker |= most > 1;
            var now = h.Spot.Sizes ?? sizes;
            spots.Add(most > 1 ? h.Spot with { Sizes = now.Stouter(Math.Min(MostStout * sizes.ShaftRadius / now.ShaftRadius, Math.Sqrt(most))) } : h.Spot);
        }
        return thicker ? spots : null;
    }

    private static double Sum(IReadOnlyList<OverloadedStrut> over) => over.Sum(o => o.Over - 1);

    private static double Hardest(IReadOnlyList<OverloadedStrut> over) => over.Count == 0 ? 0 : over.Max(o => o.Over);

    // For each overloaded segment the contact above it that is pulled hardest; each contact once, that of the hardest first.
    private static IEnumerable<ContactLoad> Loaded(StrutGraph struts, LoadResult load, IReadOnlyList<OverloadedStrut> over)
    {
        var above = new List<int>[struts.Segments.Count];
        for (var i = 0; i < above.Length; i++) above[i] = [];
        foreach (var s in struts.Segments)
        {
            if (s.Role == Role.Brace) continue;
            foreach (var j in s.FromJoins)
                if ((uint)j < (uint)above.Length && struts.Segments[j].Role != Role.Brace) above[j].Add(s.Id);
        }
        var at = load.Contacts.Where(c => c.Body >= 0).ToLookup(c => c.Segment);
        var taken = new HashSet<int>();
        foreach (var o in over)
        {
            var s = struts.Segments[o.Segment];
            var todo = new Queue<int>(s.Role == Role.Brace ? s.FromJoins.Concat(s.ToJoins) : [s.Id]);
            var seen = new HashSet<int>(todo);
            ContactLoad? hardest = null;
            while (todo.TryDequeue(out var i))
            {
                foreach (var c in at[i])
                    if (hardest is null || c.PullN > hardest.PullN) hardest = c;
                foreach (var j in above[i])
                    if (seen.Add(j)) todo.Enqueue(j);
            }
            if (hardest is not null && taken.Add(hardest.Segment)) yield return hardest;
        }
    }

    private static GrowthResult? Helper(GrowthScene scene, TriangleTree surface, FigureLayers figure, StrutGraph struts, ContactLoad beside, GrowthSizes sizes, Lattice lattice, CancellationToken cancel)
    {
        var apart = 2 * Math.Max(sizes.ShaftRadius, sizes.ContactRadius) + GrowthScene.FromTipsMm;
        var contacts = struts.Segments.Where(s => s.Contact is not null).Select(s => s.Contact!.Value).ToList();
        var places = new List<(Vec3 At, Vec3 Normal, double Cost)>();
        foreach (var away in Away)
            for (var k = 0; k < Around; k++)
            {
                var (s, c) = Math.SinCos(2 * Math.PI * k / Around);
                var r = away * apart;
                var near = surface.Closest(beside.At + new Vec3(r * c, r * s, 0), r);
                if (!near.Found) continue;
                var normal = surface.Mesh.AreaVector(near.Triangle).Unit();
                var from = near.Point.DistanceTo(beside.At);
                if (normal.Z > -LeastRise || from < apart || near.Point.Z > beside.At.Z + r) continue;
                if (contacts.Any(p => p.DistanceTo(near.Point) < apart)) continue;
                if (figure.BodyOfContact(near.Point, -normal, sizes.ContactRadius) is not (>= 0 and var body) || !Joined(figure, body, beside)) continue;
                places.Add((near.Point, normal, from + 2 * Math.Max(0, near.Point.Z - beside.At.Z)));
            }
        foreach (var (at, normal, _) in places.OrderBy(p => p.Cost).Take(MostPlaces))
        {
            var result = StrutGrowth.Grow(scene, struts, [new GrowthSpot(at, normal, "shares the load of a strut beside it")], sizes, lattice, cancel);
            if (result.Grown.Count == 1 && Fit(result.Graph, result.Grown[0], sizes)) return result;
        }
        return null;
    }

    // A thin helper would be the next one overloaded, and one that stands on the figure leaves a second mark.
    private static bool Fit(StrutGraph graph, GrownStrut helper, GrowthSizes sizes)
    {
        if (helper.HeldBy == EndHeldBy.Figure) return false;
        var own = helper.Segments.Select(i => graph.Segments[i]).ToList();
        return own.Count == 1
            ? own[0].RadiusTo >= LeastShare * sizes.ContactRadius // a plain cone
            : own.Where(s => s.Role == Role.Pillar).Select(s => s.RadiusTo).DefaultIfEmpty(0).Max() >= LeastShare * sizes.ShaftRadius;
    }

    // A helper shares a load only where both hold the same part of the figure, at the latest when the print is done.
    private static bool Joined(FigureLayers figure, int body, ContactLoad beside) =>
        figure.RootAt(body, figure.Count - 1) == figure.RootAt(beside.Body, figure.Count - 1);
}
