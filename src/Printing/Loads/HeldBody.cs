using Stiltwright.Geometry;

namespace Stiltwright.Printing.Loads;

/// <summary>What one network does when a body is loaded with one unit after the other; only what answers noticeably is kept.</summary>
/// <param name="Hold">The contacts.</param>
/// <param name="Forces">Columns of contact forces.</param>
/// <param name="Elements">Elements of the frame that answer.</param>
/// <param name="Inner">For each column five runs (normal force, two moments at either end) of one number an element.</param>
/// <param name="Bars">Bars of the frame that answer.</param>
/// <param name="BarForces">Columns of bar forces.</param>
internal sealed record UnitAnswer(Hold Hold, double[] Forces, int[] Elements, double[] Inner, int[] Bars, double[] BarForces)
{
    /// <summary>The worst it has led to so far; null before its first layer.</summary>
    public AnswerWorst? Worst { get; set; }
}

/// <summary>A body of the figure with the contacts that hold it and its answers to unit loads.</summary>
internal sealed class HeldBody(int root, Vec3 origin, double reach)
{
    private const double SoftTurn = 1e-9; // stiffness against free turning, as a share of the contacts' own
    private const double UnheldShare = 0.01; // part of a unit moment that may stay unheld before it is said
    private const double Faint = 1e-5; // answers below this share of the strongest are left out
    private const double FaintOfFew = 1e-3; // the same for bodies on one or two contacts: small islands

    private bool _carriesOthers;
    private bool _answered;

    /// <summary>Number of the body.</summary>
    public int Root { get; } = root;

    /// <summary>Its holds, one a network.</summary>
    public List<Hold> Holds { get; } = [];

    /// <summary>Directions that unit loads have: 0..2 forces, 3..5 moments about the origin.</summary>
    public int[] Directions { get; private set; } = [];

    /// <summary>Motion under each unit load, six numbers (shifts, turns times reach) a column.</summary>
    public double[] Motion { get; private set; } = [];

    /// <summary>Answers of its networks.</summary>
    public List<UnitAnswer> Answers { get; private set; } = [];

    /// <summary>The answers as they are now; never changed later.</summary>
    public BodyState State { get; private set; } = null!;

    /// <summary>True if it is not held against every turn.</summary>
    public bool CanTurn { get; private set; }

    /// <summary>Steps over other bodies to raft or platform; -1 where there is no way.</summary>
    public int Storey { get; set; }

    private double Soft { get; set; }

    /// <summary>Lets a contact join.</summary>
    public void Join(ContactState contact)
    {
        var hold = Holds.Find(h => ReferenceEquals(h.Network, contact.Network));
        if (hold is null) Holds.Add(hold = new Hold(contact.Network!));
        hold.Join(contact, origin, reach);
    }

    /// <summary>Says what its answers are to be worked out for: whether other bodies stand on it, and whether its contacts are others now.</summary>
    public void Expect(bool carriesOthers, bool changed)
    {
        if (!changed && carriesOthers == _carriesOthers) return;
        (_carriesOthers, _answered) = (carriesOthers, false);
    }

    /// <summary>Works out the answers to unit loads if they are not; with all six directions where other bodies stand on this one.</summary>
    public void Answer()
    {
        if (_answered) return;
        _answered = true;
        Directions = _carriesOthers ? [0, 1, 2, 3, 4, 5] : [2, 3, 4];
        var k = new double[36];
        foreach (var h in Holds)
            for (var i = 0; i < 36; i++) k[i] += h.Stiffness[i];
        Soft = SoftTurn * Math.Max(k[0], Math.Max(k[7], k[14]));
        for (var a = 3; a < 6; a++) k[7 * a] += Soft;
        if (DenseKernels.Cholesky(k, 6) >= 0) throw new InvalidOperationException($"The struts that hold body {Root} of the figure give it no stiffness.");
        Motion = new double[6 * Directions.Length];
        CanTurn = false;
        for (var c = 0; c < Directions.Length; c++)
        {
            var u = Motion.AsSpan(6 * c, 6);
            u[Directions[c]] = Directions[c] < 3 ? 1 : 1 / reach;
            DenseKernels.Forward(k, 6, 6, u);
            DenseKernels.Backward(k, 6, 6, u);
            if (Directions[c] is 3 or 4) CanTurn |= Soft * reach * Turn(u) > UnheldShare;
        }
        Answers = [];
        var few = Holds.Sum(h => h.Contacts.Count) < 3;
        foreach (var h in Holds) Answers.Add(Answer(h, few ? FaintOfFew : Faint));
        State = new BodyState(Directions, Motion, k, Answers);
    }

