using Stiltwright.Geometry;
using Stiltwright.Printing.Resin;

namespace Stiltwright.Printing.Loads;

/// <summary>
/// Trees that braces tie together, condensed to their contacts by the force method (textbook statics): the trees are
/// statically determinate, the bars are the unknowns.
/// </summary>
internal sealed partial class FrameNetwork
{
    private readonly StrutFrame _frame;
    private readonly double[] _flexibility;
    private readonly double[] _barPerContact;
    private readonly double[] _barFactor; // Cholesky factor of the flexibility between bars
    private readonly int[] _slotOfNode;
    private readonly Dictionary<int, int> _placeOf = [];
    private readonly Dictionary<int, int> _placeOfBar = [];
    private readonly Vec3[] _arm;
    private readonly Vec3[] _axes; // of each element: along it and two across
    private readonly Vec3[] _armOfNode; // of every node of the frame
    private readonly (int Lower, int Upper)[] _slots; // of each element
    private readonly BarEnds[] _barEnds;

    // Where a bar pulls: slots of its ends (-1: at a root, or nowhere), their arms, its direction.
    private readonly record struct BarEnds(int SlotA, int SlotB, Vec3 ArmA, Vec3 ArmB, Vec3 Along);

    private FrameNetwork(StrutFrame frame, int[] elements, int[] bars, ContactState[] contacts, double[] flexibility, double[] barPerContact, double[] barFactor, FrameFlex flex)
    {
        _frame = frame;
        Elements = elements;
        Bars = bars;
        Contacts = contacts;
        _flexibility = flexibility;
        _barPerContact = barPerContact;
        _barFactor = barFactor;
        _slotOfNode = new int[frame.Places.Count];
        _arm = new Vec3[2 * elements.Length];
        _axes = new Vec3[3 * elements.Length];
        Array.Fill(_slotOfNode, -1);
        var slots = 0;
        for (var i = 0; i < elements.Length; i++)
        {
            var el = frame.Elements[elements[i]];
            if (_slotOfNode[el.Lower] < 0) _slotOfNode[el.Lower] = slots++;
            if (_slotOfNode[el.Upper] < 0) _slotOfNode[el.Upper] = slots++;
            _arm[2 * i] = flex.Arm(el.Lower);
            _arm[2 * i + 1] = flex.Arm(el.Upper);
            var t = _axes[3 * i] = (_arm[2 * i + 1] - _arm[2 * i]).Unit();
            var e1 = _axes[3 * i + 1] = t.AnyPerpendicular();
            _axes[3 * i + 2] = t.Cross(e1);
        }
        Slots = slots;
        _armOfNode = flex.Arms;
        _slots = [.. elements.Select(e => (_slotOfNode[frame.Elements[e].Lower], _slotOfNode[frame.Elements[e].Upper]))];
        _barEnds = [.. bars.Select(b => frame.Bars[b]).Select(b => new BarEnds(b.NodeA < 0 ? -1 : _slotOfNode[b.NodeA], b.NodeB < 0 ? -1 : _slotOfNode[b.NodeB],
            b.NodeA < 0 ? Vec3.Zero : flex.Arm(b.NodeA), b.NodeB < 0 ? Vec3.Zero : flex.Arm(b.NodeB), (b.B - b.A).Unit()))];
        for (var i = 0; i < elements.Length; i++) _placeOf[elements[i]] = i;
        for (var i = 0; i < bars.Length; i++) _placeOfBar[bars[i]] = i;
    }

    /// <summary>Elements of these trees, lower ones first.</summary>
    public int[] Elements { get; }

    /// <summary>Place of an element of the frame in <see cref="Elements"/>, -1 where it is not of this network.</summary>
    public int Place(int element) => _placeOf.GetValueOrDefault(element, -1);

    /// <summary>Place of a bar of the frame in <see cref="Bars"/>, -1 where it is not of this network.</summary>
    public int PlaceOfBar(int bar) => _placeOfBar.GetValueOrDefault(bar, -1);

