using Stiltwright.Geometry;

namespace Stiltwright.Printing.Loads;

/// <summary>What a network does for a group of bodies at one state: unit responses, one column a load component.</summary>
/// <param name="Network">The network.</param>
/// <param name="Rows">Leading rows that carry.</param>
/// <param name="ContactForces">Columns of contact forces, <paramref name="Rows"/> numbers each.</param>
/// <param name="Inner">Columns of inner forces, five runs of one number an element each.</param>
/// <param name="BarForces">Columns of bar forces.</param>
internal sealed record NetworkResponse(FrameNetwork Network, int Rows, double[] ContactForces, double[] Inner, double[] BarForces);

/// <summary>Bodies that share struts, and how those answer a unit force and unit moments on each of them.</summary>
internal sealed class BodyGroup
{
    /// <summary>Bodies.</summary>
    public required int[] Roots { get; init; }

    /// <summary>Motions: six numbers (shift, turn times reach) a body, a run of them for each column.</summary>
    public required double[] Motion { get; init; }

    /// <summary>Networks with their answers.</summary>
    public required NetworkResponse[] Networks { get; init; }

    /// <summary>True where a body is not held against every turn.</summary>
    public required bool[] CanTurn { get; init; }

    /// <summary>Soft stiffness by body that stood in for a missing hold.</summary>
    public required double[] Soft { get; init; }

    /// <summary>Length by which turns are scaled, mm.</summary>
    public required double Reach { get; init; }

    /// <summary>Point about which turns and moments are taken.</summary>
    public required Vec3 Origin { get; init; }

    /// <summary>Root, within this group, of each leaf body that its networks know.</summary>
    public required Dictionary<int, int> IndexOfLeaf { get; init; }

    /// <summary>Number in this group of the body that a contact's body is part of; -1 if it is not in the group.</summary>
    public int IndexOf(int leaf) => IndexOfLeaf.GetValueOrDefault(leaf, -1);

    /// <summary>True if a leaf body is part of this group (so a strut standing on it leads its load on to it).</summary>
    public bool Stands(int leaf) => IndexOfLeaf.ContainsKey(leaf);

    /// <summary>Columns: three a body (force up, moments about x and y).</summary>
    public int Columns => 3 * Roots.Length;

    /// <summary>Moment on a body that nothing holds, N mm.</summary>
    public double Unheld(int body, LoadCases cases)
    {
        double sum = 0;
        for (var a = 3; a < 6; a++)
        {
            double u = 0;
            for (var c = 0; c < Columns; c++) u += cases.Lift[c] * Motion[c * 6 * Roots.Length + 6 * body + a];
            sum += u * u;
        }
        return Math.Sqrt(sum) * Soft[body] * Reach;
    }
}

/// <summary>Keeps, from layer to layer, which bodies there are, which contacts hold them, and the unit responses.</summary>
internal sealed class HeldBodies
{
    private readonly FigureLayers _figure;
    private readonly List<FrameNetwork> _networks;
    private readonly bool[] _groundedLeaf;
    private readonly Vec3 _origin;
    private readonly double _reach;
    private readonly double _softTurn;
    private readonly int[][] _localBodies; // leaf bodies of each network
    private readonly double[][] _y; // six columns a local body, Rows numbers each
    private readonly int[] _active; // contacts that carry, of each network
    private readonly Queue<int> _eventLayers;
    private readonly int[] _touched; // leaf bodies that any network knows
    private Dictionary<int, BodyGroup> _groupOf = [];
    private HashSet<int> _grounded = [];
    private int _layer = -1;

