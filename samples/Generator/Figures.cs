using Stiltwright.Geometry;
using static Stiltwright.Samples.Sdf;

namespace Stiltwright.Samples;

/// <summary>A figure of the aquarium's exhibit workshop: z up, standing on z = 0, mm.</summary>
/// <param name="Name">File name without ending.</param>
/// <param name="Distance">Its surface.</param>
/// <param name="Box">Where it lies.</param>
/// <param name="LeanDegrees">How far it leans back in the print.</param>
/// <param name="CellMm">Facet size.</param>
internal sealed record Figure(string Name, Func<Vec3, double> Distance, Box3 Box, double LeanDegrees, double CellMm)
{
    /// <summary>The same figure at another size; the facets keep their size in mm.</summary>
    public Figure Sized(double s) => this with { Distance = p => Distance(p / s) * s, Box = new Box3(Box.Min * s, Box.Max * s) };
}

internal static class Figures
{
    public static IReadOnlyList<Figure> All => [Anglerfish().Sized(0.57), Seahorse(), Crab().Sized(0.62)];

    private static Figure Anglerfish()
    {
        var lift = new Vec3(0, 0, 38);
        Vec3[] lure = [.. Enumerable.Range(0, 15).Select(i => { var t = i / 14.0; return new Vec3(8 + 25 * t + 4 * Math.Sin(3 * t), 0, 15 + 22 * Math.Sin(1.9 * t)); })];
        Vec3[] stalk = [new(-2, 0, 0), new(-3.5, 1, 8), new(-1, -0.6, 16), new(0.5, 0, 24)];
        return new Figure("anglerfish", world =>
        {
            var p = world - lift;
            var side = p with { Y = Math.Abs(p.Y) };
            var body = Ellipsoid(p, Vec3.Zero, new Vec3(25, 15.5, 19));
            body = Union(body, Ball(p, new Vec3(9, 0, -0.5), 16.5), 7);
            body = Union(body, Ellipsoid(p, new Vec3(-25, 0, 1), new Vec3(13, 5.2, 7.5)), 7);
            body = Union(body, Limb(side, new Vec3(13, 8, -11), new Vec3(27, 4, -8), 4.2, 3.2), 4);      // lower jaw
            body = Union(body, Limb(side, new Vec3(27, 4, -8), new Vec3(28.5, 0, -7.6), 3.2, 3.1), 3);
            body = Union(body, Limb(side, new Vec3(10, 10, 7), new Vec3(19.5, 6.5, 8.5), 3.6, 2.2), 4);  // brow
            body += 0.28 * Noise(p, 6.5) + 0.13 * Noise(p + new Vec3(5, 2, 8), 2.4);
            var mouth = Ellipsoid(p, new Vec3(27, 0, -1.2), new Vec3(17, 10.6, 5.8));
            body = Cut(body, mouth, 1.6);
            body = Union(body, Ball(side, new Vec3(14.5, 13.4, 7.2), 3.6), 0.8);                          // eye
            body = Cut(body, Ball(side, new Vec3(16.4, 16.6, 8.0), 1.5), 0.3);
            for (var i = 0; i < 6; i++)                                                                    // teeth
            {
                var a = 0.18 + 0.24 * i;
                double x = 15.5 + 13.2 * Math.Cos(a), y = 9.6 * Math.Sin(a);
                body = Union(body, Limb(side, new Vec3(x - 1.6, y, -7.2), new Vec3(x - 0.4, y * 0.93, -1.6 - 0.8 * (i & 1)), 1.15, 0.3), 0.7);
                double ux = 11 + 13.2 * Math.Cos(a), uy = 9.8 * Math.Sin(a);
                body = Union(body, Limb(side, new Vec3(ux - 1.2, uy, 5.4), new Vec3(ux + 0.8, uy * 0.95, 0.2 + 0.7 * (i & 1)), 1.1, 0.3), 0.7);
            }
            var fins = Fan(p, new Vec3(-31, 0, 1.5), new Vec3(-1, 0, 0), new Vec3(0, 1, 0), 19, 0.75, 2.2, 7);
            fins = Math.Min(fins, Fan(p, new Vec3(-9, 0, 13), new Vec3(-0.55, 0, 1), new Vec3(0, 1, 0), 16, 0.62, 2.0, 6));
            fins = Math.Min(fins, Fan(side, new Vec3(-3, 13, -3), new Vec3(-0.75, 0.75, -0.35), new Vec3(0.3, -0.15, 1), 14, 0.6, 2.0, 6));
            fins = Math.Min(fins, Fan(p, new Vec3(-15, 0, -11), new Vec3(-0.8, 0, -1), new Vec3(0, 1, 0), 11, 0.6, 2.0, 5));
            body = Union(body, fins, 1.6);
            body = Union(body, Tube(p, lure, t => 1.25 - 0.45 * t), 1.2);
            body = Union(body, Ball(p, lure[^1] + new Vec3(1.2, 0, -0.4), 2.5) + 0.15 * Noise(p, 1.9), 0.8);
            var stand = Union(Rock(world, 23, 7), Tube(world, stalk, t => 5.2 - 1.8 * t) + 0.5 * Noise(world, 5), 4);
            return Math.Max(Union(stand, body * 0.85, 2.5), -world.Z);
        }, new Box3(new(-54, -28, 0), new(46, 28, 86)), 28, 0.48);
    }