    /// <summary>Bars between them.</summary>
    public int[] Bars { get; }

    /// <summary>Its contacts.</summary>
    public ContactState[] Contacts { get; }

    /// <summary>Three a contact.</summary>
    public int Rows => 3 * Contacts.Length;

    /// <summary>Places for node loads.</summary>
    public int Slots { get; }

    /// <summary>Divides a frame into networks and condenses each. Contacts must hold a body and know their first layer.</summary>
    public static List<FrameNetwork> Build(StrutFrame frame, ResinData resin, IReadOnlyList<ContactState> contacts)
    {
        var flex = new FrameFlex(frame, resin);
        var trees = frame.Roots.Count;
        var up = new int[trees];
        for (var t = 0; t < trees; t++) up[t] = t;
        int Find(int a) { while (up[a] != a) a = up[a] = up[up[a]]; return a; }
        foreach (var bar in frame.Bars)
        {
            if (bar.NodeA < 0 || bar.NodeB < 0) continue;
            int a = Find(frame.Tree[bar.NodeA]), b = Find(frame.Tree[bar.NodeB]);
            if (a != b) up[Math.Max(a, b)] = Math.Min(a, b);
        }
        var elements = new List<int>[trees];
        var bars = new List<int>[trees];
        var own = new List<ContactState>[trees];
        for (var t = 0; t < trees; t++) (elements[t], bars[t], own[t]) = ([], [], []);
        for (var i = 0; i < frame.Elements.Count; i++) elements[Find(frame.Tree[frame.Elements[i].Lower])].Add(i);
        for (var i = 0; i < frame.Bars.Count; i++)
        {
            var bar = frame.Bars[i];
            var node = bar.NodeA >= 0 ? bar.NodeA : bar.NodeB;
            if (node >= 0) bars[Find(frame.Tree[node])].Add(i);
        }
        foreach (var c in contacts) own[Find(frame.Tree[c.Contact.Node])].Add(c);
        var list = new List<FrameNetwork>();
        for (var t = 0; t < trees; t++)
            if (own[t].Count > 0)
            {
                var net = Condense(frame, flex, resin, [.. elements[t]], [.. bars[t]], [.. own[t]]);
                foreach (var c in net.Contacts) c.Network = net;
                list.Add(net);
            }
        return list;
    }

