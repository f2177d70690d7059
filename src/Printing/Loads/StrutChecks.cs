using Stiltwright.Geometry;
using Stiltwright.Printing.Strength;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Loads;

/// <summary>Turns inner forces into uses: keeps the worst of every element over all layers and checks it against its section.</summary>
internal sealed class StrutChecks
{
    private static readonly int Checks = Enum.GetValues<LoadCheck>().Length;

    private readonly LoadScene _scene;
    private readonly StrutFrame _frame;
    private readonly double[] _perAreaLower, _perAreaUpper, _perModulusLower, _perModulusUpper;
    private readonly bool[] _contactAbove, _contactBelow;
    private readonly Worst[] _worst; // elements, then bars
    private readonly double[,] _use;
    private readonly int[,] _layer;
    private readonly double[] _slenderness;
    private readonly double _strength;
    private readonly double _tipStrength;
    private double[] _s = [], _x = [], _y = [], _c = [], _w = [];

    private struct Worst
    {
        public double Pull, Push, Bending, PullStress, PushStress;
        public int PullAt, PushAt, PullStressAt, PushStressAt;
    }

    public StrutChecks(LoadScene scene, StrutFrame frame, List<FrameNetwork> networks)
    {
        (_scene, _frame) = (scene, frame);
        _strength = scene.Resin.GreenStrengthMPa;
        _tipStrength = scene.Resin.TipShare * _strength;
        var n = frame.Elements.Count;
        _perAreaLower = new double[n];
        _perAreaUpper = new double[n];
        _perModulusLower = new double[n];
        _perModulusUpper = new double[n];
        _contactAbove = new bool[n];
        _contactBelow = new bool[n];
        _worst = new Worst[n + frame.Bars.Count];
        _use = new double[scene.Struts.Segments.Count, Checks];
        _layer = new int[scene.Struts.Segments.Count, Checks];
        _slenderness = new double[scene.Struts.Segments.Count];
        var touches = new HashSet<int>(frame.Contacts.Select(c => c.Node));
        for (var i = 0; i < n; i++)
        {
            var el = frame.Elements[i];
            var g = scene.Struts.Segments[el.Segment];
            _perAreaLower[i] = 1 / Section.Area(g, el.RadiusLower);
            _perAreaUpper[i] = 1 / Section.Area(g, el.RadiusUpper);
            _perModulusLower[i] = 1 / Section.Modulus(g, el.RadiusLower);
            _perModulusUpper[i] = 1 / Section.Modulus(g, el.RadiusUpper);
            _contactAbove[i] = touches.Contains(el.Upper);
            _contactBelow[i] = frame.ParentElement[el.Lower] < 0 && frame.StandsOnFigure[frame.Tree[el.Lower]] is not null;
        }
    }

    /// <summary>Pull that a contact bears, N.</summary>
    public double TipCapacityN(FrameContact contact) => _tipStrength * Section.Area(_scene.Struts.Segments[contact.Segment], contact.RadiusMm);

    /// <summary>Takes in one layer's loads on a group; answers how much the struts carry to raft and platform, N.</summary>
    public double Apply(int layer, BodyGroup group, LoadCases cases, double approach)
    {
        double reaction = 0;
        foreach (var net in group.Networks)
        {
            int ne = net.Network.Elements.Length, nb = net.Network.Bars.Length;
            Combine(net.Inner, 5 * ne, cases);
            Elements(layer, net.Network.Elements, approach);
            if (nb > 0)
            {
                Combine(net.BarForces, nb, cases);
                for (var b = 0; b < nb; b++)
                {
                    ref var worst = ref _worst[_frame.Elements.Count + net.Network.Bars[b]];
                    var (pull, push) = Axial(b, approach);
                    if (pull > worst.Pull) { worst.Pull = pull; worst.PullAt = layer + 1; }
                    if (push > worst.Push) { worst.Push = push; worst.PushAt = layer + 1; }
                }
            }
            Combine(net.ContactForces, net.Rows, cases);
            reaction += Contacts(net, group, cases);
        }
        return reaction;
    }