    private static Figure Seahorse()
    {
        var spine = new List<Vec3>();
        for (var i = 0; i <= 44; i++)                                                                     // tail coil, then trunk, then neck
        {
            var t = i / 44.0;
            if (t < 0.42)
            {
                var a = -Math.PI * 0.35 - (0.42 - t) / 0.42 * Math.PI * 2.6;
                var r = 8.6 * (0.30 + 0.70 * t / 0.42);
                spine.Add(new Vec3(1.5 + r * Math.Cos(a), 4.2 * (0.42 - t), 18 + r * Math.Sin(a)));
            }
            else
            {
                var u = (t - 0.42) / 0.58;
                var s = spine.Count > 0 ? spine[18] : Vec3.Zero;
                spine.Add(new Vec3(s.X - 1.5 * Math.Sin(u * 2.2) - 8.5 * Math.Sin(Math.PI * u) * u + 2 * u, 0, s.Z + 50 * u));
            }
        }
        double Thick(double t) => t < 0.42 ? 0.9 + 3.2 * t / 0.42 : 4.1 + 4.6 * Math.Sin(Math.PI * Math.Clamp((t - 0.36) / 0.60, 0, 1));
        Vec3[] coral = [new(2, 2, 0), new(3, 1, 8), new(0.8, 1.2, 16), new(2.2, 2.5, 27), new(4.5, 6, 36)];
        Vec3[] twig = [new(0.9, 1.2, 16), new(-6, 4, 22), new(-9, 6, 30)];
        var head = spine[^1];
        return new Figure("seahorse", p =>
        {
            var side = p with { Y = Math.Abs(p.Y) };
            double best = double.PositiveInfinity, along = 0;
            for (var i = 0; i < spine.Count - 1; i++)
            {
                var ab = spine[i + 1] - spine[i];
                var h = Math.Clamp((p - spine[i]).Dot(ab) / ab.LengthSquared, 0, 1);
                var t = (i + h) / (spine.Count - 1);
                var d = (p - (spine[i] + ab * h)).Length - Thick(t);
                if (d < best) (best, along) = (d, t);
            }
            var ridge = Math.Pow(0.5 + 0.5 * Math.Cos(2 * Math.PI * along * 24), 2);
            var body = best * 0.8 - 0.5 * ridge * Math.Clamp(along * 4, 0.25, 1) * (along < 0.93 ? 1 : 0);
            body += 0.1 * Noise(p, 2.2);
            body = Union(body, Ellipsoid(p, head + new Vec3(1.5, 0, 1.5), new Vec3(6.2, 4.6, 5.6)), 3.5);
            body = Union(body, Limb(p, head + new Vec3(5, 0, 0.5), head + new Vec3(16.5, 0, -3.2), 2.7, 1.7), 2.2);
            body = Union(body, Ball(p, head + new Vec3(16.8, 0, -3.2), 2.1), 0.8);
            body = Union(body, Ball(side, head + new Vec3(3.4, 4.0, 2.4), 1.9), 0.5);
            for (var i = 0; i < 5; i++)
            {
                var a = -0.9 + 0.45 * i;
                var root = head + new Vec3(-0.5 - 2.4 * Math.Sin(-a), 0, 6);
                body = Union(body, Limb(p, root, root + new Vec3(3.4 * Math.Sin(a) - 0.6, 0, 5.2 * Math.Cos(a * 0.7)), 1.4, 0.45), 1.0);
            }
            var back = spine[31];
            var fin = Fan(p, back + new Vec3(-5.5, 0, -1), new Vec3(-1, 0, 0.15), new Vec3(0, 1, 0), 11, 0.8, 2.0, 8);
            fin = Math.Min(fin, Fan(side, head + new Vec3(-1.5, 3.6, -3.2), new Vec3(-0.7, 0.7, -0.1), new Vec3(0.5, 0.35, 0.8), 6, 0.7, 1.5, 5));
            body = Union(body, fin, 1.2);
            var stand = Rock(p, 20, 7);
            stand = Union(stand, Tube(p, coral, t => 3.6 - 1.7 * t) + 0.45 * Noise(p, 3.8), 3);
            stand = Union(stand, Tube(p, twig, t => 2.4 - 1.1 * t) + 0.35 * Noise(p, 3.1), 1.6);
            return Math.Max(Union(stand, body * 0.8, 1.0), -p.Z);
        }, new Box3(new(-34, -24, 0), new(36, 24, 88)), 22, 0.56);
    }

