using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>All shells of a source with their shapes, and what touches what.</summary>
internal sealed class Scene
{
    public required Mesh Mesh { get; init; }

    public required ShellSet Shells { get; init; }

    public required RecognitionSettings Settings { get; init; }

    public required ScenePart[] Parts { get; init; }

    /// <summary>Lowest point of the scene: the platform, mm.</summary>
    public required double Floor { get; init; }

    /// <summary>Diagonal of the scene, mm.</summary>
    public required double Diagonal { get; init; }

    /// <summary>For each ball the tubes that end in it or run through its centre.</summary>
    public Dictionary<int, List<int>> TubesOfBall { get; } = [];

    /// <summary>Low parts on which a shell that is neither tube nor ball rests directly: bases of figures, not rafts.</summary>
    public HashSet<int> Bases { get; } = [];

    /// <summary>True if such a shell itself stands on the lowest plane.</summary>
    public bool BulkOnFloor { get; private set; }

    public bool IsBulk(int shell) => Parts[shell] is { Tube: null, Ball: null, Low: false };

    public static Scene Read(Mesh mesh, ShellSet shells, RecognitionSettings settings, CancellationToken ct)
    {
        var box = Box3.Empty;
        foreach (var s in shells.Shells) box = box.With(s.Bounds);
        var floor = box.IsEmpty ? 0 : box.Min.Z;
        var height = box.Size.Z;
        var parts = new ScenePart[shells.Shells.Count];
        var options = new ParallelOptions { CancellationToken = ct, MaxDegreeOfParallelism = Math.Min(Environment.ProcessorCount, 4) };
        Parallel.For(0, parts.Length, options, () => new LocalShell.Cutter(mesh), (index, _, cutter) =>
        {
            var shell = shells.Shells[index];
            TubeShape? tube = null;
            BallShape? ball = null;
            var low = false;
            var small = shell.Triangles.Length <= settings.MostTrianglesOfStrut;
            var flat = shell.Closed && shell.SignedVolumeMm3 > 0 && shell.Bounds.Min.Z <= floor + 0.05
                && shell.Bounds.Size.Z <= Math.Min(settings.MostRaftMm, 0.35 * height);
            Mesh? mended = null;
            var sound = shell.Closed && shell.SignedVolumeMm3 > 0;
            // A closed shell that is inside out within another is a pocket or a bore of that, whatever its shape.
            var pocket = shell.Closed && !sound && small && Pockets.WithinAnother(mesh, shells, shell);
            if (!sound && !pocket && small && shell.ClashingEdges == 0 && shell.Triangles.Length > 0)
            {
                if (OpenRod.Mend(cutter.Take(shell.Triangles)) is { } rod)
                {
                    if (ReadTube(rod) is { } bar && bar.Residual < MostResidualOfMended)
                    {
                        tube = bar;
                        mended = new Mesh(mesh.Lattice, cutter.TakeMesh(shell.Triangles).XyzArray, rod.Corners);
                    }
                    low = tube is not null && shell.Bounds.Min.Z <= floor + 0.05 && shell.Bounds.Size.Z <= Math.Min(settings.MostRaftMm, 0.35 * height) && RestsFlat(rod, floor);
                }
            }
            else if (sound && (small || flat))
            {
                var local = cutter.Take(shell.Triangles);
                low = flat && RestsFlat(local, floor);
                if (small)
                {
                    ball = BallFit.Fit(local);
                    if (ball is null) tube = ReadTube(local);
                }
            }
            if (tube is not null && !low && tube.LargestRadius > settings.WidestStrutShare * box.Size.Length) tube = null;
            if (ball is not null && ball.Radius > settings.WidestStrutShare * box.Size.Length) ball = null;
            if (tube is not null && tube.EndA.Z > tube.EndB.Z) tube = tube.Reversed();
            parts[shell.Index] = new ScenePart { Shell = shell, Tube = tube, Ball = ball, Low = low, Mended = tube is null ? null : mended };
            return cutter;
        }, _ => { });
        var scene = new Scene { Mesh = mesh, Shells = shells, Settings = settings, Parts = parts, Floor = floor, Diagonal = box.Size.Length };
        scene.FindBases();
        scene.JoinTubes();
        scene.JoinThroughBalls();
        scene.FindGround();
        scene.TouchBulk(ct);
        return scene;
    }

