namespace Stiltwright.Printing.Loads;

/// <summary>What a body did under unit loads from one event to the next; never changed.</summary>
/// <param name="Directions">Directions of the unit loads.</param>
/// <param name="Motion">Motions under them.</param>
/// <param name="Factor">Cholesky factor of the body's stiffness.</param>
/// <param name="Answers">Answers of its networks.</param>
internal sealed record BodyState(int[] Directions, double[] Motion, double[] Factor, IReadOnlyList<TracedAnswer> Answers);

/// <summary>The contact forces of an answer to unit loads; what they mean inside the network is worked out when somebody asks.</summary>
internal sealed class TracedAnswer
{
    private readonly Lazy<(double[] Inner, double[] Bars)> _inside;

    /// <param name="hold">The contacts; more may have joined since.</param>
    /// <param name="forces">Columns of contact forces.</param>
    /// <param name="columns">How many, a multiple of three.</param>
    public TracedAnswer(Hold hold, double[] forces, int columns)
    {
        (Hold, Forces) = (hold, forces);
        _inside = new(() =>
        {
            var (net, rows) = (hold.Network, forces.Length / columns);
            var room = new AnswerRoom();
            room.Take(columns, net.Elements.Length, net.Bars.Length, net.Slots);
            for (var c = 0; c < columns; c += 3) net.InnerOfThree(hold.Contacts, forces.AsSpan(c * rows, 3 * rows), room, c);
            var (inner, bars) = (new double[columns * 5 * net.Elements.Length], new double[columns * net.Bars.Length]);
            room.CopyTo(columns, inner, net.Elements.Length, bars, net.Bars.Length);
            return (inner, bars);
        });
    }

    /// <summary>The contacts.</summary>
    public Hold Hold { get; }

    /// <summary>Columns of contact forces.</summary>
    public double[] Forces { get; }

    /// <summary>For each column five runs (normal force, two moments at either end) of one number an element of the network.</summary>
    public double[] Inner => _inside.Value.Inner;

    /// <summary>Columns of bar forces of the network.</summary>
    public double[] BarForces => _inside.Value.Bars;
}

/// <summary>Where a segment is used hardest in a check.</summary>
/// <param name="Part">Element, or number of elements plus bar; -1 where nothing loads it.</param>
/// <param name="Layer">Layer, from 1.</param>
internal readonly record struct HardestAt(int Part, int Layer);

/// <summary>What a solution leaves behind for asking how its uses depend on the sizes.</summary>
internal sealed class LoadTrace
{
    /// <summary>The frame.</summary>
    public StrutFrame Frame { get; set; } = null!;

    /// <summary>Bodies and their loads, by layer (0-based).</summary>
    public Dictionary<int, List<(BodyState Body, LoadCases Loads)>> Layers { get; } = [];

    /// <summary>Where each segment is used hardest, by segment and check.</summary>
    public HardestAt[,] Hardest { get; set; } = new HardestAt[0, 0];

    /// <summary>By segment: the radii on which its buckling leans; none for a brace.</summary>
    public IReadOnlyDictionary<int, IReadOnlyList<Lean>> Leans { get; set; } = new Dictionary<int, IReadOnlyList<Lean>>();
}
