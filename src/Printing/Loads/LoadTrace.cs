namespace Stiltwright.Printing.Loads;

/// <summary>What a body did under unit loads from one event to the next; never changed.</summary>
/// <param name="Directions">Directions of the unit loads.</param>
/// <param name="Motion">Motions under them.</param>
/// <param name="Factor">Cholesky factor of the body's stiffness.</param>
/// <param name="Answers">Answers of its networks.</param>
internal sealed record BodyState(int[] Directions, double[] Motion, double[] Factor, IReadOnlyList<UnitAnswer> Answers);

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
