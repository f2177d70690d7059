using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>One source on its way to being separated: its bodies, what each triangle belongs to, and the cuts.</summary>
internal sealed class SeparationDraft
{
    /// <summary>Marks of parts that are no drawn body.</summary>
    public const int FigurePart = -1, RaftPart = -2, RestPart = -3;

    private const string OpenBorder = "the edge of a contact does not close";

    /// <summary>A loop that rises less than this is level, mm.</summary>
    private const double LevelMm = 0.02;

    /// <summary>A ring of a ball is lower than this share of its radius; feet and shafts are higher.</summary>
    private const double RingShare = 0.75;

    private readonly Mesh _mesh;
    private readonly int[] _twin;
    private readonly double _floor;
    private readonly RecognitionSettings _settings;
    private readonly HashSet<int> _givenBack = [];
    private readonly List<DrawnBody> _bodies = [];
    private readonly int[] _labels;
    private readonly List<(int[] Triangles, bool Raft, List<CutLoop> Loops)> _kept = [];

    public SeparationDraft(Mesh mesh, int[] twin, List<DrawnPrism> prisms, List<DrawnRing> rings, double floor, double step, RecognitionSettings settings)
    {
        _mesh = mesh;
        _twin = twin;
        _floor = floor;
        _settings = settings;
        foreach (var p in prisms) p.OnMm = OnMm(step);
        _labels = new int[mesh.TriangleCount];
        // The rings of a ball are short frusta, too: balls are looked for at the ends of long prisms, and take their rings.
        var slender = prisms.Where(p => p.High - p.Low >= RingShare * p.Size).ToList<DrawnShaft>();
        _bodies.AddRange(slender);
        Label(_ => true);
        // Pieces of bent tubes are no prisms: they are told by their rings, and take what was taken for a prism in them.
        var skew = SkewFinder.Find(mesh, twin, _labels, rings, OnMm(step)).Where(b => Math.Min(b.LowestAt(b.Low), b.LowestAt(b.High)) >= floor - LevelMm && !FusedSeparation.IsPad(b, floor, settings)).ToList();
        if (skew.Count > 0)
        {
            slender.RemoveAll(p => skew.Exists(b => MostlyIn(b, p)));
            slender.AddRange(skew.Where(b => b.High - b.Low >= RingShare * b.Size));
            _bodies.Clear();
            _bodies.AddRange(slender);
            Label(_ => true);
        }
        var balls = BallFinder.Find(mesh, twin, _labels, slender, step);
        // What would reach below all that was drawn was not drawn so.
        balls.RemoveAll(b => b.Centre.Z - b.Size < floor - LevelMm);
        _bodies.AddRange(skew.Where(b => b.High - b.Low < RingShare * b.Size).Concat<DrawnShaft>(prisms.Where(p => p.High - p.Low < RingShare * p.Size))
            .Where(p => !balls.Exists(b => MostlyIn(b, p))));
        _bodies.AddRange(balls);
    }

    /// <summary>How far outside a body a corner may lie where coordinates were rounded to a step, mm.</summary>
    private static double OnMm(double step) => Math.Max(2e-3, 3 * step);

    public IReadOnlyList<DrawnBody> Bodies => _bodies;

    /// <summary>What was kept by the last cut, in the order of its parts: figure and raft.</summary>
    public IReadOnlyList<(int[] Triangles, bool Raft, List<CutLoop> Loops)> Kept => _kept;

