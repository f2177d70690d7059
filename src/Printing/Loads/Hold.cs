using System.Runtime.InteropServices;
using Stiltwright.Geometry;

namespace Stiltwright.Printing.Loads;

/// <summary>
/// The contacts by which one network holds one body: a Cholesky factor of their flexibility that grows row by row as
/// contacts join, and the body's stiffness from it. The frame is the whole network; other bodies on it are left out (each
/// body's solution is exact for that body alone, and solutions add up).
/// </summary>
internal sealed class Hold(FrameNetwork network)
{
    private readonly List<double[]> _rows = [];
    private readonly List<double>[] _y = [[], [], [], [], [], []];
    private double[] _inner = [];
    private double[] _bars = [];

    /// <summary>The network.</summary>
    public FrameNetwork Network { get; } = network;

    /// <summary>Contacts, in the order in which they joined.</summary>
    public List<ContactState> Contacts { get; } = [];

    /// <summary>Stiffness against the six motions of a body, summed into a 6x6 matrix.</summary>
    public double[] Stiffness { get; } = new double[36];

    /// <summary>Numbers a column of contact forces has.</summary>
    public int Rows => _rows.Count;

    /// <summary>Memory for the newest answer of the whole network; the one before is overwritten.</summary>
    public (double[] Inner, double[] Bars) Memory(int columns)
    {
        var (inner, bars) = (columns * 5 * Borne.Stride(Network.Elements.Length), columns * Borne.Stride(Network.Bars.Length));
        if (_inner.Length < inner) (_inner, _bars) = (new double[inner], new double[bars]);
        return (_inner, _bars);
    }

    /// <summary>Lets a contact join; the motions are those of its place with the body (three axes, six motions).</summary>
    /// <exception cref="InvalidOperationException">Two contacts lie on one place.</exception>
    public void Join(ContactState contact, Vec3 origin, double reach)
    {
        Contacts.Add(contact);
        var p = (contact.Contact.At - origin) / reach;
        Span<double> g = stackalloc double[6];
        for (var axis = 0; axis < 3; axis++)
        {
            var r = _rows.Count;
            var row = new double[r + 1];
            for (var i = 0; i < r; i++) row[i] = Network.Flexibility(contact.Row + axis, Contacts[i / 3].Row + i % 3);
            for (var i = 0; i < r; i++) row[i] = (row[i] - DenseKernels.Dot(_rows[i], row, i)) / _rows[i][i];
            var whole = Network.Flexibility(contact.Row + axis, contact.Row + axis);
            var d = whole - DenseKernels.Dot(row, row, r);
            if (!(d > 1e-14 * whole))
                throw new InvalidOperationException($"Segment {contact.Contact.Segment} ends where another strut ends: two contacts lie on one place.");
            row[r] = Math.Sqrt(d);
            _rows.Add(row);
            g.Clear();
            g[axis] = 1;
            switch (axis)
            {
                case 0: g[4] = p.Z; g[5] = -p.Y; break;
                case 1: g[3] = -p.Z; g[5] = p.X; break;
                default: g[3] = p.Y; g[4] = -p.X; break;
            }
            for (var m = 0; m < 6; m++)
            {
                var y = (g[m] - DenseKernels.Dot(row, CollectionsMarshal.AsSpan(_y[m]), r)) / row[r];
                _y[m].Add(y);
            }
            for (var m = 0; m < 6; m++)
                for (var n = 0; n < 6; n++) Stiffness[6 * m + n] += _y[m][r] * _y[n][r];
        }
    }

    /// <summary>
    /// Contact forces that hold against gaps at the contacts (as many as given, in order of joining), in place, and the
    /// pulls and moments on the body that they mean.
    /// </summary>
    public void Stiff(Span<double> gaps, Span<double> onBody)
    {
        var n = gaps.Length;
        for (var i = 0; i < n; i++) gaps[i] = (gaps[i] - DenseKernels.Dot(_rows[i], gaps, i)) / _rows[i][i];
        for (var m = 0; m < 6; m++) onBody[m] = DenseKernels.Dot(CollectionsMarshal.AsSpan(_y[m]), gaps, n);
        for (var i = n - 1; i >= 0; i--)
        {
            gaps[i] /= _rows[i][i];
            DenseKernels.AddScaled(-gaps[i], _rows[i], gaps, i);
        }
    }

    /// <summary>Contact forces when the body moves; for as many contacts as there is room for.</summary>
    public void Forces(ReadOnlySpan<double> motion, Span<double> forces)
    {
        var n = forces.Length;
        forces.Clear();
        for (var m = 0; m < 6; m++)
            if (motion[m] != 0) DenseKernels.AddScaled(motion[m], CollectionsMarshal.AsSpan(_y[m]), forces, n);
        for (var i = n - 1; i >= 0; i--)
        {
            forces[i] /= _rows[i][i];
            DenseKernels.AddScaled(-forces[i], _rows[i], forces, i);
        }
    }

    /// <summary>The same for three motions at once, one after the other in both spans; for all contacts.</summary>
    public void ForcesOfThree(ReadOnlySpan<double> motions, Span<double> forces)
    {
        var n = forces.Length / 3;
        forces.Clear();
        Span<double> a = forces[..n], b = forces[n..(2 * n)], c = forces[(2 * n)..];
        for (var m = 0; m < 6; m++) DenseKernels.AddScaled(motions[m], motions[6 + m], motions[12 + m], CollectionsMarshal.AsSpan(_y[m]), a, b, c, n);
        for (var i = n - 1; i >= 0; i--)
        {
            var d = _rows[i][i];
            (a[i], b[i], c[i]) = (a[i] / d, b[i] / d, c[i] / d);
            DenseKernels.AddScaled(-a[i], -b[i], -c[i], _rows[i], a, b, c, i);
        }
    }
}
