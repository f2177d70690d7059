using Stiltwright.Printing.Strength;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Loads;

/// <summary>
/// How a use changes when radii change. A force q in a strut answers a change of any element's flexibility by minus the
/// virtual work, in that element, of the real inner forces and those of the adjoint state: the state in which q's own
/// coefficients act as imposed gaps while the body may move freely (principle of virtual forces; textbook statics). So one
/// adjoint state a force gives its slope with respect to every radius.
/// </summary>
internal sealed class UseSlopes(LoadScene scene, LoadTrace trace)
{
    private readonly StrutFrame _frame = trace.Frame;
    private readonly IReadOnlyList<StrutSegment> _segments = scene.Struts.Segments;
    private readonly double _approach = scene.Resin.ApproachShare;
    private readonly Portions[] _portions = [.. trace.Frame.Elements.Select(el => Portions.Of(trace.Frame, el, scene))];

    // What a slope with respect to ln(radius) at the lower end, the middle and the upper end of an element means at the two ends of
    // its segment, and the factors of virtual work of a force and of moments at those places.
    private readonly record struct Portions(int Segment, double Axial0, double AxialMid, double Axial1, double Bend0, double BendMid, double Bend1,
        double From0, double To0, double FromMid, double ToMid, double From1, double To1)
    {
        public static Portions Of(StrutFrame frame, FrameElement el, LoadScene scene)
        {
            var g = scene.Struts.Segments[el.Segment];
            var e = scene.Resin.GreenModulusMPa;
            var length = frame.Places[el.Lower].DistanceTo(frame.Places[el.Upper]);
            double rl = el.RadiusLower, ru = el.RadiusUpper, rm = (rl + ru) / 2;
            var axial = 2 * length / (e * g.AreaShare * Math.PI);
            var bend = 4 * length / (6 * e * g.InertiaShare * Math.PI / 4);
            var (from0, to0) = Shares(frame, el, g, 0);
            var (fromMid, toMid) = Shares(frame, el, g, 0.5);
            var (from1, to1) = Shares(frame, el, g, 1);
            return new Portions(el.Segment, axial / (6 * rl * rl), 4 * axial / (6 * rm * rm), axial / (6 * ru * ru), bend / Fourth(rl), bend / Fourth(rm), bend / Fourth(ru), from0, to0, fromMid, toMid, from1, to1);
        }
    }

