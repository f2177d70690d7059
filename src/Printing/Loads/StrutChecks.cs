using Stiltwright.Geometry;
using Stiltwright.Printing.Strength;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Loads;

/// <summary>Turns inner forces into uses: keeps the worst of every element over all layers and checks it against its section.</summary>
internal sealed partial class StrutChecks
{
    private static readonly int Checks = Enum.GetValues<LoadCheck>().Length;

    private readonly LoadScene _scene;
    private readonly StrutFrame _frame;
    private readonly List<ContactState> _contacts;
    private readonly double[] _perAreaLower, _perAreaUpper, _perModulusLower, _perModulusUpper;
    private readonly bool[] _contactAbove, _contactBelow;
    private readonly Worst[] _worst; // elements, then bars
    private readonly double[,] _use;
    private readonly int[,] _layer;
    private readonly int[,] _part; // element, or elements plus bar, of each of those
    private readonly double[] _slenderness;
    private readonly Dictionary<int, IReadOnlyList<Lean>> _leans = [];
    private readonly double _strength;
    private readonly double _tipStrength;
    private int _layerNow;

    /// <summary>The worst that an element or bar bore, N, N mm and MPa, and in which layers (from 1).</summary>
    internal struct Worst
    {
        public double Pull, Push, Bending, PullStress, PushStress;
        public int PullAt, PushAt, PullStressAt, PushStressAt;
    }