    private static FrameNetwork Condense(StrutFrame frame, FrameFlex flex, ResinData resin, int[] elements, int[] bars, ContactState[] contacts)
    {
        int n = 3 * contacts.Length, nb = bars.Length;
        // What pulls where: contacts along x, y, z at their node; bars along themselves at both ends.
        var byTree = new Dictionary<int, List<(int Node, int Index, Vec3 Force)>>();
        void At(int node, int index, Vec3 force)
        {
            var tree = frame.Tree[node];
            if (!byTree.TryGetValue(tree, out var list)) byTree[tree] = list = [];
            list.Add((node, index, force));
        }
        for (var c = 0; c < contacts.Length; c++) At(contacts[c].Contact.Node, c, Vec3.Zero);
        var length = new double[nb];
        for (var b = 0; b < nb; b++)
        {
            var bar = frame.Bars[bars[b]];
            length[b] = bar.A.DistanceTo(bar.B);
            var d = (bar.B - bar.A).Unit();
            if (bar.NodeA >= 0) At(bar.NodeA, contacts.Length + b, d);
            if (bar.NodeB >= 0) At(bar.NodeB, contacts.Length + b, -d);
        }
        var cc = new double[n * n];
        var cb = new double[n * nb]; // one row a contact direction
        var bb = new double[nb * nb];
        Span<double> m = stackalloc double[9];
        foreach (var list in byTree.Values)
            for (var i = 0; i < list.Count; i++)
                for (var j = 0; j <= i; j++)
                {
                    flex.Between(list[i].Node, list[j].Node, m);
                    Spread(list[i], list[j], m, i == j);
                }
        void Spread((int Node, int Index, Vec3 Force) p, (int Node, int Index, Vec3 Force) q, Span<double> m9, bool same)
        {
            bool pc = p.Index < contacts.Length, qc = q.Index < contacts.Length;
            if (pc && qc)
            {
                for (var r = 0; r < 3; r++)
                    for (var c = 0; c < 3; c++)
                    {
                        cc[(3 * p.Index + r) * n + 3 * q.Index + c] = m9[3 * r + c];
                        cc[(3 * q.Index + c) * n + 3 * p.Index + r] = m9[3 * r + c];
                    }
            }
            else if (pc != qc)
            {
                var contact = pc ? p.Index : q.Index;
                var bar = (pc ? q.Index : p.Index) - contacts.Length;
                var d = pc ? q.Force : p.Force;
                for (var r = 0; r < 3; r++)
                {
                    double s = 0;
                    for (var c = 0; c < 3; c++) s += (pc ? m9[3 * r + c] : m9[3 * c + r]) * d[c];
                    cb[(3 * contact + r) * nb + bar] += s;
                }
            }
            else
            {
                double s = 0;
                for (var r = 0; r < 3; r++)
                    for (var c = 0; c < 3; c++) s += p.Force[r] * m9[3 * r + c] * q.Force[c];
                int a = p.Index - contacts.Length, b = q.Index - contacts.Length;
                bb[a * nb + b] += s;
                if (!same) bb[b * nb + a] += s; // a pair of places counts from either side
            }
        }
        var barPerContact = cb;
        if (nb > 0)
        {
            for (var b = 0; b < nb; b++)
            {
                var bar = frame.Bars[bars[b]];
                bb[b * nb + b] += length[b] / (resin.GreenModulusMPa * MeanArea(frame, bar));
            }
            // Z = L^-1 C_bc (a row a contact direction), C = C_cc - Z^T Z, bar forces = -L^-T Z f.
            var row = DenseKernels.Cholesky(bb, nb);
            if (row >= 0) throw new InvalidOperationException($"The braces around segment {frame.Bars[bars[row]].Segment} form a frame without stiffness.");
            DenseKernels.ForwardAll(bb, nb, cb, n);
            DenseKernels.TakeProducts(cb, n, nb, cc);
            DenseKernels.BackwardAll(bb, nb, cb, n);
        }
        double mean = 0;
        for (var i = 0; i < n; i++) mean += cc[i * n + i] / n;
        for (var i = 0; i < n; i++) cc[i * n + i] += 1e-11 * mean; // keeps contacts that nearly coincide apart
        for (var i = 0; i < n; i++)
            for (var j = 0; j < i; j++) cc[j * n + i] = cc[i * n + j];
        for (var c = 0; c < contacts.Length; c++) contacts[c].Row = 3 * c;
        return new FrameNetwork(frame, elements, bars, contacts, cc, barPerContact, bb, flex);
    }

    private static double MeanArea(StrutFrame frame, FrameBar bar)
    {
        var g = frame.Graph.Segments[bar.Segment];
        return g.AreaShare * Math.PI * g.RadiusFrom * g.RadiusTo; // exact for a cone: 1/A integrated along it
    }

    /// <summary>Flexibility between two contact directions, mm/N.</summary>
    public double Flexibility(int row, int column) => _flexibility[row * Rows + column];