    /// <summary>
    /// Use of a segment at one of its parts and layers, with its slopes with respect to ln(radius) at every segment's lower
    /// (2 id) and upper (2 id + 1) end. NaN where the use depends on no load of the figure, or the layer was not solved.
    /// </summary>
    /// <param name="segment">Segment.</param>
    /// <param name="check">Check.</param>
    /// <param name="at">Part and layer; that of its hardest use or, for the same part, another.</param>
    /// <param name="use">Its hardest use in this check.</param>
    /// <param name="slenderness">Its slenderness.</param>
    /// <param name="slopes">Answer.</param>
    public double Of(int segment, LoadCheck check, HardestAt at, double use, double slenderness, Span<double> slopes)
    {
        slopes.Clear();
        var (part, layer) = at;
        var hardest = trace.Hardest[segment, (int)check];
        if (part < 0 || check == LoadCheck.StandingFree || !trace.Layers.TryGetValue(layer - 1, out var bodies)) return double.NaN;
        if (hardest != at)
        {
            // Capacity of the same part at the same size: from its hardest use.
            if (hardest.Part != part || !trace.Layers.TryGetValue(hardest.Layer - 1, out var then)) return double.NaN;
            use *= Force(check, bodies, part) / Force(check, then, part);
            if (!(use > 0)) return double.NaN;
        }
        var g = _segments[segment];
        var bar = part >= _frame.Elements.Count;
        var element = bar ? default : _frame.Elements[part];
        Span<double> now = stackalloc double[LoadCases.Parts * 5];
        var main = Sum(bodies, part, now);
        if (main < 0) return double.NaN;

        // Weights of the five values in the use: of all that hangs, the two off-centre parts, the separation load alone.
        Span<double> w = stackalloc double[20];
        w.Clear();
        double perN, direct;
        switch (check)
        {
            case LoadCheck.TipPull or LoadCheck.WallPullOut:
                perN = Pull(now, w);
                for (var i = 0; i < 20; i++) w[i] *= use / perN;
                direct = check == LoadCheck.TipPull ? -2 : -1;
                slopes[2 * segment + (g.ToHeldBy == EndHeldBy.Figure ? 1 : 0)] += direct * use;
                break;
            case LoadCheck.Buckling:
                perN = Push(now, w);
                for (var i = 0; i < 20; i++) w[i] *= use / perN;
                if (!bar && hardest == at && trace.Leans.TryGetValue(segment, out var leans))
                {
                    foreach (var lean in leans) Follow(lean, -use, slopes);
                    break;
                }
                direct = -use * StrutCapacity.ColumnGrowth(slenderness, scene.Resin.GreenModulusMPa, scene.Resin.GreenStrengthMPa);
                slopes[2 * segment + (g.ToHeldBy == EndHeldBy.Figure ? 0 : 1)] += direct / (g.Role == Role.Tip ? 1 : 2);
                if (g.Role != Role.Tip) slopes[2 * segment] += direct / 2;
                break;
            default:
                var push = check == LoadCheck.ShaftPush;
                if (bar)
                {
                    perN = push ? Push(now, w) : Pull(now, w);
                    for (var i = 0; i < 20; i++) w[i] *= use / perN;
                    slopes[2 * segment] -= use;
                    slopes[2 * segment + 1] -= use;
                    break;
                }
                use = Stress(g, element, push, now, w, slopes, segment);
                break;
        }
        var (state, loads) = bodies[main];
        Span<double> load = stackalloc double[6];
        if (OnlyAxial(w))
        {
            // One adjoint state serves all parts of the load: they differ by a factor only.
            load.Clear();
            Span<double> more = stackalloc double[6];
            for (var lump = 0; lump < 4; lump++)
            {
                if (w[5 * lump] == 0) continue;
                Lump(loads, lump, more);
                for (var i = 0; i < 6; i++) load[i] += w[5 * lump] * more[i];
            }
            Through(state, load, part, bar, [1, 0, 0, 0, 0], slopes);
            return use;
        }
        for (var lump = 0; lump < 4; lump++)
        {
            var c = w.Slice(5 * lump, 5);
            if (c.IndexOfAnyExcept(0.0) < 0) continue;
            Lump(loads, lump, load);
            Through(state, load, part, bar, c, slopes);
        }
        return use;
    }

    private static bool OnlyAxial(ReadOnlySpan<double> w)
    {
        for (var i = 0; i < w.Length; i++)
            if (i % 5 != 0 && w[i] != 0) return false;
        return true;
    }

    // All that hangs, the two off-centre parts, the separation load alone.
    private static void Lump(LoadCases cases, int lump, Span<double> load)
    {
        load.Clear();
        void Plus(LoadPart p, Span<double> to) { var from = cases.Of(p); for (var i = 0; i < 6; i++) to[i] += from[i]; }
        if (lump == 1) Plus(LoadPart.OffX, load);
        else if (lump == 2) Plus(LoadPart.OffY, load);
        else
        {
            Plus(LoadPart.Separation, load);
            if (lump == 0) { Plus(LoadPart.Weight, load); Plus(LoadPart.Cups, load); }
        }
    }

    private double Force(LoadCheck check, List<(BodyState Body, LoadCases Loads)> bodies, int part)
    {
        Span<double> now = stackalloc double[LoadCases.Parts * 5], w = stackalloc double[20];
        if (Sum(bodies, part, now) < 0) return 0;
        return check is LoadCheck.Buckling or LoadCheck.ShaftPush ? Push(now, w) : Pull(now, w);
    }

