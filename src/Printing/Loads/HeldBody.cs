using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using Stiltwright.Geometry;

namespace Stiltwright.Printing.Loads;

/// <summary>What one network does when a body is loaded with one unit after the other.</summary>
/// <param name="Hold">The contacts.</param>
/// <param name="Forces">Columns of contact forces.</param>
/// <param name="Elements">Elements of the frame that answer: the network's, or those of them that do so noticeably.</param>
/// <param name="Inner">For each column five runs (normal force, two moments at either end) of one number an element, each as long as <see cref="Borne.Stride"/> says. The hold's own memory where all answer.</param>
/// <param name="Bars">Bars of the frame that answer.</param>
/// <param name="BarForces">Columns of bar forces, as long as <see cref="Borne.Stride"/> says.</param>
internal sealed record UnitAnswer(Hold Hold, double[] Forces, int[] Elements, double[] Inner, int[] Bars, double[] BarForces)
{
    /// <summary>Places of the elements in their network; null where all of them answer.</summary>
    public int[]? Places { get; init; }

    /// <summary>Places of the bars in their network; null where all of them answer.</summary>
    public int[]? BarPlaces { get; init; }

    /// <summary>The worst it has led to so far by itself, elements and bars; null before its first layer.</summary>
    public (Borne Elements, Borne Bars)? Worst { get; set; }
}

/// <summary>A body of the figure with the contacts that hold it and its answers to unit loads.</summary>
internal sealed class HeldBody(int root, Vec3 origin, double reach)
{
    private const double SoftTurn = 1e-9; // stiffness against free turning, as a share of the contacts' own
    private const double UnheldShare = 0.01; // part of a unit moment that may stay unheld before it is said
    private const int Few = 3; // with fewer contacts, as small islands have them, most of a network answers faintly
    private const double Faint = 1e-3; // such answers are left out below this share of the strongest

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
    /// <param name="room">Working memory of the run.</param>
    public void Answer(AnswerRoom room)
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
        var few = Holds.Sum(h => h.Contacts.Count) < Few;
        foreach (var h in Holds) Answers.Add(Answer(h, few, room));
        State = new BodyState(Directions, Motion, k, [.. Answers.Select(a => new TracedAnswer(a.Hold, a.Forces, Directions.Length))]);
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

    private UnitAnswer Answer(Hold hold, bool few, AnswerRoom room)
    {
        int columns = Directions.Length, rows = hold.Rows, ne = hold.Network.Elements.Length, nb = hold.Network.Bars.Length;
        var forces = new double[columns * rows];
        room.Take(columns, ne, nb, hold.Network.Slots);
        for (var c = 0; c < columns; c += 3) // three columns at a time: one lane each
        {
            var three = forces.AsSpan(c * rows, 3 * rows);
            hold.ForcesOfThree(Motion.AsSpan(6 * c, 18), three);
            hold.Network.InnerOfThree(hold.Contacts, three, room, c);
        }
        if (few) return Noticeable(hold, forces, room);
        var (inner, bars) = hold.Memory(columns);
        room.CopyTo(columns, inner, Borne.Stride(ne), bars, Borne.Stride(nb));
        return new UnitAnswer(hold, forces, hold.Network.Elements, inner, hold.Network.Bars, bars);
    }

    private UnitAnswer Noticeable(Hold hold, double[] forces, AnswerRoom room)
    {
        int columns = Directions.Length, ne = hold.Network.Elements.Length, nb = hold.Network.Bars.Length;
        double normal = 0, moment = 0; // strongest of all columns, a moment counted at its lever
        for (var c = 0; c < columns; c += 3)
        {
            Vector256<double> n = default, m = default;
            var inner = room.Inner(c);
            for (var i = 0; i < ne; i++) n = Vector256.Max(n, Vector256.Abs(inner[i]));
            for (var i = ne; i < 5 * ne; i++) m = Vector256.Max(m, Vector256.Abs(inner[i]));
            (n, m) = (n * Scale(c), m * Scale(c));
            normal = Math.Max(normal, Math.Max(n[0], Math.Max(n[1], n[2])));
            moment = Math.Max(moment, Math.Max(m[0], Math.Max(m[1], m[2])));
        }
        var answering = new List<int>();
        for (var i = 0; i < ne; i++)
            for (var c = 0; c < columns; c += 3)
            {
                var inner = room.Inner(c);
                var bent = Vector256.Max(Vector256.Max(Vector256.Abs(inner[ne + i]), Vector256.Abs(inner[2 * ne + i])), Vector256.Max(Vector256.Abs(inner[3 * ne + i]), Vector256.Abs(inner[4 * ne + i])));
                if (!Vector256.GreaterThanAny(Vector256.Abs(inner[i]) * Scale(c), Vector256.Create(Faint * normal)) && !Vector256.GreaterThanAny(bent * Scale(c), Vector256.Create(Faint * moment))) continue;
                answering.Add(i);
                break;
            }
        var stride = Borne.Stride(answering.Count);
        var kept = new double[columns * 5 * stride];
        for (var c = 0; c < columns; c++)
        {
            var inner = MemoryMarshal.Cast<Vector256<double>, double>(room.Inner(c - c % 3));
            for (var v = 0; v < 5; v++)
            {
                var to = kept.AsSpan((c * 5 + v) * stride, answering.Count);
                for (var i = 0; i < to.Length; i++) to[i] = inner[4 * (v * ne + answering[i]) + c % 3];
            }
        }
        var pulled = new List<int>();
        for (var b = 0; b < nb; b++)
            for (var c = 0; c < columns; c++)
                if (Math.Abs(room.Bars(c)[b]) * Scale(c - c % 3)[c % 3] > Faint * normal) { pulled.Add(b); break; }
        stride = Borne.Stride(pulled.Count);
        var keptBars = new double[columns * stride];
        for (var c = 0; c < columns; c++)
            for (var i = 0; i < pulled.Count; i++) keptBars[c * stride + i] = room.Bars(c)[pulled[i]];
        return new UnitAnswer(hold, forces, [.. answering.Select(i => hold.Network.Elements[i])], kept, [.. pulled.Select(b => hold.Network.Bars[b])], keptBars) { Places = [.. answering], BarPlaces = [.. pulled] };
    }

    private Vector256<double> Scale(int first)
    {
        double Of(int c) => Directions[c] < 3 ? 1 : 1 / reach;
        return Vector256.Create(Of(first), Of(first + 1), Of(first + 2), 0);
    }
}