    /// <summary>Labels and cuts anew with the bodies that are left; says why it cannot be, or null.</summary>
    public string? Cut()
    {
        Label(b => !_givenBack.Contains(b));
        DropUngrounded();
        AbsorbJoints();
        _kept.Clear();
        var partOf = new int[_mesh.TriangleCount];
        Array.Fill(partOf, -1);
        var parts = SurfaceLabels.Parts(_mesh.TriangleCount, _twin, t => _labels[t] < 0);
        var found = parts.Count;
        for (var i = 0; i < found; i++)
        {
            foreach (var t in parts[i]) partOf[t] = i;
            if (LoopsOf(parts[i], i) is not { } loops) return OpenBorder;
            var box = BoxOf(parts[i]);
            if (box.Min.Z <= _floor + 0.05 && box.Size.Z > _settings.MostRaftMm && RaftTop(loops) is { } top && OffTheRaft(parts[i], top) is { } pieces)
            {
                // A strut that was not accepted still joins figure and raft: the raft is cut off in its upper plane.
                foreach (var piece in pieces)
                {
                    parts.Add(piece);
                    foreach (var t in piece) partOf[t] = parts.Count - 1;
                }
                foreach (var piece in pieces)
                {
                    if (LoopsOf(piece, partOf[piece[0]]) is not { } cut) return OpenBorder;
                    _kept.Add((piece, IsRaft(BoxOf(piece)), cut));
                }
                continue;
            }
            _kept.Add((parts[i], IsRaft(box), loops));
        }
        return null;

        List<CutLoop>? LoopsOf(int[] part, int number)
        {
            var loops = CutLoops.Around(_mesh, _twin, part, partOf, number, _labels);
            return loops is null || loops.Exists(l => l.Vertices.Length > CutLoops.MostCorners) ? null : loops;
        }
    }

    private bool IsRaft(Box3 box) => box.Min.Z <= _floor + 0.05 && box.Size.Z <= _settings.MostRaftMm;

    private Box3 BoxOf(int[] triangles)
    {
        var box = Box3.Empty;
        foreach (var t in triangles)
        {
            var (a, b, c) = _mesh.Triangle(t);
            box = box.With(a).With(b).With(c);
        }
        return box;
    }

    /// <summary>The level plane in which several struts leave a part near the platform; null where there is none.</summary>
    private double? RaftTop(List<CutLoop> loops)
    {
        var levels = new List<double>();
        foreach (var loop in loops)
        {
            var box = Box3.Empty;
            foreach (var v in loop.Vertices) box = box.With(_mesh.Vertex(v));
            if (box.Size.Z < LevelMm && box.Max.Z <= _floor + _settings.MostRaftMm) levels.Add(box.Max.Z);
        }
        if (levels.Count < 3) return null;
        levels.Sort();
        var top = levels[levels.Count / 2];
        return levels.Count(z => Math.Abs(z - top) < LevelMm) >= 3 ? top : null;
    }

    /// <summary>Raft and rest of a part, cut along edges in the raft's upper plane; null where no such edges part them.</summary>
    private List<int[]>? OffTheRaft(int[] part, double top)
    {
        var inPart = new HashSet<int>(part);
        var low = new HashSet<int>();
        foreach (var t in part)
        {
            var (a, b, c) = _mesh.Triangle(t);
            if (Math.Max(a.Z, Math.Max(b.Z, c.Z)) <= top + 2e-3) low.Add(t);
        }
        foreach (var t in low)
            for (var k = 0; k < 3; k++)
            {
                var g = _twin[3 * t + k];
                if (g < 0 || !inPart.Contains(g / 3) || low.Contains(g / 3)) continue;
                var h = 3 * t + k;
                if (Math.Abs(_mesh.Vertex(_mesh.Corners[h]).Z - top) > LevelMm || Math.Abs(_mesh.Vertex(_mesh.Corners[EdgePairing.Next(h)]).Z - top) > LevelMm) return null;
            }
        var raft = SurfaceLabels.Parts(_mesh.TriangleCount, _twin, low.Contains);
        if (raft.Exists(r => BoxOf(r).Min.Z > _floor + 0.05)) return null;
        raft.AddRange(SurfaceLabels.Parts(_mesh.TriangleCount, _twin, t => inPart.Contains(t) && !low.Contains(t)));
        return raft;
    }