    public StrutChecks(LoadScene scene, StrutFrame frame, List<ContactState> contacts)
    {
        (_scene, _frame, _contacts) = (scene, frame, contacts);
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
        _part = new int[scene.Struts.Segments.Count, Checks];
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

    /// <summary>Begins a layer.</summary>
    public void Begin(int layer) => _layerNow = layer;

    /// <summary>
    /// Before it is joined to the figure, a strut bears the load of its own newest layer: it is pulled like any region, and
    /// pushed no harder than stiff plates would squeeze the resin out of one layer's gap (physics table 2.6), which is far
    /// less for a thin strut.
    /// </summary>
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
                var push = Math.Min(_scene.Resin.ApproachShare * force, SqueezeFilm.Force(
                    Torsion.Disc(g.EqualAreaDiameter(el.RadiusUpper) / 2), _scene.Resin.ViscosityPaS, _scene.Printer.RetractSpeedMmS, _scene.Figure.LayerMm));
                var layer = _scene.Figure.LayerFrom(at.Z) + 1;
                for (var i = hold; i <= top; i++)
                {
                    var low = _frame.Elements[path[i]];
                    var foot = _frame.Places[low.Lower];
                    var bending = force * Math.Sqrt((at.X - foot.X) * (at.X - foot.X) + (at.Y - foot.Y) * (at.Y - foot.Y));
                    var stressUse = (force * _perAreaLower[path[i]] + bending * _perModulusLower[path[i]]) / _strength;
                    Note(low.Segment, LoadCheck.StandingFree, Math.Max(stressUse, push / column.CapacityN), layer, path[i]);
                }
            }
    }

    /// <summary>The worst of every segment, once all layers are in.</summary>
    public List<SegmentLoad> Segments()
    {
        Gather();
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
            Note(el.Segment, LoadCheck.ShaftPull, w.PullStress / _strength, w.PullStressAt, i);
            Note(el.Segment, LoadCheck.ShaftPush, w.PushStress / _strength, w.PushStressAt, i);
            if (_contactAbove[i]) Tip(el, el.RadiusUpper, w, i);
            if (_contactBelow[i]) Tip(el, el.RadiusLower, w, i);
        }
        for (var b = 0; b < _frame.Bars.Count; b++)
        {
            var bar = _frame.Bars[b];
            var g = _scene.Struts.Segments[bar.Segment];
            var w = _worst[_frame.Elements.Count + b];
            pull[bar.Segment] = Math.Max(pull[bar.Segment], w.Pull);
            push[bar.Segment] = Math.Max(push[bar.Segment], w.Push);
            var least = Section.Area(g, Math.Min(g.RadiusFrom, g.RadiusTo));
            Note(bar.Segment, LoadCheck.ShaftPull, w.Pull / (least * _strength), w.PullAt, _frame.Elements.Count + b);
            var r = (g.RadiusFrom + g.RadiusTo) / 2;
            var slender = bar.A.DistanceTo(bar.B) * StrutCapacity.PinnedPinned / Section.Gyration(g, r);
            _slenderness[bar.Segment] = Math.Max(_slenderness[bar.Segment], slender);
            var capacity = StrutCapacity.ColumnStress(slender, _scene.Resin.GreenModulusMPa, _strength) * Section.Area(g, r);
            Note(bar.Segment, LoadCheck.Buckling, w.Push / capacity, w.PushAt, _frame.Elements.Count + b);
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

    /// <summary>Element, or number of elements plus bar, and layer of the hardest use of every segment in every check.</summary>
    public HardestAt[,] HardestParts()
    {
        var at = new HardestAt[_use.GetLength(0), Checks];
        for (var s = 0; s < at.GetLength(0); s++)
            for (var c = 0; c < Checks; c++) at[s, c] = new HardestAt(_layer[s, c] > 0 ? _part[s, c] : -1, _layer[s, c]);
        return at;
    }

    /// <summary>By segment: the radii on which its buckling leans.</summary>
    public IReadOnlyDictionary<int, IReadOnlyList<Lean>> Leans => _leans;

    private void Tip(FrameElement el, double radius, Worst w, int part)
    {
        var g = _scene.Struts.Segments[el.Segment];
        Note(el.Segment, LoadCheck.TipPull, w.Pull / (_tipStrength * Section.Area(g, radius)), w.PullAt, part);
        if (_scene.WallMm is { } wall)
            Note(el.Segment, LoadCheck.WallPullOut, w.Pull / StrutCapacity.PullOut(g.EqualAreaDiameter(radius), wall, _strength), w.PullAt, part);
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

    private void Note(int segment, LoadCheck check, double use, int layer, int part)
    {
        if (!(use > _use[segment, (int)check])) return;
        _use[segment, (int)check] = use;
        _layer[segment, (int)check] = layer;
        _part[segment, (int)check] = part;
    }

    // Moved: the body under all that hangs and under the two off-centre parts.
    private static double Contacts(HeldBody body, UnitAnswer answer, LoadCases cases, ReadOnlySpan<double> lift, ReadOnlySpan<double> moved, Func<ContactState, LoadCases?> under, Vec3 origin, double reach)
    {
        double reaction = 0;
        var rows = answer.Hold.Rows;
        ReadOnlySpan<double> offX = cases.Of(LoadPart.OffX), offY = cases.Of(LoadPart.OffY), cups = cases.Of(LoadPart.UnventedCups);
        var sucked = cups.IndexOfAnyExcept(0.0) >= 0;
        ReadOnlySpan<int> directions = body.Directions;
        for (var i = 0; i < answer.Hold.Contacts.Count; i++)
        {
            var state = answer.Hold.Contacts[i];
            double hang = 0, x = 0, y = 0, cup = 0;
            for (var c = 0; c < directions.Length; c++)
            {
                var (d, force) = (directions[c], answer.Forces[c * rows + 3 * i + 2]);
                hang += lift[d] * force;
                x += offX[d] * force;
                y += offY[d] * force;
                if (sucked) cup += cups[d] * force;
            }
            state.PullN = Math.Max(state.PullN, hang + Math.Sqrt(x * x + y * y));
            state.CupPullN = Math.Max(state.CupPullN, cup);
            var p = (state.Contact.At - origin) / reach;
            if (state.BaseBody >= 0 && under(state) is { } below)
                for (var part = 0; part < LoadCases.Parts; part++)
                {
                    var load = cases.Of((LoadPart)part);
                    var f = Vec3.Zero;
                    for (var c = 0; c < body.Directions.Length; c++)
                        f += new Vec3(answer.Forces[c * rows + 3 * i], answer.Forces[c * rows + 3 * i + 1], answer.Forces[c * rows + 3 * i + 2]) * load[body.Directions[c]];
                    below.Add((LoadPart)part, f, state.Contact.At - origin);
                }
            else reaction += hang;
            if (body.CanTurn) continue;
            var (lx, ly) = Shift(moved, p);
            var (xx, xy) = Shift(moved[6..], p);
            var (yx, yy) = Shift(moved[12..], p);
            state.SideShiftMm = Math.Max(state.SideShiftMm, Math.Sqrt(lx * lx + ly * ly) + Math.Sqrt(xx * xx + xy * xy + yx * yx + yy * yy));
        }
        return reaction;
    }

    private static (double X, double Y) Shift(ReadOnlySpan<double> v, Vec3 p) => (v[0] + v[4] * p.Z - v[5] * p.Y, v[1] + v[5] * p.X - v[3] * p.Z);
}
