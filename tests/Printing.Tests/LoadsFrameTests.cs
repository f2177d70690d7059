using CsCheck;
using MathNet.Numerics.LinearAlgebra;
using Stiltwright.Geometry;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Tests;

/// <summary>
/// The load solver against an independent solution of the same frame: the direct stiffness method (textbook 12x12 beam and
/// bar elements, e.g. Weaver and Gere, Matrix Analysis of Framed Structures, from memory) with MathNet.Numerics' dense
/// solver. The rigid body is one node with six freedoms; contacts are hinges on it.
/// </summary>
public class LoadsFrameTests
{
    private const double E = 800, Poisson = 0.4;

    private sealed record Frame(LoadsBench Bench, List<Vec3> Nodes, List<(int A, int B, double Radius, bool Bar, int Segment)> Bars, List<int> Feet, List<int> Contacts);

    private static Frame Random(int struts, double[] numbers)
    {
        var bench = new LoadsBench();
        var f = new Frame(bench, [], [], [], []);
        var next = 0;
        double R(double low, double high) => low + (high - low) * numbers[next++ % numbers.Length];
        var knees = new List<(int Node, int Segment)>();
        for (var i = 0; i < struts; i++)
        {
            var (s, c) = Math.SinCos(2 * Math.PI * i / struts + R(-0.2, 0.2));
            double away = R(6, 14), r1 = R(0.4, 1.2), r2 = R(0.2, 0.6);
            var contact = new Vec3(away * c, away * s, 20);
            var knee = contact + new Vec3(R(-2, 2), R(-2, 2), -R(4, 8));
            var foot = new Vec3(knee.X + R(-4, 4), knee.Y + R(-4, 4), 0);
            int n = f.Nodes.Count, id = bench.Segments.Count;
            f.Nodes.AddRange([foot, knee, contact]);
            f.Feet.Add(n);
            f.Contacts.Add(n + 2);
            bench.Add(Role.Pillar, foot, knee, r1, r1, EndHeldBy.Raft, EndHeldBy.Strut, null, [id + 1], id);
            bench.Add(Role.Tip, knee, contact, r2, r2, EndHeldBy.Strut, EndHeldBy.Figure, [id], null, id);
            f.Bars.Add((n, n + 1, r1, false, id));
            f.Bars.Add((n + 1, n + 2, r2, false, id + 1));
            knees.Add((n + 1, id));
        }
        for (var i = 0; i + 1 < struts; i += 1)
        {
            var r = R(0.2, 0.5);
            var seg = bench.Brace(knees[i].Segment, f.Nodes[knees[i].Node], knees[i + 1].Segment, f.Nodes[knees[i + 1].Node], 2 * r);
            f.Bars.Add((knees[i].Node, knees[i + 1].Node, r, true, seg));
        }
        return f;
    }