    public HeldBodies(FigureLayers figure, List<ContactState> contacts, List<FrameNetwork> networks, bool[] groundedLeaf, Vec3 origin, double reach, double softTurn)
    {
        (_figure, _networks, _groundedLeaf, _origin, _reach, _softTurn) = (figure, networks, groundedLeaf, origin, reach, softTurn);
        _active = new int[networks.Count];
        _localBodies = new int[networks.Count][];
        _y = new double[networks.Count][];
        for (var n = 0; n < networks.Count; n++) Prepare(n);
        _touched = [.. _localBodies.SelectMany(b => b).Concat(Enumerable.Range(0, groundedLeaf.Length).Where(b => groundedLeaf[b])).Distinct().Order()];
        var layers = new SortedSet<int>(contacts.Select(c => c.FromLayer)) { 0 };
        foreach (var leaf in _touched)
            for (var b = leaf; b >= 0; b = figure.Bodies[b].MergesInto)
                if (figure.Bodies[b].MergesInto >= 0 && figure.Bodies[b].MergeLayer < figure.Count) layers.Add(figure.Bodies[b].MergeLayer);
        _eventLayers = new Queue<int>(layers);
    }

    /// <summary>Groups at the current layer.</summary>
    public List<BodyGroup> Groups { get; private set; } = [];

    /// <summary>True if a body stands on raft or platform.</summary>
    public bool IsGrounded(int root) => _grounded.Contains(root) || _groundedLeaf[root];

    /// <summary>True if contacts hold a body.</summary>
    public bool IsHeld(int root) => _groupOf.ContainsKey(root);

    /// <summary>Goes on to a layer.</summary>
    public void StepTo(int layer)
    {
        var changed = false;
        while (_eventLayers.TryPeek(out var at) && at <= layer) { _eventLayers.Dequeue(); changed = true; }
        if (!changed) return;
        Regroup(layer);
        _layer = layer;
    }

    private void Prepare(int n)
    {
        var net = _networks[n];
        var locals = net.Contacts.SelectMany(c => c.BaseBody >= 0 ? new[] { c.Body, c.BaseBody } : [c.Body]).Distinct().Order().ToArray();
        _localBodies[n] = locals;
        var y = _y[n] = new double[6 * locals.Length * net.Rows];
        for (var i = 0; i < net.Contacts.Length; i++)
        {
            var c = net.Contacts[i];
            Fill(y, net.Rows, Array.BinarySearch(locals, c.Body), i, c.Contact.At, 1);
            if (c.BaseBody >= 0) Fill(y, net.Rows, Array.BinarySearch(locals, c.BaseBody), i, c.Contact.At, -1);
        }
        if ((long)net.Rows * net.Rows * locals.Length > 200_000) Parallel.For(0, 6 * locals.Length, q => net.Forward(y.AsSpan(q * net.Rows, net.Rows)));
        else for (var q = 0; q < 6 * locals.Length; q++) net.Forward(y.AsSpan(q * net.Rows, net.Rows));
    }

    // Motion of a contact with its body: shift along the axes, then turns about them (times reach).
    private void Fill(double[] y, int rows, int local, int contact, Vec3 at, double sign)
    {
        var p = (at - _origin) * (sign / _reach);
        void Put(int motion, int axis, double v) => y[(6 * local + motion) * rows + 3 * contact + axis] += v;
        for (var a = 0; a < 3; a++) Put(a, a, sign);
        Put(3, 1, -p.Z); Put(3, 2, p.Y); // turn about x: (0, -z, y)
        Put(4, 0, p.Z); Put(4, 2, -p.X); // about y: (z, 0, -x)
        Put(5, 0, -p.Y); Put(5, 1, p.X); // about z: (-y, x, 0)
    }