    // Sums a part's five values over bodies; answers the body that gives most.
    private int Sum(List<(BodyState Body, LoadCases Loads)> bodies, int part, Span<double> now)
    {
        now.Clear();
        var ne = _frame.Elements.Count;
        int main = -1;
        double most = 0;
        for (var b = 0; b < bodies.Count; b++)
        {
            var (body, cases) = bodies[b];
            foreach (var answer in body.Answers)
            {
                var net = answer.Hold.Network;
                var at = part < ne ? net.Place(part) : net.PlaceOfBar(part - ne);
                if (at < 0) continue;
                int own = net.Elements.Length, ownBars = net.Bars.Length;
                double size = 0;
                for (var p = 0; p < LoadCases.Parts - 1; p++)
                {
                    var load = cases.Of((LoadPart)p);
                    for (var c = 0; c < body.Directions.Length; c++)
                    {
                        var k = load[body.Directions[c]];
                        if (k == 0) continue;
                        if (part >= ne) { now[5 * p] += k * answer.BarForces[c * ownBars + at]; size += Math.Abs(k * answer.BarForces[c * ownBars + at]); continue; }
                        for (var v = 0; v < 5; v++)
                        {
                            var x = k * answer.Inner[(c * 5 + v) * own + at];
                            now[5 * p + v] += x;
                            size += Math.Abs(x);
                        }
                    }
                }
                if (size > most) (most, main) = (size, b);
            }
        }
        return main;
    }

    private static double Hang(ReadOnlySpan<double> now, int v) =>
        now[5 * (int)LoadPart.Separation + v] + now[5 * (int)LoadPart.Weight + v] + now[5 * (int)LoadPart.Cups + v];

    private double Pull(ReadOnlySpan<double> now, Span<double> w)
    {
        double x = now[5 * (int)LoadPart.OffX], y = now[5 * (int)LoadPart.OffY], off = Math.Sqrt(x * x + y * y), s = now[5 * (int)LoadPart.Separation];
        double lift = Hang(now, 0) + off, approach = _approach * (off - s) + Math.Max(0, now[5 * (int)LoadPart.Weight]);
        var k = approach > lift ? _approach : 1;
        w[approach > lift ? 15 : 0] = approach > lift ? -_approach : 1;
        if (off > 0) (w[5], w[10]) = (k * x / off, k * y / off);
        return Math.Max(lift, approach);
    }

    private double Push(ReadOnlySpan<double> now, Span<double> w)
    {
        double x = now[5 * (int)LoadPart.OffX], y = now[5 * (int)LoadPart.OffY], off = Math.Sqrt(x * x + y * y), s = now[5 * (int)LoadPart.Separation];
        double lift = off - Hang(now, 0), approach = _approach * (s + off) + Math.Max(0, -now[5 * (int)LoadPart.Weight]);
        var k = approach > lift ? _approach : 1;
        w[approach > lift ? 15 : 0] = approach > lift ? _approach : -1;
        if (off > 0) (w[5], w[10]) = (k * x / off, k * y / off);
        return Math.Max(lift, approach);
    }

    private double Stress(StrutSegment g, FrameElement el, bool push, ReadOnlySpan<double> now, Span<double> w, Span<double> slopes, int segment)
    {
        Span<double> axial = stackalloc double[20], low = stackalloc double[20], up = stackalloc double[20];
        axial.Clear();
        low.Clear();
        up.Clear();
        var force = push ? Push(now, axial) : Pull(now, axial);
        double lower = Moment(now, 1, low), upper = Moment(now, 3, up);
        var strength = scene.Resin.GreenStrengthMPa;
        var touches = el.Upper == TipNode(g, el);
        double la = force / Section.Area(g, el.RadiusLower) / strength, lb = lower / Section.Modulus(g, el.RadiusLower) / strength;
        double ua = touches && !push ? 0 : force / Section.Area(g, el.RadiusUpper) / strength, ub = touches ? 0 : upper / Section.Modulus(g, el.RadiusUpper) / strength;
        var atLower = la + lb >= ua + ub;
        double perN = 1 / (atLower ? Section.Area(g, el.RadiusLower) : Section.Area(g, el.RadiusUpper)) / strength;
        double perM = atLower ? 1 / Section.Modulus(g, el.RadiusLower) / strength : touches ? 0 : 1 / Section.Modulus(g, el.RadiusUpper) / strength;
        var moment = atLower ? low : up;
        for (var i = 0; i < 20; i++) w[i] = perN * axial[i] + perM * moment[i];
        Place(el, atLower ? 0 : 1, atLower ? -2 * la - 3 * lb : -2 * ua - 3 * ub, slopes, segment);
        return atLower ? la + lb : ua + ub;
    }

