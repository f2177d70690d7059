using System.Numerics;

namespace Stiltwright.Geometry.Exact;

/// <summary>
/// Points where an edge pierces a plane, kept exactly: both ends of the edge (lattice) and the share of the way as a fraction
/// of 128-bit integers. Points where three planes meet are kept as homogeneous big integers. Each has coordinates in double precision
/// for the filters, wrong by at most <see cref="Error"/> lattice units.
/// </summary>
internal sealed class CutPoints(bool unique = false)
{
    /// <summary>
    /// Bound on the error of a double coordinate, units. An edge point is p + t (q - p) with t a quotient of two integers of the same
    /// sign, so t has a relative error below 4 * 2^-53, |q - p| is below 2^27 and |p| below 2^26: 6.1e-8; a wide point is cut at 2^-24: 6e-8.
    /// </summary>
    public const double Error = 1e-7;

    private struct Definition
    {
        public int Px, Py, Pz, Qx, Qy, Qz;
        public Int128 Num, Den;
    }

    private readonly List<Definition> _definitions = [];
    private readonly List<double> _xyz = [];
    private readonly List<int> _same = [];
    private readonly Dictionary<int, BigInteger[]> _wide = [];

    // Where asked for, wide points of equal places get one number; the key is the point in lowest terms.
    private readonly Dictionary<(BigInteger, BigInteger, BigInteger, BigInteger), int> _known = [];

    public int Count => _definitions.Count;

    /// <summary>The point p + (num/den)(q - p), 0 &lt; num/den &lt; 1.</summary>
    public int AddOnEdge(int px, int py, int pz, int qx, int qy, int qz, Int128 num, Int128 den)
    {
        if (den < 0) (num, den) = (-num, -den);
        var t = (double)num / (double)den;
        _definitions.Add(new Definition { Px = px, Py = py, Pz = pz, Qx = qx, Qy = qy, Qz = qz, Num = num, Den = den });
        _xyz.Add(px + t * ((double)qx - px));
        _xyz.Add(py + t * ((double)qy - py));
        _xyz.Add(pz + t * ((double)qz - pz));
        _same.Add(Count - 1);
        return Count - 1;
    }

    /// <summary>The point (x/w, y/w, z/w).</summary>
    public int AddWide(BigInteger x, BigInteger y, BigInteger z, BigInteger w)
    {
        if (w.Sign < 0) (x, y, z, w) = (-x, -y, -z, -w);
        if (unique)
        {
            var common = w.IsOne ? w : BigInteger.GreatestCommonDivisor(BigInteger.GreatestCommonDivisor(x, y), BigInteger.GreatestCommonDivisor(z, w));
            if (!common.IsOne) (x, y, z, w) = (x / common, y / common, z / common, w / common);
            if (_known.TryGetValue((x, y, z, w), out var known)) return known;
            _known[(x, y, z, w)] = Count;
        }
        _definitions.Add(default);
        _xyz.Add(Approximate(x, w));
        _xyz.Add(Approximate(y, w));
        _xyz.Add(Approximate(z, w));
        _same.Add(Count - 1);
        _wide[Count - 1] = [x, y, z, w];
        return Count - 1;
    }

    private static double Approximate(BigInteger x, BigInteger w) => (double)(long)BigInteger.Divide(x << 24, w) / (1 << 24);

    /// <summary>A coordinate in lattice units, to within <see cref="Error"/>.</summary>
    public double Coordinate(int point, int axis) => _xyz[3 * point + axis];

    /// <summary>A coordinate rounded to the lattice.</summary>
    public int Rounded(int point, int axis) => (int)Math.Round(_xyz[3 * point + axis], MidpointRounding.AwayFromZero);

    /// <summary>The point's exact homogeneous coordinate on an axis (0, 1, 2) and its divisor (above zero).</summary>
    public (BigInteger Value, BigInteger Divisor) Exact(int point, int axis)
    {
        if (_wide.TryGetValue(point, out var w)) return (w[axis], w[3]);
        var d = _definitions[point];
        int p = axis == 0 ? d.Px : axis == 1 ? d.Py : d.Pz, q = axis == 0 ? d.Qx : axis == 1 ? d.Qy : d.Qz;
        BigInteger num = d.Num, den = d.Den;
        return (p * den + num * ((long)q - p), den);
    }

    /// <summary>The number under which a point goes once points found to lie at one place were joined.</summary>
    public int Canonical(int point)
    {
        while (_same[point] != point) point = _same[point] = _same[_same[point]];
        return point;
    }

    /// <summary>Notes that two points lie at one place; the smaller number stays.</summary>
    public void Join(int a, int b)
    {
        a = Canonical(a);
        b = Canonical(b);
        if (a < b) _same[b] = a;
        else _same[a] = b;
    }
}
