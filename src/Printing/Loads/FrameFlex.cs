using Stiltwright.Geometry;
using Stiltwright.Printing.Resin;

namespace Stiltwright.Printing.Loads;

/// <summary>
/// How far the nodes of a tree of beams give way. Every node holds a symmetric 6x6 flexibility: the strain energy of all
/// elements between it and the root under a wrench (force, moment about the root), by Castigliano's theorem (textbook
/// statics; Roark, beams). Axial force, bending and torsion count, shear does not (slender bars). Tapered elements are
/// integrated by Gauss's rule. mm, N, MPa.
/// </summary>
internal sealed class FrameFlex
{
    // Gauss-Legendre, eight points on 0..1.
    private static readonly double[] GaussAt =
    [
        0.019855071751231884, 0.10166676129318664, 0.2372337950418355, 0.40828267875217511,
        0.59171732124782489, 0.7627662049581645, 0.89833323870681336, 0.98014492824876812,
    ];

    private static readonly double[] GaussWeight =
    [
        0.050614268145188129, 0.11119051722668724, 0.15685332293894363, 0.18134189168918100,
        0.18134189168918100, 0.15685332293894363, 0.11119051722668724, 0.050614268145188129,
    ];

    private readonly StrutFrame _frame;
    private readonly double[] _phi;
    private readonly int[] _depth;

    /// <summary>Measures a frame made of a resin in the green state.</summary>
    public FrameFlex(StrutFrame frame, ResinData resin)
    {
        _frame = frame;
        _phi = new double[36 * frame.Places.Count];
        _depth = new int[frame.Places.Count];
        Arms = new Vec3[frame.Places.Count];
        for (var i = 0; i < Arms.Length; i++)
            if (frame.Tree[i] >= 0) Arms[i] = frame.Places[i] - frame.Places[frame.Roots[frame.Tree[i]]];
        double e = resin.GreenModulusMPa, g = e / (2 * (1 + resin.PoissonRatio));
        for (var i = 0; i < frame.Elements.Count; i++)
        {
            var el = frame.Elements[i];
            _phi.AsSpan(36 * el.Lower, 36).CopyTo(_phi.AsSpan(36 * el.Upper, 36));
            _depth[el.Upper] = _depth[el.Lower] + 1;
            Add(el, e, g, _phi.AsSpan(36 * el.Upper, 36));
        }
    }

    /// <summary>Places of all nodes relative to their trees' roots.</summary>
    public Vec3[] Arms { get; }

    /// <summary>Place of a node relative to its tree's root.</summary>
    public Vec3 Arm(int node) => Arms[node];

    /// <summary>
    /// Displacement of one node under a unit force at another of the same tree, as a 3x3 matrix (row: displacement,
    /// column: force), mm/N.
    /// </summary>
    public void Between(int nodeA, int nodeB, Span<double> c9)
    {
        var phi = _phi.AsSpan(36 * Common(nodeA, nodeB), 36);
        Vec3 pa = Arm(nodeA), pb = Arm(nodeB);
        Span<double> wa = stackalloc double[18], wb = stackalloc double[18], t = stackalloc double[18];
        Wrench(pa, wa);
        Wrench(pb, wb);
        for (var r = 0; r < 6; r++)
            for (var c = 0; c < 3; c++)
            {
                double s = 0;
                for (var k = 0; k < 6; k++) s += phi[6 * r + k] * wb[3 * k + c];
                t[3 * r + c] = s;
            }
        for (var r = 0; r < 3; r++)
            for (var c = 0; c < 3; c++)
            {
                double s = 0;
                for (var k = 0; k < 6; k++) s += wa[3 * k + r] * t[3 * k + c];
                c9[3 * r + c] = s;
            }
    }

    // The 6x3 matrix that turns a force at p into force and moment about the origin.
    private static void Wrench(Vec3 p, Span<double> w)
    {
        w.Clear();
        w[0] = w[4] = w[8] = 1;
        w[10] = -p.Z; w[11] = p.Y;
        w[12] = p.Z; w[14] = -p.X;
        w[15] = -p.Y; w[16] = p.X;
    }

    private int Common(int a, int b)
    {
        while (a != b)
        {
            if (_depth[a] >= _depth[b]) a = Below(a); else b = Below(b);
        }
        return a;
    }

    private int Below(int node) => _frame.Elements[_frame.ParentElement[node]].Lower;

    private void Add(FrameElement el, double e, double g, Span<double> phi)
    {
        var seg = _frame.Graph.Segments[el.Segment];
        Vec3 a = Arm(el.Lower), b = Arm(el.Upper);
        var length = a.DistanceTo(b);
        if (length < 1e-9) return;
        var t = (b - a) / length;
        Span<double> m = stackalloc double[18]; // 3x6: moment at x from the wrench
        Span<double> q = stackalloc double[9];
        for (var k = 0; k < 8; k++)
        {
            var x = a + (b - a) * GaussAt[k];
            var r = el.RadiusLower + (el.RadiusUpper - el.RadiusLower) * GaussAt[k];
            var area = seg.AreaShare * Math.PI * r * r;
            var inertia = seg.InertiaShare * Math.PI * r * r * r * r / 4;
            var w = GaussWeight[k] * length;
            double axial = w / (e * area), bend = w / (e * inertia), twist = w / (g * 2 * inertia);
            m.Clear();
            m[1] = x.Z; m[2] = -x.Y; m[6] = -x.Z; m[8] = x.X; m[12] = x.Y; m[13] = -x.X; // -[x] cross
            m[3] = m[10] = m[17] = 1;
            for (var i = 0; i < 3; i++)
                for (var j = 0; j < 3; j++)
                    q[3 * i + j] = (i == j ? bend : 0) + (twist - bend) * t[i] * t[j];
            for (var i = 0; i < 6; i++)
                for (var j = i; j < 6; j++)
                {
                    double s = i < 3 && j < 3 ? axial * t[i] * t[j] : 0;
                    for (var u = 0; u < 3; u++)
                    {
                        var mi = m[6 * u + i];
                        if (mi == 0) continue;
                        for (var v = 0; v < 3; v++) s += mi * q[3 * u + v] * m[6 * v + j];
                    }
                    phi[6 * i + j] += s;
                    if (j != i) phi[6 * j + i] += s;
                }
        }
    }
}