    private int TipNode(StrutSegment g, FrameElement el)
    {
        foreach (var c in _frame.Contacts)
            if (c.Segment == g.Id && c.Node == el.Upper) return el.Upper;
        return -1;
    }

    // The norm of two moments, each with its off-centre part; the weights are those of the worse case, lift or approach.
    private double Moment(ReadOnlySpan<double> now, int v, Span<double> w)
    {
        Span<double> lift = stackalloc double[20], approach = stackalloc double[20];
        lift.Clear();
        approach.Clear();
        double a = Moment(now, v, false, lift), b = Moment(now, v, true, approach);
        (a >= b ? lift : approach).CopyTo(w);
        return Math.Max(a, b);
    }

    private double Moment(ReadOnlySpan<double> now, int v, bool approach, Span<double> w)
    {
        Span<double> part = stackalloc double[2];
        var hanging = approach ? 15 : 0;
        for (var i = 0; i < 2; i++)
        {
            double x = now[5 * (int)LoadPart.OffX + v + i], y = now[5 * (int)LoadPart.OffY + v + i], off = Math.Sqrt(x * x + y * y);
            var hang = approach ? now[5 * (int)LoadPart.Separation + v + i] : Hang(now, v + i);
            part[i] = Math.Abs(hang) + off;
            w[hanging + v + i] = Math.Sign(hang);
            if (off > 0) (w[5 + v + i], w[10 + v + i]) = (x / off, y / off);
        }
        var k = approach ? _approach : 1;
        var norm = Math.Sqrt(part[0] * part[0] + part[1] * part[1]);
        for (var i = 0; i < 2; i++)
            for (var lump = 0; lump < 4; lump++) w[5 * lump + v + i] *= norm > 0 ? k * part[i] / norm : 0;
        return k * norm;
    }

    // Adjoint state of one weighted force, and its work with the real inner forces of a load.
    private void Through(BodyState body, ReadOnlySpan<double> load, int part, bool bar, ReadOnlySpan<double> five, Span<double> slopes)
    {
        var ne = _frame.Elements.Count;
        var own = -1;
        for (var i = 0; i < body.Answers.Count && own < 0; i++)
            if ((bar ? body.Answers[i].Hold.Network.PlaceOfBar(part - ne) : body.Answers[i].Hold.Network.Place(part)) >= 0) own = i;
        if (own < 0) return;
        var columns = body.Directions.Length;
        int Rows(TracedAnswer a) => a.Forces.Length / columns;
        var hold = body.Answers[own].Hold;
        using var memory = new Rented(Rows(body.Answers[own]) + hold.Network.Bars.Length);
        Span<double> asked = memory.Of(0, Rows(body.Answers[own])), ownBars = memory.Of(asked.Length, hold.Network.Bars.Length);
        hold.Network.Ask(hold.Contacts, asked.Length / 3, bar ? -1 : part, bar ? part - ne : -1, five, asked, ownBars);
        Span<double> move = stackalloc double[6];
        hold.Stiff(asked, move); // C^-1 b in place; G^T C^-1 b
        DenseKernels.Forward(body.Factor, 6, 6, move);
        DenseKernels.Backward(body.Factor, 6, 6, move);
        for (var i = 0; i < body.Answers.Count; i++)
        {
            var answer = body.Answers[i];
            var net = answer.Hold.Network;
            var rows = Rows(answer);
            using var room = new Rented(rows + 5 * net.Elements.Length + net.Bars.Length);
            var forces = room.Of(0, rows);
            answer.Hold.Forces(move, forces);
            for (var r = 0; r < rows; r++) forces[r] = (i == own ? asked[r] : 0) - forces[r];
            Span<double> inner = room.Of(rows, 5 * net.Elements.Length), bars = room.Of(rows + inner.Length, net.Bars.Length);
            net.Inner(answer.Hold.Contacts, forces, i == own ? ownBars : [], inner, bars);
            Work(body, load, answer, net, inner, bars, slopes);
        }
    }

    private readonly struct Rented(int length) : IDisposable
    {
        private readonly double[] _all = System.Buffers.ArrayPool<double>.Shared.Rent(length);

        public Span<double> Of(int from, int count) => _all.AsSpan(from, count);

        public void Dispose() => System.Buffers.ArrayPool<double>.Shared.Return(_all);
    }