    /// <summary>The closed parts, and the body (or mark) of each.</summary>
    public (List<Mesh> Parts, List<int> Body) Parts()
    {
        var parts = new List<Mesh>();
        var body = new List<int>();
        foreach (var (triangles, raft, loops) in _kept)
        {
            parts.Add(Closed(triangles, loops));
            body.Add(raft ? RaftPart : FigurePart);
        }
        var ends = new DrawnEnds(_twin, _labels, _bodies);
        var used = new SortedSet<int>(_labels.Where(l => l >= 0));
        foreach (var b in used)
        {
            if (_bodies[b] is DrawnShaft p)
            {
                // A contact of a ball is one of the prism that ends in it.
                var own = ends.Meets(b).Where(o => _bodies[o] is DrawnBall).Append(b).ToHashSet();
                var contacts = _kept.Where(k => !k.Raft).SelectMany(k => k.Loops).Where(l => l.Bodies.Any(own.Contains)).ToList();
                var stands = _kept.Where(k => k.Raft).SelectMany(k => k.Loops).Where(l => l.Bodies.Contains(b)).ToList();
                var (low, high) = ends.Of(_mesh, b, contacts, stands, _floor);
                parts.Add(p.ToMesh(_mesh.Lattice, low, high));
            }
            else parts.Add(_bodies[b].ToMesh(_mesh.Lattice));
            body.Add(b);
        }
        return (parts, body);
    }

    /// <summary>Triangles that belong to bodies after the last cut.</summary>
    public IEnumerable<int> Taken() => Enumerable.Range(0, _labels.Length).Where(t => _labels[t] >= 0);

    /// <summary>Gives bodies that a test does not accept back to the figure; how many.</summary>
    public int GiveBack(Func<int, bool> accepted)
    {
        var count = 0;
        foreach (var b in _labels.Where(l => l >= 0).Distinct().ToList())
            if (!accepted(b) && _givenBack.Add(b)) count++;
        return count;
    }

    /// <summary>Gives back every body that shows on one of the triangles; how many.</summary>
    public int GiveBackWhere(Func<int, bool> refused)
    {
        var count = 0;
        for (var t = 0; t < _labels.Length; t++)
            if (_labels[t] >= 0 && refused(t) && _givenBack.Add(_labels[t])) count++;
        return count;
    }

    /// <summary>Middles of the loops along which struts leave the figure, and the area of the skins over them, mm2.</summary>
    /// <param name="figure">True for triangles of shells that have figure in them.</param>
    public (List<Vec3> Middles, double SkinMm2) Contacts(Func<int, bool> figure)
    {
        var middles = new List<Vec3>();
        double area = 0;
        foreach (var loop in _kept.Where(k => !k.Raft && figure(k.Triangles[0])).SelectMany(k => k.Loops))
        {
            var c = CutLoops.Close(_mesh, loop.Vertices);
            for (var i = 0; i < c.Length; i += 3)
                area += (_mesh.Vertex(c[i + 1]) - _mesh.Vertex(c[i])).Cross(_mesh.Vertex(c[i + 2]) - _mesh.Vertex(c[i])).Length / 2;
            if (loop.Bodies.Length == 0) continue;
            var sum = Vec3.Zero;
            foreach (var v in loop.Vertices) sum += _mesh.Vertex(v);
            middles.Add(sum / loop.Vertices.Length);
        }
        return (middles, area);
    }

    /// <summary>Shell of the separated source for each triangle of the source, -1 inside joints.</summary>
    public int[] ShellOfTriangle(List<int> body, ShellSet found, List<Mesh> parts)
    {
        var shellOfBody = new Dictionary<int, int>();
        var result = new int[_mesh.TriangleCount];
        Array.Fill(result, -1);
        var at = 0;
        for (var i = 0; i < parts.Count; i++)
        {
            if (body[i] >= 0) shellOfBody[body[i]] = found.OfTriangle[at];
            else if (i < _kept.Count)
                for (var k = 0; k < _kept[i].Triangles.Length; k++) result[_kept[i].Triangles[k]] = found.OfTriangle[at + k];
            at += parts[i].TriangleCount;
        }
        for (var t = 0; t < result.Length; t++)
            if (_labels[t] >= 0) result[t] = shellOfBody[_labels[t]];
        return result;
    }