    /// <summary>An open or inside-out shell counts as a rod only where it is a clean one.</summary>
    private const double MostResidualOfMended = 0.05;

    /// <summary>A crumb smaller than this share of the scene is no body that could stand on a base.</summary>
    private const double LeastBodyShare = 0.1;

    private static TubeShape? ReadTube(LocalShell local)
    {
        var tube = RingStack.Fit(local);
        if (tube is { Residual: < 0.05 }) return tube;
        var fitted = SliceFit.Fit(local);
        return tube is null ? fitted : fitted is null || tube.Residual <= fitted.Residual ? tube : fitted;
    }

    /// <summary>A good part of what the shell covers seen from above lies flat on the floor.</summary>
    private static bool RestsFlat(LocalShell shell, double floor)
    {
        double down = 0, up = 0;
        for (var t = 0; t < shell.TriangleCount; t++)
        {
            var area = shell.Areas[t] * shell.Normals[t].Z;
            if (area > 0) up += area;
            if (shell.Normals[t].Z < -0.99 && Math.Abs(shell.Points[shell.Corners[3 * t]].Z - floor) < 0.02) down -= area;
        }
        return down > 0.25 * up;
    }

    private void FindBases()
    {
        // A foot that overlaps the figure's base is not what that stands on.
        var lows = Parts.Where(p => p.Low && p.Shell.Bounds.Size.Length >= LeastBodyShare * Diagonal).ToList();
        foreach (var shell in Shells.Shells)
        {
            if (!IsBulk(shell.Index) || shell.Bounds.Size.Length < LeastBodyShare * Diagonal) continue;
            if (shell.Bounds.Min.Z <= Floor + 0.05) BulkOnFloor = true;
            var near = lows.Where(l => shell.Bounds.Meets(l.Shell.Bounds.Grown(0.05))).ToList();
            if (near.Count == 0) continue;
            foreach (var t in shell.Triangles)
                for (var k = 0; k < 3; k++)
                {
                    var p = Mesh.Vertex(Mesh.Corners[3 * t + k]);
                    foreach (var l in near)
                        if (l.Shell.Bounds.Grown(0.05).Holds(p)) Bases.Add(l.Index);
                }
        }
    }

    private void JoinTubes()
    {
        var tubes = Parts.Where(p => p.Tube is not null).ToArray();
        var boxes = tubes.Select(p => p.Tube!.Box().Grown(Settings.TouchMm)).ToArray();
        // Sweep along x: only pairs whose boxes meet.
        var order = Enumerable.Range(0, tubes.Length).OrderBy(i => boxes[i].Min.X).ThenBy(i => i).ToArray();
        for (var a = 0; a < order.Length; a++)
            for (var b = a + 1; b < order.Length && boxes[order[b]].Min.X <= boxes[order[a]].Max.X; b++)
            {
                if (!boxes[order[a]].Meets(boxes[order[b]])) continue;
                JoinEnds(tubes[order[a]], tubes[order[b]]);
                JoinEnds(tubes[order[b]], tubes[order[a]]);
            }
    }

    private void JoinEnds(ScenePart part, ScenePart other)
    {
        for (var end = 0; end < 2; end++)
        {
            var p = part.End(end);
            var r = part.EndRadius(end);
            if (other.Tube!.Holds(p, r, Settings.TouchMm / 2) is not { } at) continue;
            part.Joins[end].Add(new EndJoin(other.Index, at.Piece, at.T, at.Radius, MeetingEnd(other, p, r)));
        }
    }