    private static Dictionary<int, double> NormalForces(Frame f, double force, double x, double y)
    {
        int n = f.Nodes.Count, free = 6 * n + 6;
        var k = Matrix<double>.Build.Dense(6 * n, 6 * n);
        var axial = new Dictionary<int, Vector<double>>();
        foreach (var (a, b, radius, bar, segment) in f.Bars)
        {
            var d = f.Nodes[b] - f.Nodes[a];
            double l = d.Length, area = Math.PI * radius * radius, inertia = Math.PI * Math.Pow(radius, 4) / 4;
            double ea = E * area / l, ei = bar ? 0 : E * inertia, gj = bar ? 0 : E / (2 * (1 + Poisson)) * 2 * inertia / l;
            var local = Matrix<double>.Build.Dense(12, 12);
            void Put(int i, int j, double v) { local[i, j] = v; local[j, i] = v; }
            Put(0, 0, ea); Put(6, 6, ea); Put(0, 6, -ea);
            Put(3, 3, gj); Put(9, 9, gj); Put(3, 9, -gj);
            foreach (var (v, r, sign) in new[] { (1, 5, 1.0), (2, 4, -1.0) })
            {
                double k12 = 12 * ei / (l * l * l), k6 = sign * 6 * ei / (l * l), k4 = 4 * ei / l, k2 = 2 * ei / l;
                Put(v, v, k12); Put(v + 6, v + 6, k12); Put(v, v + 6, -k12);
                Put(v, r, k6); Put(v, r + 6, k6); Put(v + 6, r, -k6); Put(v + 6, r + 6, -k6);
                Put(r, r, k4); Put(r + 6, r + 6, k4); Put(r, r + 6, k2);
            }
            Vec3 e1 = d.Unit(), e2 = e1.AnyPerpendicular(), e3 = e1.Cross(e2);
            var turn = Matrix<double>.Build.Dense(12, 12);
            for (var block = 0; block < 4; block++)
                for (var c = 0; c < 3; c++)
                {
                    turn[3 * block, 3 * block + c] = e1[c];
                    turn[3 * block + 1, 3 * block + c] = e2[c];
                    turn[3 * block + 2, 3 * block + c] = e3[c];
                }
            var global = turn.TransposeThisAndMultiply(local).Multiply(turn);
            int[] at = [.. Enumerable.Range(6 * a, 6), .. Enumerable.Range(6 * b, 6)];
            for (var i = 0; i < 12; i++)
                for (var j = 0; j < 12; j++) k[at[i], at[j]] += global[i, j];
            var row = Vector<double>.Build.Dense(6 * n);
            for (var c = 0; c < 3; c++) { row[6 * b + c] = ea * e1[c]; row[6 * a + c] = -ea * e1[c]; }
            axial[segment] = row;
        }
        // Feet are clamped, contacts move with the body and turn freely.
        var t = Matrix<double>.Build.Dense(6 * n, free);
        for (var v = 0; v < n; v++)
        {
            if (f.Feet.Contains(v)) continue;
            var hinge = f.Contacts.Contains(v);
            for (var c = hinge ? 3 : 0; c < 6; c++) t[6 * v + c, 6 * v + c] = 1;
            if (!hinge) continue;
            var p = f.Nodes[v];
            for (var c = 0; c < 3; c++) t[6 * v + c, 6 * n + c] = 1;
            t[6 * v + 1, 6 * n + 3] = -p.Z; t[6 * v + 2, 6 * n + 3] = p.Y;
            t[6 * v, 6 * n + 4] = p.Z; t[6 * v + 2, 6 * n + 4] = -p.X;
            t[6 * v, 6 * n + 5] = -p.Y; t[6 * v + 1, 6 * n + 5] = p.X;
        }
        int[] live = [.. Enumerable.Range(0, free).Where(c => t.Column(c).L2Norm() > 0)];
        var small = Matrix<double>.Build.DenseOfColumns(live.Select(c => t.Column(c)));
        var load = Vector<double>.Build.Dense(free);
        load[6 * n + 2] = force;
        load[6 * n + 3] = force * y;
        load[6 * n + 4] = -force * x;
        var u = small.TransposeThisAndMultiply(k).Multiply(small).Solve(Vector<double>.Build.DenseOfEnumerable(live.Select(c => load[c])));
        var moved = small * u;
        return axial.ToDictionary(a => a.Key, a => a.Value.DotProduct(moved));
    }

    [Fact]
    public void Random_braced_frames_agree_with_the_stiffness_method() =>
        Gen.Select(Gen.Int[3, 6], Gen.Double[0, 1].Array[64], Gen.Double[-8, 8], Gen.Double[-8, 8]).Sample((struts, numbers, x, y) =>
        {
            var frame = Random(struts, numbers);
            var result = LoadSolver.Solve(frame.Bench.Scene(frame.Bench.OneBody(24, 20, 100, x, y)), default);
            var expected = NormalForces(frame, 2, x, y);
            var most = expected.Values.Max(Math.Abs);
            foreach (var (segment, force) in expected)
                Assert.Equal(Math.Abs(force), result.Segments[segment].PullN, 5e-5 * most); // approach share 1: pull and push are alike
        }, iter: 40, threads: 1);
}