    private void Regroup(int layer)
    {
        var root = new Dictionary<int, int>();
        _grounded = [];
        foreach (var leaf in _touched)
        {
            if (_figure.Bodies[leaf].FirstLayer > layer) continue;
            root[leaf] = _figure.RootAt(leaf, layer);
            if (_groundedLeaf[leaf]) _grounded.Add(root[leaf]);
        }
        // What hangs together with the ground through contacts, and which bodies share networks.
        var up = new Dictionary<int, int>();
        int Find(Dictionary<int, int> of, int a)
        {
            while (true)
            {
                if (!of.TryGetValue(a, out var u) || u == a) return a;
                a = u;
            }
        }
        void Union(Dictionary<int, int> of, int a, int b)
        {
            a = Find(of, a);
            b = Find(of, b);
            if (a != b) of[Math.Max(a, b)] = Math.Min(a, b);
        }
        const int Ground = -1;
        var hold = new Dictionary<int, int>();
        var dirty = new HashSet<int>();
        for (var n = 0; n < _networks.Count; n++)
        {
            var contacts = _networks[n].Contacts;
            var was = _active[n];
            while (_active[n] < contacts.Length && contacts[_active[n]].FromLayer <= layer) _active[n]++;
            for (var i = 0; i < _active[n]; i++)
            {
                var c = contacts[i];
                var r = root[c.Body];
                if (i >= was) dirty.Add(r);
                Union(hold, r, c.BaseBody < 0 || _grounded.Contains(root[c.BaseBody]) ? Ground : root[c.BaseBody]);
            }
        }
        // A body that took in another one since the last state is a new body.
        if (_layer >= 0)
            foreach (var (leaf, r) in root)
                if (_figure.Bodies[leaf].FirstLayer > _layer || _figure.RootAt(leaf, _layer) != r) dirty.Add(r);

        bool Held(int r) => !_grounded.Contains(r) && Find(hold, r) == Ground;
        for (var n = 0; n < _networks.Count; n++)
        {
            var first = -1;
            foreach (var r in RootsOf(n, root))
            {
                if (!Held(r)) continue;
                if (first < 0) first = r; else Union(up, first, r);
            }
        }
        var members = new SortedDictionary<int, (SortedSet<int> Roots, List<int> Networks)>();
        for (var n = 0; n < _networks.Count; n++)
            foreach (var r in RootsOf(n, root))
            {
                if (!Held(r)) continue;
                var key = Find(up, r);
                if (!members.TryGetValue(key, out var m)) members[key] = m = ([], []);
                m.Roots.Add(r);
                if (m.Networks.Count == 0 || m.Networks[^1] != n) m.Networks.Add(n);
            }
        var groups = new List<BodyGroup>();
        var groupOf = new Dictionary<int, BodyGroup>();
        foreach (var (roots, networks) in members.Values)
        {
            int[] list = [.. roots];
            var group = _groupOf.TryGetValue(list[0], out var old) && old.Roots.AsSpan().SequenceEqual(list) && !list.Any(dirty.Contains)
                ? old : Answer(list, networks, root);
            groups.Add(group);
            foreach (var r in list) groupOf[r] = group;
        }
        Groups = groups;
        _groupOf = groupOf;
    }

    private List<int> RootsOf(int n, Dictionary<int, int> root)
    {
        var list = new List<int>();
        for (var i = 0; i < _active[n]; i++)
        {
            var c = _networks[n].Contacts[i];
            if (!list.Contains(root[c.Body])) list.Add(root[c.Body]);
            if (c.BaseBody >= 0 && !list.Contains(root[c.BaseBody])) list.Add(root[c.BaseBody]);
        }
        return list;
    }