    /// <summary>Before it is joined to the figure, a strut bears the load of its own newest layer.</summary>
    public void StandFree()
    {
        var stress = 1e-3 * _scene.Resin.SeparationStressKPa
            * SeparationLoad.SpeedShare(_scene.Printer.LiftSpeedMmS, _scene.Printer.ReferenceLiftSpeedMmS, _scene.Resin.SpeedExponent);
        var braced = new bool[_frame.Places.Count];
        foreach (var bar in _frame.Bars)
        {
            if (bar.NodeA >= 0) braced[bar.NodeA] = true;
            if (bar.NodeB >= 0) braced[bar.NodeB] = true;
        }
        foreach (var path in Paths())
            for (var top = 0; top < path.Count; top++)
            {
                var el = _frame.Elements[path[top]];
                var g = _scene.Struts.Segments[el.Segment];
                var force = stress * Math.Max(Section.Area(g, el.RadiusUpper), 0);
                var at = _frame.Places[el.Upper];
                var hold = top;
                while (hold > 0 && !braced[_frame.Elements[path[hold]].Lower]) hold--;
                var column = new Column(_frame, path, hold, top, StrutCapacity.FixedFree, _scene.Resin.GreenModulusMPa, _strength);
                var layer = _scene.Figure.LayerFrom(at.Z) + 1;
                for (var i = hold; i <= top; i++)
                {
                    var low = _frame.Elements[path[i]];
                    var foot = _frame.Places[low.Lower];
                    var bending = force * Math.Sqrt((at.X - foot.X) * (at.X - foot.X) + (at.Y - foot.Y) * (at.Y - foot.Y));
                    var stressUse = (force * _perAreaLower[path[i]] + bending * _perModulusLower[path[i]]) / _strength;
                    Note(low.Segment, LoadCheck.StandingFree, Math.Max(stressUse, _scene.Resin.ApproachShare * force / column.CapacityN), layer);
                }
            }
    }

    /// <summary>The worst of every segment, once all layers are in.</summary>
    public List<SegmentLoad> Segments()
    {
        var n = _scene.Struts.Segments.Count;
        var pull = new double[n];
        var push = new double[n];
        var bending = new double[n];
        for (var i = 0; i < _frame.Elements.Count; i++)
        {
            var el = _frame.Elements[i];
            var w = _worst[i];
            pull[el.Segment] = Math.Max(pull[el.Segment], w.Pull);
            push[el.Segment] = Math.Max(push[el.Segment], w.Push);
            bending[el.Segment] = Math.Max(bending[el.Segment], w.Bending);
            Note(el.Segment, LoadCheck.ShaftPull, w.PullStress / _strength, w.PullStressAt);
            Note(el.Segment, LoadCheck.ShaftPush, w.PushStress / _strength, w.PushStressAt);
            if (_contactAbove[i]) Tip(el, el.RadiusUpper, w);
            if (_contactBelow[i]) Tip(el, el.RadiusLower, w);
        }
        for (var b = 0; b < _frame.Bars.Count; b++)
        {
            var bar = _frame.Bars[b];
            var g = _scene.Struts.Segments[bar.Segment];
            var w = _worst[_frame.Elements.Count + b];
            pull[bar.Segment] = Math.Max(pull[bar.Segment], w.Pull);
            push[bar.Segment] = Math.Max(push[bar.Segment], w.Push);
            var least = Section.Area(g, Math.Min(g.RadiusFrom, g.RadiusTo));
            Note(bar.Segment, LoadCheck.ShaftPull, w.Pull / (least * _strength), w.PullAt);
            var r = (g.RadiusFrom + g.RadiusTo) / 2;
            var slender = bar.A.DistanceTo(bar.B) * StrutCapacity.PinnedPinned / Section.Gyration(g, r);
            _slenderness[bar.Segment] = Math.Max(_slenderness[bar.Segment], slender);
            var capacity = StrutCapacity.ColumnStress(slender, _scene.Resin.GreenModulusMPa, _strength) * Section.Area(g, r);
            Note(bar.Segment, LoadCheck.Buckling, w.Push / capacity, w.PushAt);
        }
        Buckling();
        var list = new List<SegmentLoad>(n);
        for (var s = 0; s < n; s++)
        {
            var use = new double[Checks];
            var layer = new int[Checks];
            for (var c = 0; c < Checks; c++) (use[c], layer[c]) = (_use[s, c], _layer[s, c]);
            list.Add(new SegmentLoad(s, pull[s], push[s], bending[s], _slenderness[s], use, layer));
        }
        return list;
    }