    private static int MeetingEnd(ScenePart other, Vec3 p, double r)
    {
        for (var e = 0; e < 2; e++)
            if (p.DistanceTo(other.End(e)) <= 1.1 * Math.Max(r, other.EndRadius(e))) return e;
        return -1;
    }

    /// <summary>Tubes that meet only inside a joint ball are joined as if they met each other.</summary>
    private void JoinThroughBalls()
    {
        var tubes = Parts.Where(p => p.Tube is not null).ToArray();
        foreach (var ball in Parts)
        {
            if (ball.Ball is not { } b) continue;
            var list = new List<(ScenePart Part, int End)>();
            var through = new List<int>();
            foreach (var t in tubes)
            {
                if (!t.Shell.Bounds.Grown(b.Radius).Holds(b.Centre)) continue;
                var near = t.Tube!.Nearest(b.Centre);
                if (near.Distance > 0.6 * b.Radius || b.Radius > 2.6 * near.Radius || b.Radius < 0.8 * near.Radius) continue;
                through.Add(t.Index);
                for (var e = 0; e < 2; e++)
                    if (t.End(e).DistanceTo(b.Centre) <= 1.2 * b.Radius) list.Add((t, e));
            }
            TubesOfBall[ball.Index] = through;
            foreach (var (p, e) in list)
                foreach (var (q, f) in list)
                    if (p != q && !p.Joins[e].Any(j => j.Other == q.Index))
                    {
                        var near = q.Tube!.Nearest(p.End(e));
                        p.Joins[e].Add(new EndJoin(q.Index, near.Piece, near.T, near.Radius, f));
                    }
        }
    }

    private void FindGround()
    {
        var lows = Parts.Where(p => p.Low).ToArray();
        foreach (var part in Parts)
        {
            if (part.Tube is null) continue;
            for (var end = 0; end < 2; end++)
            {
                var p = part.End(end);
                var r = part.EndRadius(end);
                // A leaning end touches with its rim.
                var upright = (part.End(1 - end) - p).Unit().Z;
                part.OnPlatform[end] = p.Z - r * Math.Sqrt(Math.Max(0, 1 - upright * upright)) <= Floor + Settings.TouchMm;
                foreach (var low in lows)
                {
                    if (low == part || !low.Shell.Bounds.Grown(Settings.TouchMm + 0.2 * r).Holds(p)) continue;
                    if (!StandsOn(low, p, r)) continue;
                    // Of several the one whose middle is nearest: a pad rather than its neighbour.
                    if (part.OnLow[end] < 0 || Aside(low, p) < Aside(Parts[part.OnLow[end]], p)) part.OnLow[end] = low.Index;
                }
            }
        }

        static double Aside(ScenePart low, Vec3 p) => ((low.Shell.Bounds.Center - p) with { Z = 0 }).Length;
    }

    /// <summary>The point lies inside the part or within reach of its surface.</summary>
    private bool StandsOn(ScenePart low, Vec3 p, double r)
    {
        var winding = 0;
        foreach (var t in low.Shell.Triangles)
        {
            var (a, b, c) = Mesh.Triangle(t);
            if (p.DistanceTo(SurfaceProbe.Nearest(p, a, b, c)) <= 0.6 * r + Settings.TouchMm) return true;
            // Winding by a ray straight up; the slight tilt keeps it off edges of drawn grids.
            var hit = SurfaceProbe.Hit(p, new Vec3(1.3e-5, 2.1e-5, 1), a, b, c);
            if (hit > 0) winding += (b - a).Cross(c - a).Z > 0 ? 1 : -1;
        }
        return winding > 0;
    }