    /// <summary>Moment of a load that nothing holds, N mm; the load is given by direction.</summary>
    public double UnheldMoment(ReadOnlySpan<double> load)
    {
        Span<double> u = stackalloc double[6];
        Moved(load, u);
        return Soft * reach * Turn(u);
    }

    /// <summary>Motion under a load that is given by direction.</summary>
    public void Moved(ReadOnlySpan<double> load, Span<double> motion)
    {
        motion.Clear();
        for (var c = 0; c < Directions.Length; c++)
            for (var m = 0; m < 6; m++) motion[m] += load[Directions[c]] * Motion[6 * c + m];
    }

    private static double Turn(ReadOnlySpan<double> u) => Math.Sqrt(u[3] * u[3] + u[4] * u[4] + u[5] * u[5]);

    private UnitAnswer Answer(Hold hold, double faint)
    {
        int columns = Directions.Length, rows = hold.Rows, ne = hold.Network.Elements.Length, nb = hold.Network.Bars.Length;
        var forces = new double[columns * rows];
        var inner = new double[columns * 5 * ne];
        var bars = new double[columns * nb];
        void Column(int c)
        {
            hold.Forces(Motion.AsSpan(6 * c, 6), forces.AsSpan(c * rows, rows));
            hold.Network.Inner(hold.Contacts, forces.AsSpan(c * rows, rows), [], inner.AsSpan(c * 5 * ne, 5 * ne), bars.AsSpan(c * nb, nb));
        }
        if ((long)rows * (rows + nb) > 100_000) Parallel.For(0, columns, Column);
        else for (var c = 0; c < columns; c++) Column(c);

        // Strongest normal force and moment over all columns, a moment counted at its lever.
        double normal = 0, moment = 0;
        double Scale(int c) => Directions[c] < 3 ? 1 : 1 / reach;
        for (var c = 0; c < columns; c++)
            for (var i = 0; i < 5 * ne; i++)
            {
                var v = Math.Abs(inner[c * 5 * ne + i]) * Scale(c);
                if (i < ne) normal = Math.Max(normal, v); else moment = Math.Max(moment, v);
            }
        var answering = new List<int>();
        for (var i = 0; i < ne; i++)
            for (var v = 0; v < 5 * columns; v++)
                if (Math.Abs(inner[v * ne + i]) * Scale(v / 5) > faint * (v % 5 == 0 ? normal : moment)) { answering.Add(i); break; }
        var kept = new double[columns * 5 * answering.Count];
        for (var v = 0; v < 5 * columns; v++)
            for (var i = 0; i < answering.Count; i++) kept[v * answering.Count + i] = inner[v * ne + answering[i]];
        var pulled = new List<int>();
        for (var b = 0; b < nb; b++)
            for (var c = 0; c < columns; c++)
                if (Math.Abs(bars[c * nb + b]) * Scale(c) > faint * normal) { pulled.Add(b); break; }
        var keptBars = new double[columns * pulled.Count];
        for (var c = 0; c < columns; c++)
            for (var i = 0; i < pulled.Count; i++) keptBars[c * pulled.Count + i] = bars[c * nb + pulled[i]];
        return new UnitAnswer(hold, forces, [.. answering.Select(i => hold.Network.Elements[i])], kept, [.. pulled.Select(b => hold.Network.Bars[b])], keptBars);
    }
}
