using Stiltwright.Printing.Strength;

namespace Stiltwright.Printing.Loads;

/// <summary>A radius that a capacity leans on.</summary>
/// <param name="Part">Element of the frame, or the number of elements plus bar.</param>
/// <param name="Along">Where on it, 0..1 from its lower end; no matter for a bar.</param>
/// <param name="Share">By how many per cent the capacity grows for one per cent of radius there.</param>
internal readonly record struct Lean(int Part, double Along, double Share);

/// <summary>What one element of a strut bears before the strut buckles.</summary>
/// <param name="CapacityN">Push that it bears, N.</param>
/// <param name="Slenderness">Slenderness of the column that it is part of.</param>
/// <param name="Leans">What that depends on.</param>
internal readonly record struct ColumnHold(double CapacityN, double Slenderness, IReadOnlyList<Lean> Leans);

/// <summary>
/// A strut from its root to one end as columns between the places that hold it: ground, braces, figure. A brace that is as
/// stiff as Winter asks (<see cref="Beams.BraceStiffnessNeeded"/>) holds the strut fully. A softer one lifts the buckling load
/// from that of the whole column towards that of its parts in proportion to its stiffness: for a column with an elastic support
/// half-way P = pi^2 E I/L^2 + 3 b L/16, which reaches four times the first term at just the ideal stiffness
/// (Timoshenko and Gere, Theory of elastic stability, from memory). The brace that is stiffest for its place divides first:
/// stiffness times the distance to the nearer end.
/// </summary>
internal sealed class BracedColumn(StrutFrame frame, List<int> path, SideStiffness side, double modulus, double strength)
{
    private readonly ColumnHold[] _holds = new ColumnHold[path.Count];

    /// <summary>One entry an element of the path.</summary>
    public ColumnHold[] Holds()
    {
        Divide(0, path.Count - 1, -1, -1, null);
        return _holds;
    }

    // Elements from..to between two nodes that hold it by braces (-1: ground or figure), as a part of a longer column.
    private void Divide(int from, int to, int below, int above, ColumnHold? whole)
    {
        var own = new Column(frame, path, from, to, from == 0 ? StrutCapacity.FixedPinned : StrutCapacity.PinnedPinned, modulus, strength);
        var hold = new ColumnHold(own.CapacityN, own.Slenderness, own.Leans);
        double low = below < 0 ? double.PositiveInfinity : side.At(below), high = above < 0 ? double.PositiveInfinity : side.At(above);
        var full = Beams.BraceStiffnessNeeded(own.CapacityN, Length(from, to));
        if (whole is { } w && Math.Min(low, high) < full && own.CapacityN > w.CapacityN)
        {
            var t = Math.Min(low, high) / full;
            var capacity = w.CapacityN + t * (own.CapacityN - w.CapacityN);
            // The needed stiffness goes with the part's own capacity, so that the part weighs by t times the whole's capacity.
            hold = new ColumnHold(capacity, w.Slenderness + t * (own.Slenderness - w.Slenderness),
            [
                .. w.Leans.Select(l => l with { Share = l.Share * (1 - t) * w.CapacityN / capacity }),
                .. own.Leans.Select(l => l with { Share = l.Share * t * w.CapacityN / capacity }),
                .. side.Leans(low <= high ? below : above).Select(l => l with { Share = l.Share * t * (own.CapacityN - w.CapacityN) / capacity }),
            ]);
        }
        var best = -1;
        double most = 0;
        for (var i = from; i < to; i++)
        {
            var worth = side.At(frame.Elements[path[i]].Upper) * Math.Min(Length(from, i), Length(i + 1, to));
            if (worth > most) (most, best) = (worth, i);
        }
        if (best < 0)
        {
            Array.Fill(_holds, hold, from, to - from + 1);
            return;
        }
        var there = frame.Elements[path[best]].Upper;
        Divide(from, best, below, there, hold);
        Divide(best + 1, to, there, above, hold);
    }

    private double Length(int from, int to)
    {
        double length = 0;
        for (var i = from; i <= to; i++) length += frame.Places[frame.Elements[path[i]].Lower].DistanceTo(frame.Places[frame.Elements[path[i]].Upper]);
        return length;
    }
}