    /// <summary>Most of a prism's triangles lie in another body: a piece of a bent tube, or a ball of which it is a ring.</summary>
    private bool MostlyIn(DrawnBody body, DrawnShaft prism)
    {
        var within = 0;
        foreach (var t in prism.Seeds)
        {
            var (a, b, c) = _mesh.Triangle(t);
            if (body.Holds(a) && body.Holds(b) && body.Holds(c)) within++;
        }
        return 2 * within > prism.Seeds.Count;
    }

    private void Label(Func<int, bool> use)
    {
        Array.Fill(_labels, -1);
        for (var b = 0; b < _bodies.Count; b++)
            if (use(b))
                foreach (var t in _bodies[b].Seeds)
                    if (_labels[t] < 0) _labels[t] = b;
        for (var b = 0; b < _bodies.Count; b++)
            if (use(b)) SpreadFrom(b);
        SurfaceLabels.TakeFlaps(_mesh, _twin, _bodies, _labels);

        void SpreadFrom(int b)
        {
            foreach (var t in _bodies[b].Seeds)
                if (_labels[t] == b) _labels[t] = -1;
            SurfaceLabels.Spread(_mesh, _twin, _bodies[b], b, _labels);
        }
    }

    /// <summary>Bodies that hang together with none that stands on platform or raft are parts of the figure.</summary>
    private void DropUngrounded()
    {
        var ends = new DrawnEnds(_twin, _labels, _bodies);
        var grounded = new HashSet<int>();
        var queue = new Queue<int>();
        for (var t = 0; t < _labels.Length; t++)
        {
            var l = _labels[t];
            if (l < 0 || grounded.Contains(l)) continue;
            var (a, b, c) = _mesh.Triangle(t);
            // A raft is low: where a body comes down to its height, it may stand on it.
            if (Math.Min(a.Z, Math.Min(b.Z, c.Z)) > _floor + _settings.MostRaftMm) continue;
            grounded.Add(l);
            queue.Enqueue(l);
        }
        while (queue.TryDequeue(out var b))
            foreach (var o in ends.Meets(b))
                if (grounded.Add(o)) queue.Enqueue(o);
        for (var t = 0; t < _labels.Length; t++)
            if (_labels[t] >= 0 && !grounded.Contains(_labels[t])) _labels[t] = -1;
    }

    /// <summary>Crumbs that border on bodies only and are no larger than they (what is left of joints) go with them.</summary>
    private void AbsorbJoints()
    {
        foreach (var part in SurfaceLabels.Parts(_mesh.TriangleCount, _twin, t => _labels[t] < 0))
        {
            var around = new SortedSet<int>();
            var box = Box3.Empty;
            foreach (var t in part)
            {
                var (a, b, c) = _mesh.Triangle(t);
                box = box.With(a).With(b).With(c);
                for (var k = 0; k < 3; k++)
                    if (_twin[3 * t + k] >= 0 && _labels[_twin[3 * t + k] / 3] is >= 0 and var l) around.Add(l);
            }
            if (around.Count == 0 || box.Size.Length > (around.Count == 1 ? 2 : 3) * around.Min(b => _bodies[b].Size)) continue;
            foreach (var t in part) _labels[t] = around.Min;
        }
    }

    /// <summary>Kept triangles with a skin over every loop: closed.</summary>
    private Mesh Closed(int[] triangles, List<CutLoop> loops)
    {
        var corners = new List<int>(3 * triangles.Length);
        foreach (var t in triangles)
            for (var k = 0; k < 3; k++) corners.Add(_mesh.Corners[3 * t + k]);
        foreach (var loop in loops) corners.AddRange(CutLoops.Close(_mesh, loop.Vertices));
        var all = new Mesh(_mesh.Lattice, _mesh.XyzArray, [.. corners]);
        return all.Part(Enumerable.Range(0, all.TriangleCount).ToArray());
    }
}