    /// <summary>Ends and axes of tubes against the surfaces of all shells that are neither tube, ball nor low.</summary>
    private void TouchBulk(CancellationToken ct)
    {
        var queries = new List<Box3>();
        var owner = new List<(ScenePart Part, int End)>();
        foreach (var part in Parts)
        {
            if (part.Tube is null || part.Low) continue;
            for (var end = 0; end < 2; end++)
            {
                var p = part.End(end);
                queries.Add(new Box3(p, p).Grown(Reach(part.EndRadius(end))));
                owner.Add((part, end));
            }
            foreach (var g in part.Tube.Pieces)
            {
                // The axis in short boxes, so that a leaning strut does not ask for half the figure.
                var n = Math.Max(1, (int)Math.Ceiling(g.Length / Math.Max(2.0, Diagonal / 40)));
                for (var i = 0; i < n; i++)
                {
                    queries.Add(Box3.Empty.With(g.A + (g.B - g.A) * ((double)i / n)).With(g.A + (g.B - g.A) * ((i + 1.0) / n)));
                    owner.Add((part, -1));
                }
            }
        }
        var bulk = new bool[Parts.Length];
        for (var i = 0; i < bulk.Length; i++) bulk[i] = IsBulk(i);
        var near = NearbyTriangles.Find(Mesh, bulk, Shells.OfTriangle, [.. queries], ct);
        for (var i = 0; i < near.Length; i++)
        {
            var (part, end) = owner[i];
            if (end >= 0 && near[i].Count > 0) part.OnBulk[end] = Contact(part, end, near[i]);
        }
        var crossing = new Dictionary<int, HashSet<int>>();
        for (var i = 0; i < near.Length; i++)
        {
            var (part, end) = owner[i];
            if (end >= 0) continue;
            if (!crossing.TryGetValue(part.Index, out var seen)) crossing[part.Index] = seen = [];
            foreach (var t in near[i])
                if (seen.Add(t) && CrossesBody(part, t)) part.Crossings++;
        }
    }

    private static double Reach(double radius) => Math.Max(3 * radius, 0.6);

    /// <summary>The contact of a tube's end with a surface given by triangles near it; null if it does not meet it.</summary>
    public SurfaceContact? Contact(ScenePart part, int end, IReadOnlyList<int> triangles)
    {
        var p = part.End(end);
        var r = part.EndRadius(end);
        var (signed, triangle, point) = SurfaceProbe.Nearest(Mesh, triangles, p);
        if (triangle < 0 || signed > 0.7 * r + Settings.TouchMm || -signed > 3 * r + 0.5) return null;
        // The place where the axis goes in, if it does so near the end.
        var piece = end == 0 ? part.Tube!.Pieces[0].Reversed() : part.Tube!.Pieces[^1];
        var axis = (piece.B - piece.A).Unit();
        double best = double.MaxValue;
        foreach (var t in triangles)
        {
            var (a, b, c) = Mesh.Triangle(t);
            var n = (b - a).Cross(c - a);
            if (n.Dot(axis) >= 0) continue;
            var s = SurfaceProbe.Hit(p, axis, a, b, c);
            if (double.IsNaN(s) || Math.Abs(s) > Reach(r) || Math.Abs(s) >= Math.Abs(best)) continue;
            best = s;
            triangle = t;
            point = p + axis * s;
        }
        return new SurfaceContact(Shells.OfTriangle[triangle], point, Mesh.AreaVector(triangle).Unit(), -signed);
    }

    private bool CrossesBody(ScenePart part, int t)
    {
        var (a, b, c) = Mesh.Triangle(t);
        foreach (var g in part.Tube!.Pieces)
        {
            var d = g.B - g.A;
            var s = SurfaceProbe.Hit(g.A, d, a, b, c);
            if (!(s >= 0 && s <= 1)) continue;
            var at = g.A + d * s;
            var free = true;
            for (var end = 0; end < 2; end++)
                if (part.OnBulk[end] is not null && at.DistanceTo(part.End(end)) <= Reach(part.EndRadius(end)) * 1.5) free = false;
            if (free) return true;
        }
        return false;
    }
}