    private void Work(BodyState body, ReadOnlySpan<double> load, TracedAnswer answer, FrameNetwork net, ReadOnlySpan<double> inner, ReadOnlySpan<double> bars, Span<double> slopes)
    {
        int ne = net.Elements.Length, nb = net.Bars.Length;
        var e = scene.Resin.GreenModulusMPa;
        double[] real = answer.Inner, realBars = answer.BarForces;
        var columns = body.Directions.Length;
        using var memory = new Rented(5 * ne);
        var f = memory.Of(0, 5 * ne); // inner forces under the load
        f.Clear();
        for (var c = 0; c < columns; c++)
            if (load[body.Directions[c]] is var k and not 0) DenseKernels.AddScaled(k, real.AsSpan(c * 5 * ne, 5 * ne), f, 5 * ne);
        for (var i = 0; i < ne; i++)
        {
            ref readonly var p = ref _portions[net.Elements[i]];
            var axial = f[i] * inner[i];
            double m1 = f[ne + i], m2 = f[2 * ne + i], m3 = f[3 * ne + i], m4 = f[4 * ne + i], l1 = inner[ne + i], l2 = inner[2 * ne + i], u1 = inner[3 * ne + i], u2 = inner[4 * ne + i];
            var mid = (m1 + m3) * (l1 + u1) + (m2 + m4) * (l2 + u2); // four times the product half-way
            double at0 = axial * p.Axial0 + (m1 * l1 + m2 * l2) * p.Bend0, atMid = axial * p.AxialMid + mid * p.BendMid, at1 = axial * p.Axial1 + (m3 * u1 + m4 * u2) * p.Bend1;
            slopes[2 * p.Segment] += at0 * p.From0 + atMid * p.FromMid + at1 * p.From1;
            slopes[2 * p.Segment + 1] += at0 * p.To0 + atMid * p.ToMid + at1 * p.To1;
        }
        for (var b = 0; b < nb; b++)
        {
            double f0 = 0;
            for (var c = 0; c < body.Directions.Length; c++) f0 += load[body.Directions[c]] * realBars[c * nb + b];
            var it = _frame.Bars[net.Bars[b]];
            var g = _segments[it.Segment];
            var w = f0 * bars[b] * it.A.DistanceTo(it.B) / (e * g.AreaShare * Math.PI * g.RadiusFrom * g.RadiusTo);
            slopes[2 * it.Segment] += w;
            slopes[2 * it.Segment + 1] += w;
        }
    }

    private static double Fourth(double r) => r * r * r * r;

    // A slope with respect to ln(radius) part-way up an element, shared out to the ends of its segment.
    private void Place(FrameElement el, double along, double slope, Span<double> slopes, int segment)
    {
        var (from, to) = Shares(_frame, el, _segments[segment], along);
        slopes[2 * segment] += slope * from;
        slopes[2 * segment + 1] += slope * to;
    }

    private static (double From, double To) Shares(StrutFrame frame, FrameElement el, StrutSegment g, double along)
    {
        var p = frame.Places[el.Lower] + (frame.Places[el.Upper] - frame.Places[el.Lower]) * along;
        var t = g.Length > 0 ? Math.Clamp((p - g.From).Dot(g.To - g.From) / (g.Length * g.Length), 0, 1) : 0;
        double from = (1 - t) * g.RadiusFrom, to = t * g.RadiusTo;
        return from + to > 0 ? (from / (from + to), to / (from + to)) : (0, 0);
    }

    // What a capacity leans on: a place on an element, or a whole bar.
    private void Follow(Lean lean, double slope, Span<double> slopes)
    {
        var ne = _frame.Elements.Count;
        if (lean.Part < ne)
        {
            Place(_frame.Elements[lean.Part], lean.Along, slope * lean.Share, slopes, _frame.Elements[lean.Part].Segment);
            return;
        }
        var segment = _frame.Bars[lean.Part - ne].Segment;
        slopes[2 * segment] += slope * lean.Share / 2;
        slopes[2 * segment + 1] += slope * lean.Share / 2;
    }
}