    private void Tip(FrameElement el, double radius, Worst w)
    {
        var g = _scene.Struts.Segments[el.Segment];
        Note(el.Segment, LoadCheck.TipPull, w.Pull / (_tipStrength * Section.Area(g, radius)), w.PullAt);
        if (_scene.WallMm is { } wall)
            Note(el.Segment, LoadCheck.WallPullOut, w.Pull / StrutCapacity.PullOut(g.EqualAreaDiameter(radius), wall, _strength), w.PullAt);
    }

    // Columns between the places that hold a strut: raft, braces that are stiff enough for its push (Winter), figure.
    private void Buckling()
    {
        var stiffness = new double[_frame.Places.Count];
        foreach (var bar in _frame.Bars)
        {
            var g = _scene.Struts.Segments[bar.Segment];
            var d = bar.B - bar.A;
            var k = Beams.AxialStiffness(g.AreaShare * Math.PI * g.RadiusFrom * g.RadiusTo, d.Length, _scene.Resin.GreenModulusMPa)
                * (d.X * d.X + d.Y * d.Y) / d.LengthSquared;
            if (bar.NodeA >= 0) stiffness[bar.NodeA] += k;
            if (bar.NodeB >= 0) stiffness[bar.NodeB] += k;
        }
        foreach (var path in Paths())
        {
            if (!_contactAbove[path[^1]]) continue; // joined to no figure: StandFree has it
            var from = 0;
            double length = 0, push = 0;
            for (var i = 0; i < path.Count; i++)
            {
                var el = _frame.Elements[path[i]];
                length += _frame.Places[el.Lower].DistanceTo(_frame.Places[el.Upper]);
                push = Math.Max(push, _worst[path[i]].Push);
                var last = i == path.Count - 1;
                if (!last && !(stiffness[el.Upper] > 0 && stiffness[el.Upper] >= Beams.BraceStiffnessNeeded(push, length))) continue;
                var k = from == 0 ? StrutCapacity.FixedPinned : StrutCapacity.PinnedPinned;
                var column = new Column(_frame, path, from, i, k, _scene.Resin.GreenModulusMPa, _strength);
                for (var j = from; j <= i; j++)
                {
                    var s = _frame.Elements[path[j]].Segment;
                    Note(s, LoadCheck.Buckling, _worst[path[j]].Push / column.CapacityN, _worst[path[j]].PushAt);
                    _slenderness[s] = Math.Max(_slenderness[s], column.Slenderness);
                }
                (from, length, push) = (i + 1, 0, 0);
            }
        }
    }

    // Elements from a root to each end of its tree, lowest first.
    private IEnumerable<List<int>> Paths()
    {
        var lower = new bool[_frame.Places.Count];
        foreach (var el in _frame.Elements) lower[el.Lower] = true;
        for (var node = 0; node < _frame.Places.Count; node++)
        {
            if (lower[node] || _frame.ParentElement[node] < 0) continue;
            var path = new List<int>();
            for (var v = node; _frame.ParentElement[v] is >= 0 and var e; v = _frame.Elements[e].Lower) path.Add(e);
            path.Reverse();
            yield return path;
        }
    }

    private void Note(int segment, LoadCheck check, double use, int layer)
    {
        if (!(use > _use[segment, (int)check])) return;
        _use[segment, (int)check] = use;
        _layer[segment, (int)check] = layer;
    }

    private void Combine(double[] columns, int n, LoadCases cases)
    {
        if (_s.Length < n) (_s, _x, _y, _c, _w) = (new double[n], new double[n], new double[n], new double[n], new double[n]);
        Sum(_s, cases.Separation);
        Sum(_x, cases.OffX);
        Sum(_y, cases.OffY);
        Sum(_w, cases.Weight);
        if (cases.HasCups) Sum(_c, cases.Cups); else Array.Clear(_c, 0, n);
        void Sum(double[] to, double[] load)
        {
            Array.Clear(to, 0, n);
            for (var c = 0; c < load.Length; c++)
                if (load[c] != 0) DenseKernels.AddScaled(load[c], columns.AsSpan(c * n, n), to, n);
        }
    }

    private (double Pull, double Push) Axial(int i, double approach)
    {
        double off = Math.Sqrt(_x[i] * _x[i] + _y[i] * _y[i]), hang = _w[i] + _c[i] + _s[i];
        return (Math.Max(hang + off, approach * (off - _s[i]) + Math.Max(0, _w[i])), Math.Max(off - hang, approach * (_s[i] + off) + Math.Max(0, -_w[i])));
    }