    private BodyGroup Answer(int[] roots, List<int> networks, Dictionary<int, int> root)
    {
        int b = roots.Length, dof = 6 * b;
        var k = new double[dof * dof];
        var yOf = new (int N, int[] Bodies, double[] Y)[networks.Count];
        for (var i = 0; i < networks.Count; i++)
        {
            var n = networks[i];
            int rows = 3 * _active[n], stride = _networks[n].Rows;
            var local = new List<int>();
            foreach (var leaf in _localBodies[n])
                if (root.TryGetValue(leaf, out var r) && Array.BinarySearch(roots, r) is var at and >= 0 && !local.Contains(at)) local.Add(at);
            local.Sort();
            var y = new double[6 * local.Count * rows];
            for (var q = 0; q < _localBodies[n].Length; q++)
            {
                if (!root.TryGetValue(_localBodies[n][q], out var r) || Array.BinarySearch(roots, r) is not (var at and >= 0)) continue;
                var to = local.IndexOf(at);
                for (var m = 0; m < 6; m++) DenseKernels.AddScaled(1, _y[n].AsSpan((6 * q + m) * stride, rows), y.AsSpan((6 * to + m) * rows, rows), rows);
            }
            for (var p = 0; p < 6 * local.Count; p++)
                for (var q = 0; q <= p; q++)
                {
                    int gp = 6 * local[p / 6] + p % 6, gq = 6 * local[q / 6] + q % 6;
                    k[gp * dof + gq] += DenseKernels.Dot(y.AsSpan(p * rows, rows), y.AsSpan(q * rows, rows), rows);
                }
            yOf[i] = (n, [.. local], y);
        }
        var soft = new double[b];
        for (var i = 0; i < b; i++)
        {
            double most = 0;
            for (var a = 0; a < 3; a++) most = Math.Max(most, k[(6 * i + a) * dof + 6 * i + a]);
            soft[i] = _softTurn * most;
            for (var a = 3; a < 6; a++) k[(6 * i + a) * dof + 6 * i + a] += soft[i];
        }
        var row = DenseKernels.Cholesky(k, dof);
        if (row >= 0) throw new InvalidOperationException($"The struts that hold body {roots[row / 6]} of the figure give it no stiffness.");
        var motion = new double[3 * b * dof];
        for (var c = 0; c < 3 * b; c++)
        {
            var u = motion.AsSpan(c * dof, dof);
            u[6 * (c / 3) + 2 + c % 3] = c % 3 == 0 ? 1 : 1 / _reach;
            DenseKernels.Forward(k, dof, dof, u);
            DenseKernels.Backward(k, dof, dof, u);
        }
        var answers = new NetworkResponse[networks.Count];
        for (var i = 0; i < networks.Count; i++) answers[i] = Respond(yOf[i].N, yOf[i].Bodies, yOf[i].Y, motion, 3 * b, dof);
        var leaves = new Dictionary<int, int>();
        foreach (var n in networks)
            foreach (var leaf in _localBodies[n])
                if (root.TryGetValue(leaf, out var r) && Array.BinarySearch(roots, r) is var at and >= 0) leaves[leaf] = at;
        var canTurn = new bool[b];
        for (var i = 0; i < b; i++)
            for (var c = 3 * i + 1; c < 3 * i + 3; c++)
            {
                double sum = 0;
                for (var a = 3; a < 6; a++) sum += Math.Pow(motion[c * dof + 6 * i + a] * soft[i] * _reach, 2);
                canTurn[i] |= Math.Sqrt(sum) > LoadRun.HeldAgainstTurning;
            }
        return new BodyGroup { Roots = roots, Motion = motion, Networks = answers, CanTurn = canTurn, Soft = soft, Reach = _reach, Origin = _origin, IndexOfLeaf = leaves };
    }

    private NetworkResponse Respond(int n, int[] bodies, double[] y, double[] motion, int columns, int dof)
    {
        var net = _networks[n];
        int rows = 3 * _active[n], ne = net.Elements.Length, nb = net.Bars.Length;
        var forces = new double[columns * rows];
        var inner = new double[columns * 5 * ne];
        var bars = new double[columns * nb];
        void Column(int c)
        {
            var f = forces.AsSpan(c * rows, rows);
            for (var p = 0; p < 6 * bodies.Length; p++)
            {
                var u = motion[c * dof + 6 * bodies[p / 6] + p % 6];
                if (u != 0) DenseKernels.AddScaled(u, y.AsSpan(p * rows, rows), f, rows);
            }
            net.Backward(f, rows);
            net.Inner(f, rows, inner.AsSpan(c * 5 * ne, 5 * ne), bars.AsSpan(c * nb, nb));
        }
        if ((long)rows * (rows + nb) * columns > 200_000) Parallel.For(0, columns, Column);
        else for (var c = 0; c < columns; c++) Column(c);
        return new NetworkResponse(net, rows, forces, inner, bars);
    }
}