    /// <summary>
    /// Inner forces from the forces at the first contacts given (three a contact, as many as there are forces): for every element normal force and two bending
    /// moments at either end (<paramref name="inner"/>: five runs of one number an element), and the force of every bar.
    /// Forces that bars have by themselves (<paramref name="ownBars"/>, or nothing) are added.
    /// </summary>
    public void Inner(List<ContactState> contacts, ReadOnlySpan<double> forces, ReadOnlySpan<double> ownBars, Span<double> inner, Span<double> barForces)
    {
        var rented = System.Buffers.ArrayPool<double>.Shared.Rent(6 * Slots);
        var wrench = rented.AsSpan(0, 6 * Slots);
        wrench.Clear();
        static void Pull(Span<double> all, int slot, Vec3 p, Vec3 f)
        {
            if (slot < 0) return; // a root: the ground takes it
            var w = all.Slice(6 * slot, 6);
            var m = p.Cross(f);
            w[0] += f.X; w[1] += f.Y; w[2] += f.Z; w[3] += m.X; w[4] += m.Y; w[5] += m.Z;
        }
        var nb = Bars.Length;
        barForces.Clear();
        ownBars.CopyTo(barForces);
        for (var c = 0; c < forces.Length / 3; c++)
        {
            var node = contacts[c].Contact.Node;
            Pull(wrench, _slotOfNode[node], Arm(node), new Vec3(forces[3 * c], forces[3 * c + 1], forces[3 * c + 2]));
            for (var a = 0; a < 3 && nb > 0; a++)
                DenseKernels.AddScaled(-forces[3 * c + a], _barPerContact.AsSpan((contacts[c].Row + a) * nb, nb), barForces, nb);
        }
        for (var b = 0; b < nb; b++)
        {
            ref readonly var ends = ref _barEnds[b];
            var f = ends.Along * barForces[b];
            Pull(wrench, ends.SlotA, ends.ArmA, f);
            Pull(wrench, ends.SlotB, ends.ArmB, -f);
        }
        var ne = Elements.Length;
        for (var i = ne - 1; i >= 0; i--)
        {
            var (lower, upper) = _slots[i];
            var w = wrench.Slice(6 * upper, 6);
            var f = new Vec3(w[0], w[1], w[2]);
            var m0 = new Vec3(w[3], w[4], w[5]);
            var below = wrench.Slice(6 * lower, 6);
            for (var k = 0; k < 6; k++) below[k] += w[k];
            Vec3 a = _arm[2 * i], b = _arm[2 * i + 1];
            Vec3 t = _axes[3 * i], e1 = _axes[3 * i + 1], e2 = _axes[3 * i + 2];
            Vec3 ma = m0 - a.Cross(f), mb = m0 - b.Cross(f);
            inner[i] = f.Dot(t);
            inner[ne + i] = ma.Dot(e1);
            inner[2 * ne + i] = ma.Dot(e2);
            inner[3 * ne + i] = mb.Dot(e1);
            inner[4 * ne + i] = mb.Dot(e2);
        }
        System.Buffers.ArrayPool<double>.Shared.Return(rented);
    }

    private Vec3 Arm(int node) => _armOfNode[node];
}

/// <summary>A contact with what the solver learns of it.</summary>
/// <param name="index">Number among all contacts.</param>
/// <param name="contact">The strut end.</param>
/// <param name="body">Body it holds.</param>
/// <param name="fromLayer">First layer in which it carries, 0-based.</param>
/// <param name="baseBody">Body that its tree stands on, -1 for raft or platform.</param>
internal sealed class ContactState(int index, FrameContact contact, int body, int fromLayer, int baseBody)
{
    public int Index { get; } = index;
    public FrameContact Contact { get; } = contact;
    public int Body { get; } = body;
    public int FromLayer { get; } = fromLayer;
    public int BaseBody { get; } = baseBody;
    public int Row;
    public FrameNetwork? Network;
    public double PullN;
    public double SideShiftMm;
    public double CupPullN;

    /// <summary>The same contact with nothing learned of it yet.</summary>
    public ContactState Copy() => new(Index, Contact, Body, FromLayer, BaseBody) { Row = Row, Network = Network };

    /// <summary>Takes over what was learned elsewhere.</summary>
    public void Add(ContactState other)
    {
        PullN = Math.Max(PullN, other.PullN);
        SideShiftMm = Math.Max(SideShiftMm, other.SideShiftMm);
        CupPullN = Math.Max(CupPullN, other.CupPullN);
    }
}