    private void Elements(int layer, int[] elements, double approach)
    {
        var ne = elements.Length;
        for (var i = 0; i < ne; i++)
        {
            ref var worst = ref _worst[elements[i]];
            var e = elements[i];
            var (pull, push) = Axial(i, approach);
            var low = Moment(i + ne, i + 2 * ne, approach);
            var up = Moment(i + 3 * ne, i + 4 * ne, approach);
            if (pull > worst.Pull) { worst.Pull = pull; worst.PullAt = layer + 1; }
            if (push > worst.Push) { worst.Push = push; worst.PushAt = layer + 1; }
            worst.Bending = Math.Max(worst.Bending, Math.Max(low, up));
            var bend = low * _perModulusLower[e];
            // At a contact the tip is checked by itself; its bending there is none (pinned).
            var upper = _contactAbove[e] ? 0 : up * _perModulusUpper[e];
            var perUpper = _contactAbove[e] ? 0 : _perAreaUpper[e];
            var perLower = _perAreaLower[e];
            var stress = Math.Max(pull * perLower + bend, pull * perUpper + upper);
            if (stress > worst.PullStress) { worst.PullStress = stress; worst.PullStressAt = layer + 1; }
            stress = Math.Max(push * perLower + bend, push * _perAreaUpper[e] + upper);
            if (stress > worst.PushStress) { worst.PushStress = stress; worst.PushStressAt = layer + 1; }
        }
    }

    private double Moment(int i, int j, double approach)
    {
        double ox = Math.Sqrt(_x[i] * _x[i] + _y[i] * _y[i]), oy = Math.Sqrt(_x[j] * _x[j] + _y[j] * _y[j]);
        double a = Math.Abs(_s[i] + _c[i] + _w[i]) + ox, b = Math.Abs(_s[j] + _c[j] + _w[j]) + oy;
        double c = approach * (Math.Abs(_s[i]) + ox), d = approach * (Math.Abs(_s[j]) + oy);
        return Math.Sqrt(Math.Max(a * a + b * b, c * c + d * d));
    }

    private double Contacts(NetworkResponse net, BodyGroup group, LoadCases cases)
    {
        double reaction = 0;
        Span<double> lift = new double[group.Motion.Length / group.Columns], x = new double[lift.Length], y = new double[lift.Length];
        for (var c = 0; c < group.Columns; c++)
        {
            var u = group.Motion.AsSpan(c * lift.Length, lift.Length);
            DenseKernels.AddScaled(cases.Lift[c], u, lift, lift.Length);
            DenseKernels.AddScaled(cases.OffX[c], u, x, lift.Length);
            DenseKernels.AddScaled(cases.OffY[c], u, y, lift.Length);
        }
        for (var i = 0; 3 * i < net.Rows; i++)
        {
            var state = net.Network.Contacts[i];
            var z = 3 * i + 2;
            var hang = _s[z] + _c[z] + _w[z];
            state.PullN = Math.Max(state.PullN, hang + Math.Sqrt(_x[z] * _x[z] + _y[z] * _y[z]));
            if (state.BaseBody < 0 || !group.Stands(state.BaseBody)) reaction += hang;
            if (cases.HasCups)
            {
                double cup = 0;
                for (var c = 0; c < group.Columns; c++) cup += cases.UnventedCups[c] * net.ContactForces[c * net.Rows + z];
                state.CupPullN = Math.Max(state.CupPullN, cup);
            }
            var b = group.IndexOf(state.Body);
            if (b < 0) continue;
            var p = (state.Contact.At - group.Origin) / group.Reach;
            var (lx, ly) = Shift(lift, b, p);
            var (xx, xy) = Shift(x, b, p);
            var (yx, yy) = Shift(y, b, p);
            var side = Math.Sqrt(lx * lx + ly * ly) + Math.Sqrt(xx * xx + xy * xy + yx * yx + yy * yy);
            if (!group.CanTurn[b]) state.SideShiftMm = Math.Max(state.SideShiftMm, side);
        }
        return reaction;
    }

    private static (double X, double Y) Shift(Span<double> u, int body, Vec3 p)
    {
        var v = u.Slice(6 * body, 6);
        return (v[0] + v[4] * p.Z - v[5] * p.Y, v[1] + v[5] * p.X - v[3] * p.Z);
    }
}