    private static Figure Crab()
    {
        var lift = new Vec3(0, 0, 24);
        return new Figure("crab", world =>
        {
            var p = world - lift;
            var side = p with { Y = Math.Abs(p.Y) };
            var body = Ellipsoid(p, Vec3.Zero, new Vec3(17, 22, 9.5));
            body = Cut(body, p.Z + 6 - 0.006 * (p.X * p.X + p.Y * p.Y), 2.5);
            body = Union(body, Ellipsoid(p, new Vec3(-2, 0, -3), new Vec3(15, 18, 5.5)), 3);
            for (var i = 0; i < 7; i++)                                                                    // spines along the rim
            {
                var a = 0.35 + 0.36 * i;
                var root = new Vec3(16 * Math.Cos(a), 21 * Math.Sin(a), 0.8);
                body = Union(body, Limb(side, root, root + new Vec3(3.4 * Math.Cos(a), 3.4 * Math.Sin(a), 0.8), 1.7, 0.4), 1.2);
            }
            body += 0.3 * Noise(p, 7.5) + 0.16 * Noise(p + new Vec3(1, 7, 3), 2.7);
            for (var i = 0; i < 4; i++)                                                                    // four legs a side
            {
                var a = 1.25 + 0.42 * i;
                var d = new Vec3(Math.Cos(a), Math.Sin(a), 0);
                var hip = d * 17 + new Vec3(0, 2, -2.5);
                var knee = hip + d * 13 + new Vec3(0, 0, 9.5);
                var shin = knee + d * 8.5 + new Vec3(0, 0, -11);
                var foot = shin + d * 3 + new Vec3(0, 0, -16.5);
                body = Union(body, Limb(side, hip, knee, 3.0, 2.3), 1.8);
                body = Union(body, Limb(side, knee, shin, 2.3, 1.7), 0.8);
                body = Union(body, Limb(side, shin, foot, 1.7, 0.7), 0.6);
            }
            Vec3 shoulder = new(12, 13, -1), elbow = new(25, 23, 5), wrist = new(31, 14, 8), palm = new(36, 8.5, 9.5);
            body = Union(body, Limb(side, shoulder, elbow, 3.3, 3.1), 1.8);
            body = Union(body, Limb(side, elbow, wrist, 3.1, 3.4), 1.2);
            body = Union(body, Ellipsoid(side, palm, new Vec3(7.4, 4.6, 5.6)), 2);
            body = Union(body, Limb(side, palm + new Vec3(4, -1.5, 3), palm + new Vec3(14, -6, 1.6), 2.9, 0.7), 1.4);
            body = Union(body, Limb(side, palm + new Vec3(4, -1.5, -3), palm + new Vec3(13.4, -5.4, -0.6), 2.4, 0.6), 1.0);
            body = Union(body, Limb(side, new Vec3(15, 4.5, 2), new Vec3(20, 5.8, 7.5), 1.1, 1.0), 1.0);   // eyes on stalks
            body = Union(body, Ball(side, new Vec3(20.4, 5.9, 8.4), 1.9), 0.4);
            body = Union(body, Limb(side, new Vec3(16, 2, 1), new Vec3(29, 3.6, 5.5), 0.75, 0.5), 0.6);    // feelers
            var stand = Math.Max(Ellipsoid(world, new Vec3(0, 0, -1.6), new Vec3(31, 35, 7.4)) - 0.8 * Noise(world, 13) - 0.35 * Noise(world, 4.6), -world.Z);
            stand = Union(stand, Limb(world, new Vec3(-2, 0, 2), new Vec3(-2, 0, 20), 8.5, 6) + 0.9 * Noise(world, 6), 5);
            return Math.Max(Union(stand * 0.8, body * 0.85, 1.6), -world.Z);
        }, new Box3(new(-50, -56, 0), new(56, 56, 42)), 32, 0.55);
    }
}
